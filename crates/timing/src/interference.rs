//! Waiting for memory counted from both sides: what the own jobs ask for, and what other masters can ask for meanwhile.
//!
//! Computes: the latest response of one task under any guest and any supply of one virtual core, in any phase of the frame against the
//! task or in the frame's own.
//! Source: Kim, de Niz, Andersson, Klein, Mutlu & Rajkumar, "Bounding memory interference delay in COTS-based multi-core
//! systems", RTAS 2014 (request-driven, job-driven, their minimum); Agrawal, Fohler, Freitag, Nowotsch, Uhrig & Paulitsch,
//! "Contention-aware dynamic memory bandwidth isolation with predictability in COTS multicores", ECRTS 2017 (only who runs at
//! the same time); both from memory. What is served of a burst and a rate: Le Boudec & Thiran, "Network calculus", 2001, theorem
//! 1.4.3, from memory.
//! Assumptions: round-robin, every master listed, one outstanding request each; windows enforced on frames that begin together;
//! others' jobs respond and ask as [`Jobs`] says; those of the guest's own response.
//! Symbols: `s` begin of a busy window, `t` its length, `L` time of a line, `N(t)` requests of all jobs counted in it, `A(s, t)`
//! time within `[s, s + t)` and the own usable time in which requests of one other master can be served.
//! `finish = min { t : S(s, t) >= B + alone work of the jobs counted + sum over masters of min(N(t) L, A(s, t)) }`; which jobs count, and
//! for which own jobs that is asked, is the guest's: [`followed`].
//!
//! Why the minimum may be taken master by master: at every instant of the busy window that is not blackout the core executes or
//! waits for a request in service of exactly one other master. Each own request waits at most once for each master, `L` at most;
//! and while it waits for a master, a request of that master is in service. So the time waited for it is at most `N(t) L`, and at
//! most `A(s, t)`. Before the finish the supply is used up by less than the sum: the job still has its own line to fetch after
//! a wait. Any `t` whose supply reaches the sum is thus no earlier than the finish. Of the guest this asks that whoever has the core
//! until then is counted; of the supply that no less is given, and that `A` counts wherever the core may be the partition's.
//!
//! `A(s, t)` of a partition elsewhere: requests are asked for in its windows only and served at most `M L` later, so they
//! are served within its windows, each so much longer; and no more than its jobs ask for is served, and for each window met
//! what its switch and its refill ask for, which is within the time charged for them. A master held to a budget is served no
//! more than that. One that asks for a burst and a rate is served no more than [`Flow`] says, `b + r (t + T)` bytes and a line:
//! while some of it waits, it is served at least `r (u - T)` in a span `u`, so no more than `b + r T` can ever wait.
//!
//! What is not counted by requests, of whatever resource, counts by sensitivity and stress (Davis, Griffin & Bate, "Schedulability
//! analysis for multi-core systems accounting for resource stress and sensitivity", ECRTS 2021, from memory): a master lengthens the
//! jobs of a busy window by no more than they are sensitive to one, together, and by no more than what runs there meanwhile can
//! lengthen others, together; the head of a window by no more than it lasts.
//!
//! Invariants and why it ends: work never shrinks with `t`, and each round passes the one before; a horizon and a limit on
//! rounds end the others, with no answer. The worst `s` is sought by halving intervals: from an interval `[a, b]` of usable time, or
//! between two latest releases in the frame's phase, every begin is supplied no less than from `b`, and waits for no more than from
//! `a`; the answer is the latest of any interval, which further halving only lowers.
//! Differs from the source: no row buffers of the memory, as `L` is the time at the guaranteed rate; the busy window from every
//! begin instead of windows as a whole.
//! Checked by: brute force on two cores in `tests/interference`.

mod begins;
mod busy;
mod curve;
mod followed;
mod masters;
mod search;
mod windows;

use crate::response::{self, Bound};
use crate::supply::Supply;
use crate::task_set::{Policy, TaskSet};
pub use busy::Latest;
use busy::{Busy, From};
pub use curve::Curve;
pub use masters::{Budget, Flow, Jobs, Known, LineTime, Master, Presence, Resident};
pub use windows::Windows;

/// Halvings of one task's search; what is left open then stands in the answer.
const HALVINGS: u32 = 256;
/// Rounds of one task's search, over all begins.
const ROUNDS: u32 = 1 << 15;

/// The path to memory, seen from one core.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bus {
    /// The time of a line.
    pub line: LineTime,
    /// The other masters.
    pub masters: Vec<Master>,
    /// Those of them through which the own partition asks, where it has time on several cores: each request waits for all of them but one.
    pub own: Vec<usize>,
    /// By so much later than it begins a busy window is supplied as the own table says, in ns; whoever has places in a frame is
    /// told as much later.
    pub late_ns: u64,
}

/// What jobs take and ask for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Work {
    /// Their time, waiting left out, in ns.
    pub alone_ns: u64,
    /// Their line requests.
    pub requests: u64,
    /// By how much one other master, whatever it does, lengthens them besides, in ns.
    pub sensitivity_ns: u64,
}

impl Work {
    /// This and so many jobs of another kind; saturates.
    fn and(self, jobs: u64, one: &Self) -> Self {
        let sum = |own: u64, each: u64| own.saturating_add(jobs.saturating_mul(each));
        Self {
            alone_ns: sum(self.alone_ns, one.alone_ns),
            requests: sum(self.requests, one.requests),
            sensitivity_ns: sum(self.sensitivity_ns, one.sensitivity_ns),
        }
    }

    /// Whether nothing of it is more than of another.
    fn is_within(&self, other: &Self) -> bool {
        self.alone_ns <= other.alone_ns
            && self.requests <= other.requests
            && self.sensitivity_ns <= other.sensitivity_ns
    }
}

/// A task and those of its partition that delay it.
#[derive(Clone, Debug)]
pub struct Own<'a> {
    tasks: &'a TaskSet,
    /// The position of the task.
    position: usize,
    /// What a job of each task takes and asks for, by position.
    jobs: Vec<Work>,
    /// The hyperperiod of tasks that keep to the frame; none where they are taken in any phase.
    hyperperiod_ns: Option<u64>,
}

impl<'a> Own<'a> {
    /// The task given at `index`; `jobs` tells of every task, as given, what one of its jobs takes and asks for, some time above
    /// zero.
    ///
    /// # Panics
    /// Where no task was given at `index`, or `jobs` are fewer.
    pub fn new(supply: &Supply, tasks: &'a TaskSet, index: usize, jobs: &[Work]) -> Self {
        Self {
            position: tasks.position[index],
            jobs: tasks.given.iter().map(|&given| jobs[given]).collect(),
            hyperperiod_ns: response::hyperperiod_ns(supply, tasks),
            tasks,
        }
    }

    /// What can have begun and hold all up: the blocking of preemptive guests is told with its waiting.
    fn blockers(&self) -> Vec<Work> {
        let less_urgent = match self.tasks.policy() {
            Policy::Cooperative => &self.jobs[self.tasks.level(self.position).end..],
            Policy::FixedPriority | Policy::EarliestDeadline => &[],
        };
        let covered = |k: usize| {
            let by = |other: usize| {
                less_urgent[k].is_within(&less_urgent[other]) && (less_urgent[k] != less_urgent[other] || other < k)
            };
            (0..less_urgent.len()).any(|other| other != k && by(other))
        };
        let mut longest: Vec<_> = (0..less_urgent.len()).filter(|&k| !covered(k)).map(|k| less_urgent[k]).collect();
        if longest.is_empty() {
            longest.push(Work::default());
        }
        longest
    }
}

/// The latest response, where it is below the request-driven one: the begin that is worst by that is tried first, since most often
/// nothing is gained there, and then nothing is at all.
pub fn latest_response_below(supply: &Supply, own: &Own<'_>, bus: &Bus, driven: &Bound) -> Option<Latest> {
    let there = Busy::new(supply, own, bus).latest(begins::of_bound(supply, own, driven))?;
    if there.response_ns >= driven.response_ns {
        return None;
    }
    latest_response(supply, own, bus).filter(|latest| latest.response_ns < driven.response_ns)
}

/// The latest response, the begin of the very first frame among the others; none where it is not found within the limits.
pub fn latest_response(supply: &Supply, own: &Own<'_>, bus: &Bus) -> Option<Latest> {
    let mut busy = Busy::new(supply, own, bus);
    let any = search::latest_of(&mut busy, &begins::worst(supply, own, bus)?, HALVINGS)?;
    if supply.boot_ns() == 0 {
        return Some(any);
    }
    let at_boot = own.tasks.at_boot(supply.boot_loss_ns());
    let first = busy.at_boot(&at_boot).latest(From::only(0))?;
    Some(if first.response_ns > any.response_ns { first } else { any })
}

/// How long the jobs up to `latest` wait for each other master, in ns, in the order of the masters: together as much as its
/// bound holds.
pub fn waits_ns(bus: &Bus, latest: &Latest) -> Vec<u64> {
    let from = From { earliest_ns: latest.earliest_start_ns, latest_ns: latest.start_ns };
    let (mut sum, mut told_ns) = (0_u128, 0);
    let each = busy::waits(bus, &latest.work, from, latest.finish_ns).map(|wait| {
        sum = sum.saturating_add(wait);
        let up_to_ns = bus.line.whole_ns(sum);
        let own_ns = up_to_ns - told_ns;
        told_ns = up_to_ns;
        own_ns
    });
    each.collect()
}
