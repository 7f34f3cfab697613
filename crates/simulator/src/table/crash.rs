//! A partition fails, is noticed, and starts again.

use super::supply::Supply;
use super::unfit::Unfit;
use crate::conduct::Counters;
use crate::engine::NEVER;
use crate::event::Start;
use crate::machine::Action;
use crate::protection::Protection;
use crate::seen::PartitionSeen;
use crate::{Machine, Scenario};
use model::system::HealthError;

/// How a crash goes on; all of it follows from the machine and the supply, since nothing else of the partition executes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Crash {
    /// When it happens, in nanoseconds.
    pub(super) at_ns: u64,
    /// When its jobs are dropped and its queues emptied; never where nothing is done.
    pub(super) taken_down_ns: u64,
    /// How it starts, or that it stops, within the run.
    answer: Option<Answer>,
    /// When it is operational again.
    pub(super) again: Option<Again>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answer {
    Start(Start),
    Stop,
}

/// When a partition is operational again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Again {
    /// In nanoseconds.
    pub(super) at_ns: u64,
    /// Whether a source that is no task sends at that very instant: not where initialisation takes no time, since the start
    /// comes after what is sent then.
    sends_at_once: bool,
}

impl Crash {
    /// # Errors
    /// [`Unfit::Fault`] where the health monitor resets or shuts down the module.
    pub(super) fn new(
        machine: &Machine,
        partition: usize,
        at_ns: u64,
        start: Option<Start>,
        scenario: &Scenario,
        supply: &Supply,
    ) -> Result<Self, Unfit> {
        let lost = Self { at_ns, taken_down_ns: NEVER, answer: None, again: None };
        let recovery = machine.partitions[partition].recovery;
        let watched = scenario.protections.has(Protection::HealthMonitor);
        let (Some(table), Some(detection_ns)) = (machine.monitor.as_ref().filter(|_| watched), recovery.detection_ns)
        else {
            return Ok(lost);
        };
        let noticed_ns = at_ns.saturating_add(detection_ns);
        if noticed_ns >= scenario.span_ns {
            return Ok(lost);
        }
        let mut counters = Counters::default();
        counters.clear(table);
        let at_first = start.map(|start| match start {
            Start::Warm => Action::WarmStart,
            Start::Cold => Action::ColdStart,
        });
        let action = counters.answer(table, partition, HealthError::MemoryViolation, at_first, noticed_ns);
        let started = |start: Start, init_ns: Option<u64>| Self {
            taken_down_ns: noticed_ns,
            answer: Some(Answer::Start(start)),
            again: again(noticed_ns, recovery.action_ns, init_ns, supply)
                .filter(|again| again.at_ns < scenario.span_ns),
            ..lost
        };
        Ok(match action {
            None | Some(Action::Ignore | Action::Handler | Action::RestartProcess) => lost,
            Some(Action::WarmStart) => started(Start::Warm, recovery.warm_init_ns),
            Some(Action::ColdStart) => started(Start::Cold, recovery.cold_init_ns),
            Some(Action::Stop) => Self { taken_down_ns: noticed_ns, answer: Some(Answer::Stop), ..lost },
            Some(Action::ModuleReset | Action::ModuleShutdown) => return Err(Unfit::Fault(0)),
        })
    }

    /// What is seen of the partition, where the task that ends an outage writes at these instants.
    pub(super) fn seen(&self, outputs: Option<&[u64]>) -> PartitionSeen {
        let mut seen = PartitionSeen::default();
        let first = self.again.and_then(|again| outputs?.iter().copied().find(|at_ns| *at_ns > again.at_ns));
        let outage_ns = first.map(|first_ns| first_ns - self.at_ns);
        match self.answer {
            None => {}
            Some(Answer::Stop) => seen.stops = 1,
            Some(Answer::Start(Start::Warm)) => (seen.warm_starts, seen.warm_outage_ns) = (1, outage_ns),
            Some(Answer::Start(Start::Cold)) => (seen.cold_starts, seen.cold_outage_ns) = (1, outage_ns),
        }
        seen
    }

    /// Whether a source of the partition that is no task sends nothing at that instant.
    pub(super) fn silences(&self, at_ns: u64) -> bool {
        let starts = self.again.is_some_and(|again| at_ns > again.at_ns || at_ns == again.at_ns && again.sends_at_once);
        at_ns > self.at_ns && !starts
    }
}

/// The action takes its time, then the initialisation runs in the partition's own supply.
fn again(from_ns: u64, action_ns: Option<u64>, init_ns: Option<u64>, supply: &Supply) -> Option<Again> {
    let begin_ns = from_ns.saturating_add(action_ns?);
    match init_ns? {
        0 => Some(Again { at_ns: begin_ns, sends_at_once: false }),
        init_ns => {
            let done_ns = supply.reached_ns(supply.at(begin_ns).saturating_add(init_ns))?;
            Some(Again { at_ns: done_ns, sends_at_once: true })
        }
    }
}
