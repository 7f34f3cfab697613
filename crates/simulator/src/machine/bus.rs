//! The path to memory, devices, interrupts.

/// The path to memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bus {
    /// The rate that the memory keeps up, in bytes per second; above zero.
    pub bytes_per_s: u64,
    /// The bytes of one.
    pub line_bytes: u64,
    /// Everything that can ask.
    pub masters: Vec<Master>,
    /// The regulation period, where bandwidth is regulated, in nanoseconds.
    pub regulation_ns: Option<u64>,
    /// Sets of cores that share a cache whose ways are given out, each with the lines of the working set that a core's
    /// partitions lose when another may evict them: lines by partition, 0 where not declared.
    pub working_set_lines: Vec<u64>,
}

impl Bus {
    /// The time of one line request, in nanoseconds, rounded up.
    pub fn line_ns(&self) -> u64 {
        let ns = (u128::from(self.line_bytes) * 1_000_000_000).div_ceil(u128::from(self.bytes_per_s).max(1));
        u64::try_from(ns).unwrap_or(u64::MAX)
    }
}

/// Something that can ask for lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Master {
    /// The core, where it is one.
    pub core: Option<usize>,
    /// The lines that it may move in one regulation period, where the plan gives it a budget.
    pub budget_lines: Option<u64>,
    /// The bytes per second that it moves, where it is no core and that is declared.
    pub rate: Option<u64>,
}

/// One device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its name.
    pub name: String,
    /// The partition that owns it.
    pub owner: Option<usize>,
    /// Whether it moves memory by itself.
    pub moves_memory: bool,
    /// Its interrupts.
    pub interrupts: Vec<Interrupt>,
}

/// One interrupt line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interrupt {
    /// The core it is routed to.
    pub core: Option<usize>,
    /// Whether it is handled at once, whoever runs; kept until its owner's window where not.
    pub immediate: bool,
    /// The least time between two, in nanoseconds.
    pub least_gap_ns: Option<u64>,
    /// The time of the handler, in nanoseconds.
    pub handler_ns: Option<u64>,
}
