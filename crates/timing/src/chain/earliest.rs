//! When the jobs of frame-aligned tasks begin at the earliest.
//!
//! Computes: for every job of a hyperperiod an instant before which it does not begin, in any hyperperiod.
//! Source: own construction; earliest starts in job chains: Becker and others, "End-to-end timing analysis of
//! cause-effect chains in automotive embedded systems", Journal of Systems Architecture 80, 2017 (from memory).
//! Assumptions: preemptive fixed priorities, one core; window heads as long as declared, no slip; no job is shorter
//! than its shortest execution.
//! Symbols: `a` arrival, `e = a + J` latest release, `s` earliest start, `f` earliest finish, `c` shortest execution,
//! all in ns.
//! Invariants and why it ends: a job begins at a usable instant not before its arrival, not before the job before it
//! has finished, and while no more urgent job is released and unfinished: a job that has not begun cannot go before
//! one. At `t` a more urgent job is surely released if `e <= t` and surely unfinished if `t < f`; then the start is
//! not before `f`. Its job of the task with the latest `e <= t` has the greatest `f`, so only that one is asked for.
//! A finish comes no earlier than the usable time `c` after `s`. Tasks are taken most urgent first, each job once;
//! every step passes a finish of another job. Only jobs of the same hyperperiod are counted as in the way, so that
//! the answer holds in the first one too, which begins from empty; leaving one out only makes an answer earlier.
//! Equals are never counted as in the way.
//! Differs from the source: windows, and what stands in the way.
//! Checked by: runs with random execution times and jitter, which never begin earlier.

use crate::supply::Supply;
use crate::task_set::{Release, TaskSet};

/// The jobs of one task in one hyperperiod, by arrival, in ns from its begin; none of a free-running one.
pub struct Earliest {
    period_ns: i64,
    /// The latest release of the first job.
    first_latest_ns: i64,
    /// When each job begins at the earliest.
    pub starts_ns: Vec<i64>,
    /// When each job completes at the earliest.
    pub finishes_ns: Vec<i64>,
}

/// The earliest starts and finishes of the jobs of one hyperperiod, task by task in the order in which the tasks were
/// given. `shortest_ns` holds each task's shortest execution.
///
/// None where the partition has no supply.
pub fn earliest_jobs(
    supply: &Supply,
    tasks: &TaskSet,
    shortest_ns: &[u64],
    hyperperiod_ns: u64,
) -> Option<Vec<Earliest>> {
    let mut found: Vec<Earliest> = Vec::with_capacity(tasks.len());
    for position in 0..tasks.len() {
        let more_urgent = tasks.priority.partition_point(|&priority| priority > tasks.priority[position]);
        let shortest_ns = shortest_ns[tasks.given[position]].max(1);
        found.push(of_task(supply, tasks, position, shortest_ns, &found[..more_urgent], hyperperiod_ns)?);
    }
    let mut by_given: Vec<_> = tasks.given.iter().zip(found).collect();
    by_given.sort_unstable_by_key(|(given, _)| **given);
    Some(by_given.into_iter().map(|(_, jobs)| jobs).collect())
}

impl Earliest {
    /// Until when a job is surely in the way at `instant_ns`, if one is.
    fn in_the_way_until(&self, instant_ns: i64) -> Option<i64> {
        let released = (instant_ns - self.first_latest_ns).div_euclid(self.period_ns);
        let last = usize::try_from(released).ok()?.min(self.finishes_ns.len().checked_sub(1)?);
        let finish_ns = self.finishes_ns[last];
        (finish_ns > instant_ns).then_some(finish_ns)
    }
}

fn of_task(
    supply: &Supply,
    tasks: &TaskSet,
    position: usize,
    shortest_ns: u64,
    more_urgent: &[Earliest],
    hyperperiod_ns: u64,
) -> Option<Earliest> {
    let period_ns = tasks.period_ns[position];
    let mut found = Earliest { period_ns, first_latest_ns: 0, starts_ns: Vec::new(), finishes_ns: Vec::new() };
    let Release::FrameAligned { offset_ns } = tasks.release[position] else { return Some(found) };
    let first_ns = offset_ns as i64 % period_ns;
    found.first_latest_ns = first_ns + tasks.jitter_ns[position];
    let mut ready_ns = 0;
    for job in 0..hyperperiod_ns as i64 / period_ns {
        let arrival_ns = first_ns + job * period_ns;
        let start_ns = start(supply, arrival_ns.max(ready_ns), more_urgent)?;
        let finish_ns = start_ns + supply.span_for_ns(start_ns as u64, shortest_ns)? as i64;
        assert!(
            arrival_ns <= start_ns && start_ns < finish_ns,
            "a job begins after it arrives and ends after it begins"
        );
        found.starts_ns.push(start_ns);
        found.finishes_ns.push(finish_ns);
        ready_ns = finish_ns;
    }
    Some(found)
}

/// The first usable instant from `from_ns` on at which nothing more urgent is surely in the way.
fn start(supply: &Supply, from_ns: i64, more_urgent: &[Earliest]) -> Option<i64> {
    let mut start_ns = from_ns;
    loop {
        start_ns = usable_from(supply, start_ns)?;
        match more_urgent.iter().find_map(|task| task.in_the_way_until(start_ns)) {
            Some(finish_ns) => start_ns = finish_ns,
            None => return Some(start_ns),
        }
    }
}

/// The first usable instant from `from_ns` on.
fn usable_from(supply: &Supply, from_ns: i64) -> Option<i64> {
    // The first nanosecond of supply ends one after it begins.
    let span_ns = supply.span_for_ns(from_ns as u64, 1)?;
    Some(from_ns + span_ns as i64 - 1)
}
