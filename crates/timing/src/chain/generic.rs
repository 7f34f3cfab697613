//! The bound of a chain that knows nothing of phases.
//!
//! Computes: for a chain of tasks a bound on its reaction time and held data age, in any phase of every task.
//! Source: Davare, Zhu, Di Natale, Pinello, Kanajan, Sangiovanni-Vincentelli, "Period optimization for hard real-time
//! distributed automotive systems", DAC 2007: the sum of period and response over the tasks.
//! Assumptions: every task has a job each period, one after another; responses are bounds in any phase.
//! Symbols: `T` period, `R` response, both in ns; `q` reads until a message is taken, 1 unless a queue is read in
//! pieces.
//! Invariants and why it ends: a stimulus comes after the last job that arrived before it; the next one arrives less
//! than `T` later, reads at or after its arrival, hence at or after the stimulus, and has written within `R`. The job
//! that takes it in a queue read in pieces arrives `(q - 1) T` later. A sum of `len` terms, saturating.
//! Differs from the source: queues read in pieces; what ports add in between.
//! Checked by: the published example, the survey vessel's column, random runs below it.

/// One task of a chain as the bound takes it, in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stage {
    /// Distance of two arrivals.
    pub period_ns: u64,
    /// From an arrival to the write of its job at the latest.
    pub response_ns: u64,
    /// How many reads it takes until a message is taken; at least 1.
    pub reads: u64,
    /// What the way to the task adds before its reads begin to count.
    pub transport_ns: u64,
}

/// The bound of the chain, in ns; saturates.
pub fn generic_ns(stages: &[Stage]) -> u64 {
    let each = stages.iter().map(|stage| {
        let waiting_ns = stage.reads.max(1).saturating_mul(stage.period_ns);
        stage.transport_ns.saturating_add(waiting_ns).saturating_add(stage.response_ns)
    });
    each.fold(0, u64::saturating_add)
}
