//! Whether all deadlines of a partition are met, asked many times with other execution times.

use super::frame_aligned::{self, Jobs};
use super::{aligned_jobs, cooperative, free_running};
use crate::demand_bound::{self, UnderSupply};
use crate::supply::{BusyStart, Supply};
use crate::task_set::{Policy, TaskSet};

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
    /// By the demand of every span.
    EarliestDeadline,
    /// By the responses.
    Cooperative,
}

impl<'a> Deadlines<'a> {
    /// By the release kinds of `tasks`, as [`super::worst_responses`] takes them.
    pub(crate) fn new(supply: &'a Supply, tasks: &TaskSet) -> Self {
        let kind = match (tasks.policy(), aligned_jobs(supply, tasks)) {
            (Policy::EarliestDeadline, _) => Kind::EarliestDeadline,
            (Policy::Cooperative, _) => Kind::Cooperative,
            (Policy::FixedPriority, Some(jobs)) => Kind::FrameAligned(jobs),
            (Policy::FixedPriority, None) => Kind::FreeRunning(supply.busy_starts().to_vec()),
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
            Kind::EarliestDeadline => demand_bound::under_supply(self.supply, tasks) == UnderSupply::Borne,
            Kind::Cooperative => in_time(&cooperative::worst_responses(self.supply, tasks), tasks),
        }
    }
}

/// Whether every response, in the order in which the tasks were given, is within its deadline.
fn in_time(responses: &[super::Response], tasks: &TaskSet) -> bool {
    let meets = |(k, response): (usize, &super::Response)| {
        response.bound().is_some_and(|bound| bound.response_ns <= tasks.deadline_ns(k))
    };
    responses.iter().enumerate().all(meets)
}
