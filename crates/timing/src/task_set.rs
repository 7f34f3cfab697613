//! The tasks of one partition on one core, ordered for the response analyses.

use crate::supply::MAX_TIME_NS;
use std::ops::Range;

/// By which rule the guest chooses among its jobs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Policy {
    /// The most urgent priority, at any instant.
    FixedPriority,
    /// The earliest deadline, at any instant; among equal ones the earlier arrival, then the order given.
    EarliestDeadline,
    /// The most urgent priority, and a begun job is not displaced.
    Cooperative,
}

/// One task; every time in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Task {
    /// The larger, the more urgent. It means nothing under earliest deadline first.
    pub priority: i64,
    /// Distance of two arrivals (least distance, if sporadic).
    pub period_ns: u64,
    /// Greatest response that meets the need, counted from the arrival.
    pub deadline_ns: u64,
    /// Execution time with interference and context switches: C'.
    pub charged_ns: u64,
    /// How long after its arrival a job is released at the latest.
    pub jitter_ns: u64,
    /// For how long of execution a less urgent job that has begun may go on, once in a busy window; it counts
    /// only where something less urgent exists. It means nothing in a cooperative guest, where such a job goes on to its end.
    pub blocking_ns: u64,
    /// How the arrivals stand to the frame.
    pub release: Release,
}

/// How arrivals stand to the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Release {
    /// The first arrival may be at any instant, against the frame and every other task.
    FreeRunning,
    /// Arrivals at `offset + k * period`, counted from the begin of the first frame.
    FrameAligned {
        /// The first arrival, in ns.
        offset_ns: u64,
    },
}

/// Why a list of tasks cannot be analysed. The number is the index of the offending task.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TaskSetError {
    /// The period is zero.
    PeriodZero(usize),
    /// The charged time is zero: a job takes at least 1 ns.
    ChargedZero(usize),
    /// A time of the task passes [`MAX_TIME_NS`].
    TimeTooLong(usize),
    /// So many tasks with so long times that sums of their work may pass 2^61 ns.
    WorkTooLarge,
}

impl std::fmt::Display for TaskSetError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::PeriodZero(k) => write!(f, "task {k} has a period of zero"),
            Self::ChargedZero(k) => write!(f, "task {k} has an execution time of zero"),
            Self::TimeTooLong(k) => write!(f, "a time of task {k} passes {MAX_TIME_NS} ns"),
            Self::WorkTooLarge => write!(f, "the tasks' work may pass 2^61 ns"),
        }
    }
}

impl std::error::Error for TaskSetError {}

/// The tasks of a partition, most urgent first (equal ones in the order given), and what each
/// suffers from the less urgent ones. Under earliest deadline first the shorter deadline counts as the more urgent.
/// Positions below count in this order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaskSet {
    pub(crate) policy: Policy,
    /// Position to index in the list given.
    pub(crate) given: Vec<usize>,
    /// Index in the list given to position.
    pub(crate) position: Vec<usize>,
    pub(crate) priority: Vec<i64>,
    pub(crate) charged_ns: Vec<i64>,
    pub(crate) period_ns: Vec<i64>,
    pub(crate) deadline_ns: Vec<i64>,
    pub(crate) jitter_ns: Vec<i64>,
    pub(crate) release: Vec<Release>,
    /// `T - J`: where a first job is done by then, its busy window holds no other job of the task.
    pub(crate) first_limit_ns: Vec<i64>,
    /// `min(D, T) - J`: by when a first job has to be done.
    pub(crate) first_deadline_ns: Vec<i64>,
    /// The blocking time where something less urgent exists, else 0; under earliest deadline first as given, since a job
    /// that is late by its jitter can be blocked by one of a shorter deadline.
    pub(crate) blocking_ns: Vec<i64>,
    /// Whether some less urgent job can really block for that long.
    pub(crate) blocking_attained: Vec<bool>,
    /// The positions of the same priority, the own one among them.
    peers: Vec<Range<usize>>,
    /// Whether no two tasks have the same priority.
    distinct: bool,
}

impl TaskSet {
    /// The `tasks` of a preemptive fixed-priority guest.
    ///
    /// # Errors
    /// A [`TaskSetError`] for a zero period or execution time, or times beyond what the analyses add up.
    pub fn new(tasks: &[Task]) -> Result<Self, TaskSetError> {
        Self::with_policy(tasks, Policy::FixedPriority)
    }

    /// The `tasks` of a guest of that policy.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn with_policy(tasks: &[Task], policy: Policy) -> Result<Self, TaskSetError> {
        check(tasks)?;
        let urgency = |k: usize| match policy {
            Policy::EarliestDeadline => -(tasks[k].deadline_ns as i64),
            Policy::FixedPriority | Policy::Cooperative => tasks[k].priority,
        };
        let mut given: Vec<usize> = (0..tasks.len()).collect();
        given.sort_by_key(|&k| std::cmp::Reverse(urgency(k)));
        let column = |value: fn(&Task) -> u64| -> Vec<i64> { given.iter().map(|&k| value(&tasks[k]) as i64).collect() };
        let priority: Vec<i64> = given.iter().map(|&k| urgency(k)).collect();
        let peers: Vec<_> = priority.iter().map(|&level| same_priority(&priority, level)).collect();
        let signed = |from: fn(&Task) -> u64, less: fn(&Task) -> u64| -> Vec<i64> {
            given.iter().map(|&k| from(&tasks[k]) as i64 - less(&tasks[k]) as i64).collect()
        };
        let charged_ns = column(|task| task.charged_ns);
        let blocking_ns = match policy {
            Policy::EarliestDeadline => column(|task| task.blocking_ns),
            Policy::FixedPriority | Policy::Cooperative => blocking_suffered(tasks, &given, &peers),
        };
        Ok(Self {
            policy,
            first_limit_ns: signed(|task| task.period_ns, |task| task.jitter_ns),
            first_deadline_ns: signed(|task| task.deadline_ns.min(task.period_ns), |task| task.jitter_ns),
            period_ns: column(|task| task.period_ns),
            deadline_ns: column(|task| task.deadline_ns),
            jitter_ns: column(|task| task.jitter_ns),
            release: given.iter().map(|&k| tasks[k].release).collect(),
            blocking_attained: blocking_attained(&charged_ns, &blocking_ns, &peers),
            blocking_ns,
            charged_ns,
            distinct: peers.iter().all(|peers| peers.len() == 1),
            position: inverse(&given),
            priority,
            peers,
            given,
        })
    }

    /// The tasks as they stand at the very first instant, where a window's head takes `loss_ns` of the supply: nothing
    /// has begun that could block, no job has arrived before, and one that is released before the head's end gains
    /// nothing by it. The head is work that goes before all jobs, as blocking does.
    pub(crate) fn at_boot(&self, loss_ns: u64) -> Self {
        let within_period = self.deadline_ns.iter().zip(&self.period_ns);
        Self {
            jitter_ns: vec![0; self.len()],
            blocking_ns: vec![loss_ns as i64; self.len()], // At most some frames of usable time.
            blocking_attained: vec![true; self.len()],
            first_limit_ns: self.period_ns.clone(),
            first_deadline_ns: within_period.map(|(&deadline_ns, &period_ns)| deadline_ns.min(period_ns)).collect(),
            ..self.clone()
        }
    }

    /// The same tasks, none blocked.
    pub(crate) fn without_blocking(self) -> Self {
        let count = self.len();
        Self { blocking_ns: vec![0; count], blocking_attained: vec![true; count], ..self }
    }

    /// The number of tasks.
    pub fn len(&self) -> usize {
        self.given.len()
    }

    /// Whether there is no task.
    pub fn is_empty(&self) -> bool {
        self.given.is_empty()
    }

    /// The deadline of the task given at `index`, in ns.
    ///
    /// # Panics
    /// Where no task was given at `index`.
    pub fn deadline_ns(&self, index: usize) -> u64 {
        self.deadline_ns[self.position[index]] as u64
    }

    /// By which rule the guest chooses among its jobs.
    pub fn policy(&self) -> Policy {
        self.policy
    }

    /// Where all tasks are frame-aligned.
    pub fn all_frame_aligned(&self) -> bool {
        self.release.iter().all(|release| matches!(release, Release::FrameAligned { .. }))
    }

    /// Where all tasks are free-running.
    pub fn all_free_running(&self) -> bool {
        self.release.iter().all(|release| *release == Release::FreeRunning)
    }

    /// Whether no deadline is longer than its task's period.
    pub(crate) fn deadlines_within_periods(&self) -> bool {
        self.deadline_ns.iter().zip(&self.period_ns).all(|(deadline_ns, period_ns)| deadline_ns <= period_ns)
    }

    /// The tasks that can delay the one at `position`, itself among them: the more urgent ones and
    /// its equals, which are counted as interfering both ways.
    pub(crate) fn level(&self, position: usize) -> Range<usize> {
        0..self.peers[position].end
    }

    /// The end of the positions that can delay the one at `position`; the own one may lie among them.
    pub(crate) fn others_end(&self, position: usize) -> usize {
        if self.has_equal(position) { self.peers[position].end } else { position }
    }

    /// Whether neither the task at `position` nor the one before it, if any, has an equal.
    pub(crate) fn follows_alone(&self, position: usize) -> bool {
        !self.has_equal(position) && (position == 0 || !self.has_equal(position - 1))
    }

    /// The positions before the first level that holds a task with `C' > T`: no supply bears that one.
    pub(crate) fn before_overload(&self) -> usize {
        let overload = (0..self.len()).find(|&k| self.charged_ns[k] > self.period_ns[k]);
        overload.map_or(self.len(), |k| self.peers[k].start)
    }

    pub(crate) fn has_equal(&self, position: usize) -> bool {
        !self.distinct && self.peers[position].len() > 1
    }
}

/// Whether some less urgent job can have begun and still hold the whole blocking time, and nothing above
/// it makes it yield sooner; by position.
fn blocking_attained(charged_ns: &[i64], blocking_ns: &[i64], peers: &[Range<usize>]) -> Vec<bool> {
    let attained = |position: usize| {
        let needed_ns = blocking_ns[position];
        let holds = |at: usize| {
            charged_ns[at] > needed_ns && blocking_ns[..peers[at].start].iter().all(|&above_ns| above_ns >= needed_ns)
        };
        needed_ns == 0 || (peers[position].end..peers.len()).any(holds)
    };
    (0..peers.len()).map(attained).collect()
}

fn blocking_suffered(tasks: &[Task], given: &[usize], peers: &[Range<usize>]) -> Vec<i64> {
    let suffered = |(&index, peers): (&usize, &Range<usize>)| {
        if peers.end < tasks.len() { tasks[index].blocking_ns as i64 } else { 0 }
    };
    given.iter().zip(peers).map(suffered).collect()
}

fn inverse(given: &[usize]) -> Vec<usize> {
    let mut position = vec![0; given.len()];
    for (at, &index) in given.iter().enumerate() {
        position[index] = at;
    }
    position
}

fn same_priority(descending: &[i64], level: i64) -> Range<usize> {
    descending.partition_point(|&p| p > level)..descending.partition_point(|&p| p >= level)
}

fn check(tasks: &[Task]) -> Result<(), TaskSetError> {
    let mut longest_ns = 0;
    for (k, task) in tasks.iter().enumerate() {
        if task.period_ns == 0 {
            return Err(TaskSetError::PeriodZero(k));
        }
        if task.charged_ns == 0 {
            return Err(TaskSetError::ChargedZero(k));
        }
        let longest_here_ns = longest_time_ns(task);
        if longest_here_ns > MAX_TIME_NS {
            return Err(TaskSetError::TimeTooLong(k));
        }
        longest_ns = longest_ns.max(longest_here_ns);
    }
    // Work released within a span is at most the span plus a period and a jitter for each task.
    match (tasks.len() as u64 + 1).checked_mul(4 * longest_ns) {
        Some(work_ns) if work_ns < 1 << 61 => Ok(()),
        _ => Err(TaskSetError::WorkTooLarge),
    }
}

fn longest_time_ns(task: &Task) -> u64 {
    let offset_ns = match task.release {
        Release::FreeRunning => 0,
        Release::FrameAligned { offset_ns } => offset_ns,
    };
    [task.period_ns, task.deadline_ns, task.charged_ns, task.jitter_ns, offset_ns].into_iter().fold(0, u64::max)
}
