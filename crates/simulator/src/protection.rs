//! The mechanisms that keep partitions apart, each of which can be switched off to see what it carries.

/// One mechanism.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Protection {
    /// A window ends where the plan says, whatever its partition does. Off: an unfinished job that passes its charged time
    /// goes on to its end, and the next window starts late.
    WindowEnforcement,
    /// A core that has used its bandwidth budget waits for the next regulation period. Off: nothing limits its traffic.
    Regulation,
    /// Nobody evicts lines of another's cache ways. Off: partitions that share a cache evict each other's working sets.
    CachePartition,
    /// Only its declared source writes to a port. Off: a babbling or flooding partition writes to foreign ports as well.
    PortProtection,
    /// Interrupts outside their owner's windows are kept until then. Off: they are handled at once, in the time of whoever runs.
    InterruptPending,
    /// Errors lead to the declared actions. Off: nothing is noticed and nothing starts again.
    HealthMonitor,
}

impl Protection {
    /// Every mechanism in listing order.
    pub const ALL: [Self; 6] = [
        Self::WindowEnforcement,
        Self::Regulation,
        Self::CachePartition,
        Self::PortProtection,
        Self::InterruptPending,
        Self::HealthMonitor,
    ];

    /// The word in files and on the command line, such as `window-enforcement`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::WindowEnforcement => "window-enforcement",
            Self::Regulation => "regulation",
            Self::CachePartition => "cache-partition",
            Self::PortProtection => "port-protection",
            Self::InterruptPending => "interrupt-pending",
            Self::HealthMonitor => "health-monitor",
        }
    }

    /// The mechanism of that word.
    pub fn named(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|protection| protection.key() == key)
    }
}

/// Which mechanisms are on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Protections {
    off: u8,
}

impl Protections {
    /// All on, as the platform has them.
    pub const ALL: Self = Self { off: 0 };

    /// All but one.
    pub const fn without(protection: Protection) -> Self {
        Self { off: 1 << protection as u8 }
    }

    /// The same with one more switched off.
    #[must_use]
    pub const fn and_without(self, protection: Protection) -> Self {
        Self { off: self.off | 1 << protection as u8 }
    }

    /// Whether the mechanism is on.
    pub const fn has(self, protection: Protection) -> bool {
        self.off & 1 << protection as u8 == 0
    }
}

impl Default for Protections {
    fn default() -> Self {
        Self::ALL
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_named_is_off() {
        let most = Protections::without(Protection::Regulation).and_without(Protection::HealthMonitor);
        let off: Vec<_> = Protection::ALL.into_iter().filter(|&one| !most.has(one)).collect();
        assert_eq!(off, [Protection::Regulation, Protection::HealthMonitor]);
        assert!(Protection::ALL.into_iter().all(|one| Protection::named(one.key()) == Some(one)));
    }
}
