//! Worst responses: what an analysis answers for each task of a guest under a supply.

pub mod cooperative;
mod deadlines;
pub mod edf;
mod frame_aligned;
pub mod free_running;

use crate::demand::Shortfall;
use crate::supply::{Supply, SupplyKind};
use crate::task_set::{Policy, TaskSet};

pub(crate) use deadlines::Deadlines;
pub use frame_aligned::JOB_LIMIT;
use frame_aligned::Jobs;

/// The worst response of every task by its guest's policy and its own release kind, in the order in which the tasks were
/// given.
pub fn worst_responses(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    match aligned_jobs(supply, tasks) {
        Some(jobs) => frame_aligned::worst_responses(supply, tasks, &jobs),
        None => worst_in_any_phase(supply, tasks),
    }
}

/// The same where every task may arrive in any phase of the supply.
pub fn worst_in_any_phase(supply: &Supply, tasks: &TaskSet) -> Vec<Response> {
    match tasks.policy() {
        Policy::FixedPriority => free_running::worst_responses(supply, tasks),
        Policy::EarliestDeadline => edf::worst_responses(supply, tasks),
        Policy::Cooperative => cooperative::worst_responses(supply, tasks),
    }
}

/// The latest response of every job of a hyperperiod of frame-aligned tasks, task by task, and the hyperperiod, in ns. None where
/// some task is not frame-aligned, the hyperperiod is too long, or some response has no bound.
pub fn responses_of_aligned_jobs(supply: &Supply, tasks: &TaskSet) -> Option<Vec<Vec<i64>>> {
    frame_aligned::responses_of_jobs(supply, tasks, &Jobs::where_aligned(supply, tasks)?)
}

/// Whether the release kinds come to free-running: some task is, or the hyperperiod of frame-aligned ones holds
/// more than [`JOB_LIMIT`] jobs, or the policy or the supply has no analysis in the frame, so that release in any phase is
/// taken as a bound.
pub fn taken_as_free_running(supply: &Supply, tasks: &TaskSet) -> bool {
    hyperperiod_ns(supply, tasks).is_none()
}

/// The hyperperiod of tasks that are not taken as free-running, in ns.
pub(crate) fn hyperperiod_ns(supply: &Supply, tasks: &TaskSet) -> Option<u64> {
    let found = can_be_aligned(supply, tasks).then(|| frame_aligned::hyperperiod_ns(supply, tasks));
    found.flatten().map(|hyperperiod_ns| hyperperiod_ns as u64) // Above zero.
}

fn can_be_aligned(supply: &Supply, tasks: &TaskSet) -> bool {
    tasks.policy() == Policy::FixedPriority && supply.kind().is_exact() && tasks.all_frame_aligned()
}

fn aligned_jobs(supply: &Supply, tasks: &TaskSet) -> Option<Jobs> {
    if can_be_aligned(supply, tasks) { Jobs::where_aligned(supply, tasks) } else { None }
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
    /// On several cores at once: the others can keep the job waiting past its deadline, as far as is known.
    MayWaitTooLong,
    /// On several cores at once: the same, since another task is not shown to meet its deadline.
    AnotherMayBeLate,
    /// On several cores at once: the deadline is above the period, which the test does not take.
    DeadlineAbovePeriod,
}

impl GaveUp {
    /// Whether a test was made and failed, not given up.
    pub fn is_failed_test(self) -> bool {
        matches!(self, Self::MayWaitTooLong | Self::AnotherMayBeLate)
    }
}

impl std::fmt::Display for GaveUp {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::BusyWindowTooLong => write!(f, "the busy window has too many steps to follow"),
            Self::MayWaitTooLong => {
                write!(
                    f,
                    "the test on several cores does not exclude that the others keep it waiting past its deadline"
                )
            }
            Self::AnotherMayBeLate => {
                write!(
                    f,
                    "another task on the same virtual cores is not shown to meet its deadline, and could delay this one"
                )
            }
            Self::DeadlineAbovePeriod => {
                write!(f, "its deadline is above its period, which the test on several cores does not take")
            }
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
    /// Any schedule that keeps the server's budget is covered.
    AnyServerSchedule,
    /// Any schedule that keeps the share is covered.
    AnyShareSchedule,
    /// Jobs of an equal deadline are counted as going first, also where they would not.
    EqualDeadline,
    /// Blocking is charged, also where no job of a later deadline can have begun.
    DeadlineBlocking,
    /// The longest section of a resource under an immediate ceiling is charged, met or not.
    CeilingBlocking,
    /// The sections of resources that can add up under priority inheritance are charged, met or not.
    InheritanceBlocking,
    /// Interrupts that are handled at once are charged wherever they may come.
    HandledAtOnce,
    /// The core's bandwidth budget may run out, and the stalls are charged wherever they may be.
    Throttled,
    /// Several cores at once: the jobs that others of the partition keep waiting are counted, not run.
    SeveralCores,
}

impl Inexact {
    /// Why no scenario is known under a supply of that kind.
    pub(crate) fn of_supply(kind: SupplyKind) -> Option<Self> {
        match kind {
            SupplyKind::WindowTable | SupplyKind::DedicatedCore => None,
            SupplyKind::BudgetServer => Some(Self::AnyServerSchedule),
            SupplyKind::ProportionalShare => Some(Self::AnyShareSchedule),
            SupplyKind::InterruptedCore => Some(Self::HandledAtOnce),
        }
    }
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
            Self::AnyServerSchedule => "any schedule that keeps the server's budget is covered",
            Self::AnyShareSchedule => "any schedule that keeps the share is covered",
            Self::EqualDeadline => "jobs of an equal deadline are counted as going first",
            Self::DeadlineBlocking => "blocking is charged also where no job of a later deadline can have begun",
            Self::CeilingBlocking => "blocking is the longest section under the immediate priority ceiling",
            Self::InheritanceBlocking => {
                "blocking is the greatest sum of sections under priority inheritance, one of each task and resource"
            }
            Self::HandledAtOnce => {
                "interrupts that are handled at once are charged with the most that they can take from each window"
            }
            Self::Throttled => {
                "the core's bandwidth budget may run out, and the stalls are charged wherever they may be"
            }
            Self::SeveralCores => {
                "what the others of the partition can keep it waiting for on all virtual cores is counted, not run"
            }
        })
    }
}

impl Response {
    /// The same, begun with the first frame.
    fn begun_at_boot(self) -> Self {
        match self {
            Self::Bounded(bound) => Self::Bounded(Bound { at_boot: true, ..bound }),
            none => none,
        }
    }

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
