//! True worst response times of small systems, by trying everything.
//!
//! # The rules held to
//!
//! **Ticks.** All times are whole ticks; intervals are half-open. A state is what stands at an
//! instant `t` after completions and window ends. One step then takes, in this order: arrivals
//! and releases at `t`; the window's start or go-on; dispatch; one tick of execution if `[t, t+1)`
//! lies in a window; completion at `t+1`. So a job released at a window's end waits for the next
//! window, and a job that needs exactly what is left of a window completes in it.
//!
//! **Windows.** Only whether a tick is usable matters. Windows that touch, also across the
//! frame's end, therefore act as one; the times given are the usable parts.
//!
//! **Budget server.** In place of a window table: in each period `[k P, (k + 1) P)` exactly `Q` ticks are usable, any
//! ones of `[k P, k P + D)`. The walk takes every choice, tick by tick, in each period anew, whatever the tasks do; a
//! tick that no job asks for is spent all the same. Arrivals come at any position of the period.
//!
//! **Arrivals.** *Free-running*: each task sleeps until its first arrival, which may come at any
//! tick, at any position of the frame, and in any order among the tasks; from then on a job
//! arrives each period. *Aligned*: a job arrives at `offset + k * period`, counted from an empty
//! start at 0, for ever.
//!
//! **Jitter.** Each job is released at some tick of `[arrival, arrival + jitter]`, each job for
//! itself. Jobs of one task run in order. A job whose predecessor is not released yet can
//! do nothing, so it counts as released with that predecessor at the earliest; this loses no
//! behaviour, since the predecessor's latest release lies before its own.
//!
//! **Execution.** Each job takes any whole number of ticks in `[bcet, wcet]`.
//!
//! **Priority.** A larger number is more urgent. Among equals a begun job goes first, then the
//! earlier arrival, then the order in `tasks`.
//!
//! **Earliest deadline.** The job with the least `arrival + deadline` goes first, at every tick anew. Among
//! equals, as above, a begun job, then the earlier arrival, then the order in `tasks`. Priorities say nothing, and
//! there is no blocking.
//!
//! **Cooperative.** As by priority, but a begun job goes before every other until it completes. The window's
//! end still suspends it, and nothing of its partition goes in between. There is no blocking besides.
//!
//! **Blocking.** For each task `i`, call *busy at i's level* a longest stretch in which some
//! released and unfinished job has a priority of at least that of `i`; a stretch ends with the
//! completion that leaves none, even if the next release falls on the same instant. Within one such
//! stretch, jobs of lower priority than `i` execute at most `blocking` ticks of `i` in all, only
//! jobs that had begun before the stretch, in any ticks of it (so for any shorter time, and
//! resumed in the next window if one ends). A begun job goes on in spite of a more urgent ready
//! job exactly when *every* task between the two (above the begun job, not above the ready one)
//! still has some of its `blocking` left. So what a task lends in a stretch it lends once, also
//! where the stretch was opened by a more urgent task with more blocking, and whether or not the
//! task itself is awake; counted from its own release alone, a task could suffer the lending of
//! the one above and its own besides. "May go on first" is read widely: the ticks lent need
//! not be the first of the stretch. A task with nothing below it suffers none, whatever its
//! `blocking` says.
//!
//! **Response.** Completion minus arrival.
//!
//! # When there is no worst response
//!
//! A task is [`Worst::Unbounded`] exactly when the demand at its level, the sum of `wcet / period`
//! over all tasks at least as urgent (itself and its equals among them), is above the usable share
//! of the frame, both compared as exact fractions. Then the backlog of that level grows without
//! end in the run where all jobs take their `wcet`, and every job at the lowest priority of the
//! level waits behind it. At or below the usable share the backlog stays bounded, the states are
//! finitely many and the exploration ends.
//!
//! Where the earliest deadline goes first, the tasks are all unbounded or all bounded: every job waits
//! for the whole backlog that is due before it. In a cooperative guest a task is unbounded as under fixed
//! priority: a stretch of its level waits once for a begun job below, and the backlog does not grow by that.
//!
//! An overloaded task still takes part where a bounded one above it has blocking to lend or is cooperative. Its
//! backlog is then counted up to a small mark only, and the order among overloaded equals is left
//! open: both can only add behaviours, and the plain runs of the tests attain what is found.

mod arrivals;
pub mod backlog;
pub mod board;
pub mod chain;
mod overload;
mod packing;
mod step;
mod supply;
mod visited;

use packing::Packing;
use supply::Supply;
use visited::Visited;

/// The largest number of tasks the oracle takes.
pub const MAX_TASKS: usize = 4;

/// A task of a small system. All times are ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct SmallTask {
    /// Ticks from one arrival to the next, at least 1.
    pub period: u32,
    /// Relative deadline, counted from arrival. No response depends on it but under
    /// [`Policy::EarliestDeadline`]; else it is carried for the verdict of the analysis under test.
    pub deadline: u32,
    /// Longest execution of a job, at least 1.
    pub wcet: u32,
    /// Shortest execution of a job, between 1 and `wcet`.
    pub bcet: u32,
    /// A job is released at most this long after its arrival.
    pub jitter: u32,
    /// Ticks for which begun jobs of lower priority may go on within one busy stretch of this
    /// task's level: see the module's rules.
    pub blocking: u32,
    /// Larger is more urgent.
    pub priority: u32,
    /// First arrival when aligned; ignored when free-running. May reach past the period.
    pub offset: u32,
}

/// One partition under a window table. All times are ticks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct SmallSystem {
    /// Length of the major time frame, at least 1.
    pub frame: u32,
    /// The usable parts `[start, end)` of the windows, within the frame; they may touch.
    pub windows: Vec<(u32, u32)>,
    /// The tasks in file order, at most [`MAX_TASKS`].
    pub tasks: Vec<SmallTask>,
}

/// A budget server: from each `k * period` on, its partition gets `budget` ticks before `k * period + deadline`,
/// which ones is open, in each period anew. All times are ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct SmallServer {
    /// Ticks from one replenishment to the next.
    pub period: u32,
    /// Usable ticks in each period, at least 1.
    pub budget: u32,
    /// Within how many ticks of each period they lie, from `budget` to `period`.
    pub deadline: u32,
}

/// The worst response of a task, counted from arrival.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Worst {
    /// The greatest response any job of the task has in any run, in ticks.
    Response(u32),
    /// Responses grow without end.
    Unbounded,
}

/// Each task's worst response when every task is free-running, in the order of `tasks`.
///
/// # Panics
/// As [`Oracle::free_running`].
#[must_use]
pub fn worst_free_running(system: &SmallSystem) -> Vec<Worst> {
    Oracle::new().free_running(system)
}

/// Each task's worst response when every task is aligned to the frame, in the order of `tasks`.
///
/// # Panics
/// As [`Oracle::free_running`].
#[must_use]
pub fn worst_aligned(system: &SmallSystem) -> Vec<Worst> {
    Oracle::new().aligned(system)
}

/// The order in which a partition serves its jobs: see the module's rules.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Policy {
    /// Fixed priority, preemptive, with blocking.
    #[default]
    FixedPriority,
    /// The earliest deadline first, preemptive. Priorities are ignored.
    EarliestDeadline,
    /// Fixed priority, but a begun job is never displaced by its own partition.
    Cooperative,
}

impl Policy {
    /// How far in front a job is: the greatest key goes first, among equal keys the first in the file.
    fn key(self, priority: u32, deadline: u32, begun: bool, age: u32) -> [i64; 3] {
        let (priority, begun, age) = (i64::from(priority), i64::from(begun), i64::from(age));
        match self {
            Self::FixedPriority => [priority, begun, age],
            // One job at most is begun.
            Self::Cooperative => [begun, priority, age],
            // The time since the deadline, which is greatest for the earliest deadline.
            Self::EarliestDeadline => [age - i64::from(deadline), begun, age],
        }
    }
}

/// When the tasks arrive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Arrivals {
    FreeRunning,
    Aligned,
}

/// The explorer, with its buffers kept from one system to the next.
#[derive(Debug)]
pub struct Oracle {
    visited: Visited,
    policy: Policy,
    longest_only: bool,
    backlog_mark: u32,
}

/// Released jobs of an overloaded task are counted up to this; the mark itself means "or more".
///
/// The responses of such a task are not judged. To the tasks above it only matters whether its
/// head is there and has begun, never how long its queue is; after a completion at the mark both
/// a shorter and an equally long queue are followed. That can only add behaviours. With a mark of
/// 1 it does add some that no run has; a test shows that above 2 nothing changes any more.
const BACKLOG_MARK: u32 = 2;

impl Default for Oracle {
    fn default() -> Self {
        Self {
            visited: Visited::default(),
            policy: Policy::FixedPriority,
            longest_only: false,
            backlog_mark: BACKLOG_MARK,
        }
    }
}

impl Oracle {
    /// An oracle that tries every execution time, under fixed priority.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// An oracle that tries every execution time, the jobs in the order of `policy`.
    #[must_use]
    pub fn under(policy: Policy) -> Self {
        Self { policy, ..Self::default() }
    }

    /// An oracle that lets every job take its `wcet`.
    ///
    /// Under preemptive fixed priority on one core a longer execution never ends any job sooner as
    /// long as no task has blocking; then this answers the same in less time, and a test shows it on all
    /// small systems of a size. With blocking it may answer too little: a short job above
    /// can be what lets the later blocking job begin.
    #[must_use]
    pub fn longest_only() -> Self {
        Self { longest_only: true, ..Self::default() }
    }

    /// Each task's worst response when every task is free-running, in the order of `tasks`.
    ///
    /// # Panics
    /// When the system is malformed (a zero frame, period or `bcet`, `bcet` above `wcet`, a window
    /// that is empty or reaches past the frame, more than [`MAX_TASKS`] tasks, blocking under another
    /// policy than fixed priority) or when its numbers are too large for a state to fit 63 bits.
    #[must_use]
    pub fn free_running(&mut self, system: &SmallSystem) -> Vec<Worst> {
        self.explore(system, Arrivals::FreeRunning)
    }

    /// Each task's worst response when every task is aligned, in the order of `tasks`.
    ///
    /// # Panics
    /// As [`Oracle::free_running`].
    #[must_use]
    pub fn aligned(&mut self, system: &SmallSystem) -> Vec<Worst> {
        self.explore(system, Arrivals::Aligned)
    }

    /// Each task's worst response on a budget server when every task is free-running, in the order of `tasks`.
    ///
    /// # Panics
    /// As [`Oracle::free_running`], and when not `1 <= budget <= deadline <= period` for the server.
    #[must_use]
    pub fn on_server(&mut self, server: &SmallServer, tasks: &[SmallTask]) -> Vec<Worst> {
        let SmallServer { period, budget, deadline } = *server;
        assert!(1 <= budget && budget <= deadline && deadline <= period, "1 <= budget <= deadline <= period");
        self.explore_under(Supply::Server(*server), tasks, Arrivals::FreeRunning)
    }

    /// How many states the last exploration visited.
    #[must_use]
    pub fn states_visited(&self) -> usize {
        self.visited.len()
    }

    fn explore(&mut self, system: &SmallSystem, arrivals: Arrivals) -> Vec<Worst> {
        check_table(system.frame, &system.windows);
        self.explore_under(Supply::table(system.frame, &system.windows), &system.tasks, arrivals)
    }

    fn explore_under(&mut self, supply: Supply, tasks: &[SmallTask], arrivals: Arrivals) -> Vec<Worst> {
        check_tasks(tasks, self.policy);
        self.visited.clear();
        let overloaded = overload::overloaded_tasks(tasks, &supply, self.policy);
        let kept = overload::tasks_that_matter(tasks, self.policy, &overloaded);
        let rules = step::Rules::new(supply, tasks, arrivals, self, &kept, &overloaded);
        let responses = self.walk(&rules);
        let mut worst = vec![Worst::Unbounded; tasks.len()];
        for (&task, response) in kept.iter().zip(responses) {
            if !overloaded[task] {
                worst[task] = Worst::Response(response);
            }
        }
        worst
    }

    /// Visits every reachable state; gives the greatest response of each kept task.
    fn walk(&mut self, rules: &step::Rules) -> [u32; MAX_TASKS] {
        let packing = Packing::new(rules);
        let mut walk = step::Walk::new(rules, &packing, &mut self.visited);
        walk.run();
        walk.worst
    }
}

fn check_table(frame: u32, windows: &[(u32, u32)]) {
    assert!(frame >= 1, "the frame has at least one tick");
    for &(start, end) in windows {
        assert!(start < end && end <= frame, "a window is not within the frame");
    }
}

fn check_tasks(tasks: &[SmallTask], policy: Policy) {
    assert!(tasks.len() <= MAX_TASKS, "too many tasks");
    for task in tasks {
        assert!(task.period >= 1, "a period is at least one tick");
        assert!(1 <= task.bcet && task.bcet <= task.wcet, "1 <= bcet <= wcet");
        assert!(policy == Policy::FixedPriority || task.blocking == 0, "blocking is for fixed priority alone");
    }
}

#[cfg(test)]
mod tests {
    use super::{BACKLOG_MARK, Oracle, SmallSystem};
    use crate::enumerate::{aligned_systems, free_running_systems};
    use crate::random_systems;

    fn lends(system: &SmallSystem) -> bool {
        system.tasks.iter().any(|task| task.blocking > 0)
    }

    #[test]
    fn a_higher_backlog_mark_changes_nothing() {
        let mut oracle = Oracle::new();
        let mut higher = Oracle { backlog_mark: BACKLOG_MARK + 2, ..Oracle::default() };
        let aligned = aligned_systems().chain(random_systems(5, 1000));
        for system in aligned.filter(lends).step_by(4) {
            assert_eq!(oracle.aligned(&system), higher.aligned(&system), "{system:?}");
        }
        for system in free_running_systems().filter(lends).step_by(20) {
            assert_eq!(oracle.free_running(&system), higher.free_running(&system), "{system:?}");
        }
    }
}
