//! The platform sheet: what the hypervisor costs on this board.

use diagnostic::Located;
use quantity::{Bytes, Duration};
use serde::Serialize;

/// The overheads and rules of the hypervisor. A blank is unknown, and what needs it is refused.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Platform {
    /// The switch to another partition, at the head of every window.
    pub switch: Option<Located<Duration>>,
    /// The refill of caches after the switch, at the head of every window.
    pub refill: Option<Located<Duration>>,
    /// One switch between tasks inside a partition; a job is charged two.
    pub context_switch: Option<Located<Duration>>,
    /// The release jitter of every task that declares none of its own.
    pub release_jitter: Option<Located<Duration>>,
    /// The longest section that cannot be preempted inside a partition.
    pub nonpreemptable: Option<Located<Duration>>,
    /// The longest call that cannot be cut at a window's end. None declared means there is no such call.
    pub boundary_slip: Option<Located<Duration>>,
    /// The cost of one port call.
    pub port_cost: Option<PortCost>,
    /// Memory bandwidth regulation, where the platform has it.
    pub regulation: Option<Regulation>,
    /// Whether the frames of all window tables begin together.
    pub synchronised: Option<Located<bool>>,
    /// Where the numbers of this sheet come from.
    pub provenance: Option<Located<String>>,
}

/// The cost of one port call: fixed, and per KiB copied.
#[derive(Debug, Clone, Serialize)]
pub struct PortCost {
    /// The fixed part.
    pub fixed: Located<Duration>,
    /// The part per KiB.
    pub per_kib: Located<Duration>,
    /// Whether the tasks' execution times already hold it.
    pub included: Located<bool>,
}

/// Bandwidth regulation: each core has a budget of bytes in each regulation period.
#[derive(Debug, Clone, Serialize)]
pub struct Regulation {
    /// The regulation period.
    pub period: Located<Duration>,
    /// The smallest step of a budget, where one is declared.
    pub granule: Option<Located<Bytes>>,
}
