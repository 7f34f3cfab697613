//! What results take for granted.

/// An assumption that results may rest on. The register in every report lists those in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Assumption {
    /// Execution times, request counts and overheads are as declared.
    InputsValid,
    /// Masters take turns at the memory, one outstanding line request each.
    RoundRobin,
    /// Every master of the interconnect is listed.
    MastersListed,
    /// The hypervisor enforces every window as planned.
    WindowsEnforced,
    /// No regulation period's budget runs out.
    NotThrottled,
    /// The frames of all cores begin together.
    FramesSynchronised,
    /// Frame-aligned tasks arrive with the frame, as declared.
    ReleasedAsDeclared,
    /// The hardware enforces the planned memory map.
    MapEnforced,
    /// Interrupts outside their owner's windows are pended.
    InterruptsPended,
}

impl Assumption {
    /// Every assumption in register order.
    pub const ALL: [Self; 9] = [
        Self::InputsValid,
        Self::RoundRobin,
        Self::MastersListed,
        Self::WindowsEnforced,
        Self::NotThrottled,
        Self::FramesSynchronised,
        Self::ReleasedAsDeclared,
        Self::MapEnforced,
        Self::InterruptsPended,
    ];

    /// The id in reports, such as `A1`.
    pub fn id(self) -> String {
        let place = Self::ALL.iter().position(|a| *a == self).unwrap_or(Self::ALL.len());
        format!("A{}", place + 1)
    }

    /// The assumption in a sentence.
    pub const fn text(self) -> &'static str {
        match self {
            Self::InputsValid => {
                "Execution times, request counts, overheads and service times of the system file are valid upper \
                 (BCET: lower) limits on the target."
            }
            Self::RoundRobin => {
                "Masters take turns at the memory (round-robin), one outstanding line request each, so that a \
                 request waits for at most one of every other master."
            }
            Self::MastersListed => {
                "Every master of the interconnect is listed. Unlisted DMA, firmware traffic, coherency, refresh or \
                 thermal throttling void the interference bounds."
            }
            Self::WindowsEnforced => "The hypervisor gives and takes the core at the planned window boundaries.",
            Self::NotThrottled => "No core uses up its bandwidth budget in any regulation period.",
            Self::FramesSynchronised => "The frames of all cores begin together, counted by one clock.",
            Self::ReleasedAsDeclared => "Frame-aligned tasks arrive at their declared points of the frame.",
            Self::MapEnforced => "The hardware enforces the planned memory map; here only the plan is checked.",
            Self::InterruptsPended => {
                "Interrupts that come outside their owner's windows are kept until then and take no time from others."
            }
        }
    }

    /// How the integrator can watch over it on the target.
    pub const fn watch(self) -> &'static str {
        match self {
            Self::InputsValid => "compare observed execution times and request counts with the declared ones",
            Self::RoundRobin => "the memory controller's manual and its configuration read back at boot",
            Self::MastersListed => "review of the bus matrix; bandwidth counters of every port",
            Self::WindowsEnforced => "trace of partition switches against the window table",
            Self::NotThrottled => "throttle counters of the regulation",
            Self::FramesSynchronised => "offset of the frame starts between cores in a trace",
            Self::ReleasedAsDeclared => "trace of release points against the frame",
            Self::MapEnforced => "translation tables read back; access tests on the target",
            Self::InterruptsPended => "interrupt controller configuration read back; trace of handlers",
        }
    }
}
