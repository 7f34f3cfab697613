//! Tasks: the schedulable units inside a partition.

use diagnostic::Located;
use quantity::{Bytes, Duration, PartitionId, Rate};
use serde::Serialize;

/// One task.
#[derive(Debug, Clone, Serialize)]
pub struct Task {
    /// The task's name, unique in its partition.
    pub name: Located<String>,
    /// The partition that holds it.
    pub partition: PartitionId,
    /// The time between two arrivals; above zero.
    pub period: Located<Duration>,
    /// The deadline, counted from arrival; the period where not declared.
    pub deadline: Located<Duration>,
    /// The priority, larger is more urgent. `None` only where the partition's guest has no priorities.
    pub priority: Option<Located<u32>>,
    /// The longest execution time alone on the board, without line interference and without switches.
    pub wcet: Option<Located<Duration>>,
    /// The shortest execution time; at least 1 ns.
    pub bcet: Option<Located<Duration>>,
    /// Where the execution times come from.
    pub provenance: Option<Located<Provenance>>,
    /// Line requests of one job to memory.
    pub line_requests: Option<Located<u64>>,
    /// The highest rate at which the task asks for memory while it executes.
    pub peak_rate: Option<Located<PeakRate>>,
    /// By how much one other master, whatever it does, lengthens a job at the most, beside what its line requests wait.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sensitivity: Option<Located<Duration>>,
    /// By how much one job lengthens all that runs meanwhile on one other core at the most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stress: Option<Located<Duration>>,
    /// The release jitter, where it differs from the platform's.
    pub jitter: Option<Located<Duration>>,
    /// The blocking time, where it differs from the platform's longest section that cannot be preempted.
    pub blocking: Option<Located<Duration>>,
    /// Named resources and how long the task holds them, for the blocking by a ceiling or by inheritance.
    pub sections: Vec<CriticalSection>,
    /// When jobs arrive.
    pub release: Located<Release>,
    /// Whether the period is only the least time between arrivals.
    pub sporadic: bool,
    /// When a job reads its inputs and writes its outputs.
    pub exchange: Exchange,
    /// The most by which the instants of its outputs may vary against its period, where it needs one.
    pub output_jitter: Option<Located<Duration>>,
    /// The memory that its stack takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stack: Option<Located<Bytes>>,
    /// The virtual core that the task is pinned to, where its partition has several.
    pub virtual_core: Option<Located<u32>>,
}

/// When the jobs of a task arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Release {
    /// The first at any instant, then one each period.
    FreeRunning,
    /// At `offset + k * period`, counted from the start of the first frame.
    FrameAligned {
        /// The offset, below the period.
        offset: Duration,
    },
}

/// When a job reads and writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Exchange {
    /// Reads at first execution, writes at completion.
    StartFinish,
    /// Logical execution time: reads at arrival, writes at arrival plus deadline.
    Logical,
}

/// The highest rate of memory traffic of a task while it executes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum PeakRate {
    /// Its requests are spread evenly over its execution time: requests x line / WCET.
    Even,
    /// A declared rate.
    AtMost(Rate),
}

/// How a number was found, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum ProvenanceClass {
    /// By static analysis of the program and the processor.
    StaticAnalysis,
    /// The highest of some measurements, with a margin.
    Measured,
    /// An estimate of the supplier.
    Estimate,
    /// Assumed by the integrator.
    Assumed,
}

/// Where an execution time comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Provenance {
    /// The class.
    pub class: ProvenanceClass,
    /// The highest measured value, where measured.
    pub measured_max: Option<Duration>,
    /// The number of measurements, where measured.
    pub samples: Option<u64>,
    /// Who says so: document, version, date.
    pub source: Option<String>,
}

/// A resource that a task holds for a while.
#[derive(Debug, Clone, Serialize)]
pub struct CriticalSection {
    /// The resource's name.
    pub resource: Located<String>,
    /// The longest time for which it is held, in execution time.
    pub length: Located<Duration>,
}
