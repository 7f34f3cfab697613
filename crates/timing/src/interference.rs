//! Waiting for memory counted from both sides: what the own jobs ask for, and what other masters can ask for meanwhile.
//!
//! Computes: the latest response of one fixed-priority task under a window table, in any phase of the table against the task.
//! Source: Kim, de Niz, Andersson, Klein, Mutlu & Rajkumar, "Bounding memory interference delay in COTS-based multi-core
//! systems", RTAS 2014 (request-driven, job-driven, their minimum); Agrawal, Fohler, Freitag, Nowotsch, Uhrig & Paulitsch,
//! "Contention-aware dynamic memory bandwidth isolation with predictability in COTS multicores", ECRTS 2017 (only who runs at
//! the same time); both from memory. What is served of a burst and a rate: Le Boudec & Thiran, "Network calculus", 2001, theorem
//! 1.4.3, from memory.
//! Assumptions: round-robin, every master listed, one outstanding request each; windows enforced on frames that begin together;
//! others' jobs respond and ask as [`Jobs`] says; those of free-running release.
//! Symbols: `s` begin of a busy window, `t` its length, `L` time of a line, `N(t)` requests of all jobs counted in it, `A(s, t)`
//! time within `[s, s + t)` and the own usable time in which requests of one other master can be served.
//! `finish(q) = min { t : S(s, t) >= B + alone work of the jobs counted + sum over masters of min(N(t) L, A(s, t)) }`.
//!
//! Why the minimum may be taken master by master: at every instant of the busy window that is not blackout the core executes or
//! waits for a request in service of exactly one other master. Each own request waits at most once for each master, `L` at most;
//! and while it waits for a master, a request of that master is in service. So the time waited for it is at most `N(t) L`, and at
//! most `A(s, t)`. Before the finish the supply is used up by less than the sum: the job still has its own line to fetch after
//! a wait. Any `t` whose supply reaches the sum is thus no earlier than the finish.
//!
//! `A(s, t)` of a partition elsewhere: requests are asked for in its windows only and served at most `M L` later, so they
//! are served within its windows, each so much longer; and no more than its jobs ask for is served, and for each window met
//! what its switch and its refill ask for, which is within the time charged for them. A master held to a budget is served no
//! more than that. One that asks for a burst and a rate is served no more than [`Flow`] says, `b + r (t + T)` bytes and a line:
//! while some of it waits, it is served at least `r (u - T)` in a span `u`, so no more than `b + r T` can ever wait.
//!
//! Invariants and why it ends: work never shrinks with `t`, and each round passes the one before; a horizon and a limit on
//! rounds end the others, with no answer. The worst `s` is sought by halving intervals: from an interval `[a, b]` of usable time
//! every begin is supplied no less than from `b`, and waits for no more than from `a`; the answer is the latest of any interval,
//! which further halving only lowers.
//! Differs from the source: no row buffers of the memory, as `L` is the time at the guaranteed rate; the busy window from every
//! begin instead of windows as a whole.
//! Checked by: brute force on two cores in `tests/interference`.

mod busy;
mod curve;
mod masters;
mod search;
mod windows;

use crate::supply::{FARTHEST_NS, Supply};
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
}

/// A task and those of its partition that delay it; times in ns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Own {
    /// Distance of two arrivals; above zero.
    pub period_ns: u64,
    /// How long after its arrival a job is released at the latest.
    pub jitter_ns: u64,
    /// What less urgent jobs take in a busy window, their waiting included.
    pub blocking_ns: u64,
    /// What a job takes, waiting left out; above zero.
    pub alone_ns: u64,
    /// Line requests of a job.
    pub requests: u64,
    /// The more urgent tasks, and equal ones.
    pub others: Vec<Rival>,
}

/// A task that goes before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rival {
    /// Distance of two arrivals, in ns; above zero.
    pub period_ns: u64,
    /// How long after its arrival a job is released at the latest, in ns.
    pub jitter_ns: u64,
    /// What a job takes, waiting left out, in ns.
    pub alone_ns: u64,
    /// Line requests of a job.
    pub requests: u64,
}

/// The latest response, where it is below the request-driven one that begins at `begin_ns`: that begin is tried first, since most
/// often nothing is gained there, and then nothing is at all.
pub fn latest_response_below(
    supply: &Supply,
    own: &Own,
    bus: &Bus,
    (begin_ns, driven_ns): (u64, u64),
) -> Option<Latest> {
    let mut busy = Busy { supply, own, bus, horizon_ns: FARTHEST_NS as u64, rounds: ROUNDS };
    let there = busy.latest(From::only(begin_ns))?;
    if there.response_ns >= driven_ns {
        return None;
    }
    latest_response(supply, own, bus).filter(|latest| latest.response_ns < driven_ns)
}

/// The latest response, the begin of the very first frame among the others; none where it is not found within the limits.
pub fn latest_response(supply: &Supply, own: &Own, bus: &Bus) -> Option<Latest> {
    let mut busy = Busy { supply, own, bus, horizon_ns: FARTHEST_NS as u64, rounds: ROUNDS };
    let any = search::latest_of(&mut busy, &search::begins(supply, bus), HALVINGS)?;
    if supply.boot_ns() == 0 {
        return Some(any);
    }
    let at_boot = own.at_boot(supply.boot_loss_ns());
    let first = Busy { own: &at_boot, ..busy }.latest(From::only(0))?;
    Some(if first.response_ns > any.response_ns { Latest { at_boot: true, ..first } } else { any })
}

/// How long the jobs up to `latest` wait for each other master, in ns, in the order of the masters: together as much as its
/// bound holds.
pub fn waits_ns(own: &Own, bus: &Bus, latest: &Latest) -> Vec<u64> {
    let from = From { earliest_ns: latest.earliest_start_ns, latest_ns: latest.start_ns };
    let at_boot = latest.at_boot.then(|| own.at_boot(0));
    let counted = at_boot.as_ref().unwrap_or(own).counted(latest.job, latest.finish_ns);
    let (mut sum, mut told_ns) = (0_u128, 0);
    let each = busy::waits(bus, &counted, from, latest.finish_ns).map(|wait| {
        sum = sum.saturating_add(wait);
        let up_to_ns = bus.line.whole_ns(sum);
        let own_ns = up_to_ns - told_ns;
        told_ns = up_to_ns;
        own_ns
    });
    each.collect()
}

impl Own {
    /// As it stands at the very first instant: see the task set's.
    fn at_boot(&self, loss_ns: u64) -> Self {
        let others = self.others.iter().map(|other| Rival { jitter_ns: 0, ..*other }).collect();
        Self { jitter_ns: 0, blocking_ns: loss_ns, others, ..self.clone() }
    }
}
