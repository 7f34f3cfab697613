//! The health-monitor table.

/// What is done about an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Nothing.
    Ignore,
    /// The error handler of the partition runs; the job goes on.
    Handler,
    /// The job is dropped and its task goes on with the next.
    RestartProcess,
    /// The partition starts again, warm.
    WarmStart,
    /// The partition starts again, cold.
    ColdStart,
    /// The partition stops.
    Stop,
    /// The module is reset: this run ends for everybody.
    ModuleReset,
    /// The module is shut down: this run ends for everybody.
    ModuleShutdown,
}

/// The table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Monitor {
    /// What is done about each error of each partition.
    pub rules: Vec<Rule>,
    /// What repeated errors or actions lead to.
    pub escalations: Vec<Escalation>,
}

/// A row of the table for one partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// The partition.
    pub partition: usize,
    /// The error.
    pub error: model::system::HealthError,
    /// What is done.
    pub action: Action,
}

/// Where `from` happens `count` times within `window`, `to` is done in place of what would be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Escalation {
    /// The partition.
    pub partition: usize,
    /// The error or action that is counted.
    pub from: Counted,
    /// How often.
    pub count: u64,
    /// Within which time, in nanoseconds.
    pub window_ns: u64,
    /// What then is done.
    pub to: Action,
}

/// What an escalation counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    /// An error.
    Error(model::system::HealthError),
    /// An action.
    Action(Action),
}
