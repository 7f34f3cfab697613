//! The first output of a task after its partition has initialised.

use crate::claims::ports;
use crate::claims::results::{Results, TaskTimes};
use crate::claims::scope::Scope;
use claim::{Part, PartKind};
use model::system::{Exchange, Release};
use quantity::{Duration, TaskId};

/// When a task writes, counted from the end of initialisation.
pub(in crate::claims) struct FirstOutput {
    label: String,
    times: TaskTimes,
    exchange: Exchange,
    /// The longest wait for the next point at which the task may arrive: 0 where it is not bound to any.
    alignment_ns: u64,
    write_jitter_ns: u64,
    pub(in crate::claims) caveat: Option<String>,
}

impl FirstOutput {
    /// # Errors
    /// Why nothing bounds it.
    pub(in crate::claims) fn of(scope: &Scope<'_>, results: &Results, id: TaskId) -> Result<Self, String> {
        let task = scope.system.task(id);
        let label = scope.system.task_label(id);
        if task.sporadic {
            return Err(format!("`{label}` is sporadic, so nothing says by when it arrives"));
        }
        let times = results.task(scope, id)?;
        let alignment_ns = match task.release.value {
            Release::FrameAligned { .. } => times.period_ns,
            Release::FreeRunning => 0,
        };
        let write_jitter_ns = ports::write_jitter_ns(scope, id, &times);
        let caveat = times.caveat.clone();
        Ok(Self { label, times, exchange: task.exchange, alignment_ns, write_jitter_ns, caveat })
    }

    /// From the end of initialisation to the first write, at most, in ns.
    pub(in crate::claims) fn latest_ns(&self) -> u64 {
        self.alignment_ns.saturating_add(self.latest_write_ns())
    }

    /// From the end of initialisation to the first read, at most, in ns: a job has read when it completes.
    pub(in crate::claims) fn latest_read_ns(&self) -> u64 {
        let read_ns = match self.exchange {
            Exchange::StartFinish => self.times.response_ns,
            Exchange::Logical => 0,
        };
        self.alignment_ns.saturating_add(read_ns)
    }

    /// The longest time between two writes in undisturbed running, in ns.
    pub(in crate::claims) fn gap_ns(&self) -> u64 {
        self.times.period_ns.saturating_add(self.write_jitter_ns)
    }

    /// From arrival to write, at most.
    fn latest_write_ns(&self) -> u64 {
        match self.exchange {
            Exchange::StartFinish => self.times.response_ns,
            Exchange::Logical => self.times.response_ns.max(self.times.deadline_ns),
        }
    }

    /// What passes until the first write; adds up to [`Self::latest_ns`].
    pub(in crate::claims) fn parts(&self) -> Vec<Part> {
        let charged_ns = self.times.charged_ns.min(self.times.response_ns);
        let held_ns = self.latest_write_ns() - self.times.response_ns;
        let all = [
            (PartKind::Alignment, self.alignment_ns),
            (PartKind::Delay, self.times.response_ns - charged_ns),
            (PartKind::Executing, charged_ns),
            (PartKind::Waiting, held_ns),
        ];
        let here = all.into_iter().filter(|(_, ns)| *ns > 0);
        here.map(|(kind, ns)| Part::new(self.label.clone(), kind, ns)).collect()
    }

    /// What the wait for the next point is, where there is one.
    pub(in crate::claims) fn told(&self) -> Option<String> {
        (self.alignment_ns > 0).then(|| {
            let wait = Duration::from_ns(self.alignment_ns);
            format!("up to {wait} of it wait for the next release point of `{}`", self.label)
        })
    }
}
