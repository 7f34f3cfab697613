//! Worst responses under a window table: what an analysis answers for each task.

mod deadlines;
mod frame_aligned;
pub mod free_running;

use crate::demand::Shortfall;
use crate::supply::Supply;
use crate::task_set::TaskSet;

pub(crate) use deadlines::Deadlines;
pub use frame_aligned::JOB_LIMIT;
use frame_aligned::Jobs;

/// The worst response of every task by its own release kind, in the order in which the tasks were given.
pub fn worst_responses(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    match Jobs::where_aligned(supply, tasks) {
        Some(jobs) => frame_aligned::worst_responses(supply, tasks, &jobs),
        None => free_running::worst_responses(supply, tasks),
    }
}

/// The latest response of every job of a hyperperiod of frame-aligned tasks, task by task, and the hyperperiod, in ns. None where
/// some task is not frame-aligned, the hyperperiod is too long, or some response has no bound.
pub(crate) fn responses_of_aligned_jobs(supply: &Supply, tasks: &TaskSet) -> Option<Vec<Vec<i64>>> {
    frame_aligned::responses_of_jobs(supply, tasks, &Jobs::where_aligned(supply, tasks)?)
}

/// Whether the release kinds come to free-running: some task is, or the hyperperiod of frame-aligned ones holds
/// more than [`JOB_LIMIT`] jobs, so that release in any phase is taken as a bound.
pub fn taken_as_free_running(supply: &Supply, tasks: &TaskSet) -> bool {
    !tasks.all_frame_aligned() || frame_aligned::hyperperiod_ns(supply, tasks).is_none()
}

/// The worst response of a task, or why it has none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Response {
    /// No job responds later.
    Bounded(Bound),
    /// The demand of the task and those that delay it passes the supply: responses grow without end.
    Unbounded(Box<Shortfall>),
    /// The busy window passed the limit of the search; nothing is claimed.
    GaveUp(GaveUp),
}

/// A worst response and the scenario that it was computed from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bound {
    /// Completion minus arrival, in ns.
    pub response_ns: u64,
    /// Where the busy window begins, in ns from the frame's begin (frame-aligned: from the
    /// hyperperiod's begin, below 0 where the work began before).
    pub busy_start_ns: i64,
    /// When the job arrives that responds worst, counted as the busy window's begin.
    pub arrival_ns: i64,
    /// Which job of the busy window responds worst (frame-aligned: of the hyperperiod), from 0.
    pub job: u64,
    /// Whether that scenario attains the response.
    pub exactness: Exactness,
    /// Whether that is in the first frame, where a window that continues across the frame's begin pays its head.
    pub at_boot: bool,
}

/// What ended a search before its answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GaveUp {
    /// More steps than the limit without the busy window's end.
    BusyWindowTooLong,
}

impl std::fmt::Display for GaveUp {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::BusyWindowTooLong => write!(f, "the busy window has too many steps to follow"),
        }
    }
}

/// Whether a scenario attains the bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exactness {
    /// The scenario named with the bound attains it.
    Exact,
    /// The bound is safe; the reason says why it may not be attained.
    Bound(Inexact),
}

impl Exactness {
    /// Whether the bound is attained.
    pub fn is_exact(self) -> bool {
        self == Self::Exact
    }
}

/// Why a bound may not be attained.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Inexact {
    /// Another task has the same priority; each is counted as delaying the other.
    EqualPriority,
    /// Nothing less urgent runs longer than the blocking time that is charged.
    BlockerTooShort,
    /// The release points are fixed, and the blocking may not meet the worst of them.
    AlignedBlocking,
    /// Frame-aligned release, counted as free-running: a bound that covers it.
    TakenAsFreeRunning,
}

impl std::fmt::Display for Inexact {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::EqualPriority => {
                "another task of the partition has the same priority; each is counted as delaying the other"
            }
            Self::BlockerTooShort => "nothing less urgent runs longer than the blocking time charged",
            Self::AlignedBlocking => {
                "blocking is charged to every frame-aligned job, also where no less urgent job can have begun"
            }
            Self::TakenAsFreeRunning => "frame-aligned tasks of the partition are taken as free-running",
        })
    }
}

impl Response {
    /// The later one of the response in any frame and that of busy windows that begin with the first frame; of equal
    /// ones the one that is attained.
    fn or_at_boot(self, boot: Self) -> Self {
        match (&self, &boot) {
            (Self::Bounded(any), Self::Bounded(first)) => {
                let (any, first) = [any, first].map(|bound| (bound.response_ns, bound.exactness.is_exact())).into();
                if first > any { boot } else { self }
            }
            (Self::Bounded(_), _) => boot,
            _ => self,
        }
    }

    /// The bound, if there is one.
    pub fn bound(&self) -> Option<&Bound> {
        match self {
            Self::Bounded(bound) => Some(bound),
            _ => None,
        }
    }
}
