//! Whether all deadlines of a partition are met, asked many times with other execution times.

use super::frame_aligned::{self, Jobs};
use super::free_running;
use crate::supply::{BusyStart, Supply};
use crate::task_set::TaskSet;

/// What stays the same from one trial to the next.
pub(crate) struct Deadlines<'a> {
    supply: &'a Supply,
    kind: Kind,
}

enum Kind {
    /// The starts, the one that a deadline was last missed from first.
    FreeRunning(Vec<BusyStart>),
    /// The jobs of the hyperperiods.
    FrameAligned(Jobs),
}

impl<'a> Deadlines<'a> {
    /// By the release kinds of `tasks`, as [`super::worst_responses`] takes them.
    pub(crate) fn new(supply: &'a Supply, tasks: &TaskSet) -> Self {
        let kind = match Jobs::where_aligned(supply, tasks) {
            Some(jobs) => Kind::FrameAligned(jobs),
            None => Kind::FreeRunning(supply.busy_starts().to_vec()),
        };
        Self { supply, kind }
    }

    /// Whether every task of `tasks`, the ones given to [`Self::new`] with other charged times, is shown to
    /// meet its deadline.
    pub(crate) fn are_met(&mut self, tasks: &TaskSet) -> bool {
        let too_long = tasks.charged_ns.iter().zip(&tasks.deadline_ns).any(|(charged, deadline)| charged > deadline);
        if too_long || tasks.before_overload() < tasks.len() {
            return false;
        }
        match &mut self.kind {
            Kind::FreeRunning(starts) => {
                free_running::deadlines_met(self.supply, tasks, starts)
                    && free_running::at_boot(self.supply, tasks).is_none_or(|boot| {
                        free_running::deadlines_met(self.supply, &boot, &mut [BusyStart::FRAME_BEGIN])
                    })
            }
            Kind::FrameAligned(jobs) => frame_aligned::deadlines_met(self.supply, tasks, jobs),
        }
    }
}
