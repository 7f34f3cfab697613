//! How far each number of the platform sheet may grow before a deadline is missed.
//!
//! Computes: for each overhead alone, the largest value with which every deadline of the module schedule that holds now
//! still holds; for the line service of memory, the largest common factor. A partition in which some deadline is not
//! shown to hold now has claims of its own for that, and is left out here.
//! Source: sensitivity by bisection on the response analyses: Bini, Di Natale & Buttazzo, Real-Time Systems 39, 2008
//! (from memory).
//! Assumptions: those of the responses; everything but the one overhead stays as it is.
//! Symbols: overheads in ns; the factor in parts per million, each job's waiting rounded up once.
//! Invariants and why it ends: a larger overhead never lets a deadline hold that a smaller one breaks, since it only adds
//! work, jitter or blocking, or takes supply away; the interval is halved until it is one step. A partition in which the
//! largest value found so far holds needs no search.
//! Differs from the source: the overheads of a platform sheet instead of execution times.
//! Checked by: the value itself holding and one step more failing, through the whole check of the survey vessel.

use super::charge;
use super::locking;
use super::partition_supply::{self, Losses};
use super::responses::{self, Analysed};
use super::results::Results;
use super::scope::Scope;
use crate::sensitivity::{GREATEST_PPM, UNCHANGED_PPM, halve};
use crate::supply::Supply;
use crate::task_set::Task;
use claim::{Basis, Kind, Relation, Status, Unit, Verdict};
use diagnostic::Span;
use quantity::{Duration, PartitionId, Ppm};

/// A number of the platform sheet, or of the board, that every partition pays.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Overhead {
    Switch,
    Refill,
    ContextSwitch,
    ReleaseJitter,
    Nonpreemptable,
    LineService,
}

const OVERHEADS: [Overhead; 6] = [
    Overhead::Switch,
    Overhead::Refill,
    Overhead::ContextSwitch,
    Overhead::ReleaseJitter,
    Overhead::Nonpreemptable,
    Overhead::LineService,
];

impl Overhead {
    /// The word behind `margin/overhead/`, which is the key of the system file where there is one.
    const fn key(self) -> &'static str {
        match self {
            Self::Switch => "switch",
            Self::Refill => "refill",
            Self::ContextSwitch => "context_switch",
            Self::ReleaseJitter => "release_jitter",
            Self::Nonpreemptable => "nonpreemptable",
            Self::LineService => "line_service",
        }
    }

    /// The value now and its place; none where it is not given.
    fn now(self, scope: &Scope<'_>) -> Option<(u64, Span)> {
        let platform = &scope.system.platform;
        let given = match self {
            Self::Switch => &platform.switch,
            Self::Refill => &platform.refill,
            Self::ContextSwitch => &platform.context_switch,
            Self::ReleaseJitter => &platform.release_jitter,
            Self::Nonpreemptable => &platform.nonpreemptable,
            Self::LineService => {
                let interconnect = scope.system.board.interconnect.as_ref()?;
                return Some((UNCHANGED_PPM, interconnect.guaranteed.span));
            }
        };
        given.as_ref().map(|given| (given.value.ns(), given.span))
    }

    /// No greater value is looked for.
    fn most(self, scope: &Scope<'_>, now: u64) -> u64 {
        match self {
            Self::LineService => GREATEST_PPM,
            _ => now.saturating_add(scope.frame_ns()),
        }
    }

    const fn unit(self) -> Unit {
        match self {
            Self::LineService => Unit::Ppm,
            _ => Unit::Nanoseconds,
        }
    }

    fn show(self, value: u64) -> String {
        match self {
            Self::LineService => format!("{} of the present line-service time", Ppm::new(value)),
            _ => Duration::from_ns(value).to_string(),
        }
    }
}

/// One virtual core of a partition, tried with other overheads.
struct Trial<'a> {
    scope: &'a Scope<'a>,
    partition: PartitionId,
    analysed: &'a Analysed,
}

/// One verdict for each overhead that is given.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let trials = trials(scope, results);
    let given = OVERHEADS.into_iter().filter_map(|overhead| Some((overhead, overhead.now(scope)?)));
    given.map(|(overhead, (now, place))| verdict(scope, &trials, overhead, now, place)).collect()
}

/// Every virtual core with tasks, or why some are not analysed.
fn trials<'a>(scope: &'a Scope<'a>, results: &'a Results) -> Result<Vec<Trial<'a>>, String> {
    let mut trials = Vec::new();
    for partition in scope.running_partitions() {
        for (_, found) in results.cores(partition) {
            let analysed = found.as_ref().map_err(|why| format!("`{}`: {why}", scope.partition_name(partition)))?;
            trials.push(Trial { scope, partition, analysed });
        }
    }
    Ok(trials)
}

fn verdict(
    scope: &Scope<'_>,
    trials: &Result<Vec<Trial<'_>>, String>,
    overhead: Overhead,
    now: u64,
    place: Span,
) -> Verdict {
    let base = Verdict {
        unit: overhead.unit(),
        relation: Relation::AtLeast,
        limit: Some(now),
        ..scope.claim(Kind::Margin, format!("overhead/{}", overhead.key()), basis(trials), place, String::new())
    };
    let trials = match trials {
        Err(reason) => return Verdict { reason: Some(reason.clone()), ..base },
        Ok(trials) => trials,
    };
    let (holding, missing): (Vec<_>, Vec<_>) = trials.iter().partition(|trial| trial.analysed.is_shown());
    let (bound, first) = largest(&holding, overhead, now, overhead.most(scope, now));
    let mut sentences = Vec::new();
    if let Some(first) = first {
        let name = scope.partition_name(first);
        sentences.push(format!("deadlines hold up to {}; the first to break is in `{name}`", overhead.show(bound)));
    }
    if !missing.is_empty() {
        let names: Vec<_> =
            missing.iter().map(|trial| format!("`{}`", scope.partition_name(trial.partition))).collect();
        sentences.push(format!("not counted, since deadlines are not shown to hold there now: {}", names.join(", ")));
    }
    let reason = (!sentences.is_empty()).then(|| sentences.join("; "));
    Verdict { status: Status::Shown, bound: Some(bound), reason, ..base }
}

fn basis(trials: &Result<Vec<Trial<'_>>, String>) -> Basis {
    let mut assumptions: Vec<_> =
        trials.iter().flatten().flat_map(|trial| &trial.analysed.basis.assumptions).copied().collect();
    assumptions.sort_unstable();
    assumptions.dedup();
    let source = "Bini, Di Natale and Buttazzo, Real-Time Systems 39, 2008 (from memory)";
    Basis { analysis: "overheads", source, assumptions }
}

/// The largest value up to `most` with which every deadline holds, and the partition that the next one breaks; all hold
/// with `now`.
fn largest(trials: &[&Trial<'_>], overhead: Overhead, now: u64, most: u64) -> (u64, Option<PartitionId>) {
    let (mut largest, mut first) = (most, None);
    for trial in trials {
        if !trial.holds(overhead, now, largest) {
            largest = halve(now, largest, |value| trial.holds(overhead, now, value));
            first = Some(trial.partition);
        }
    }
    (largest, first)
}

impl Trial<'_> {
    /// Whether every deadline holds with `value` in place of `now`.
    fn holds(&self, overhead: Overhead, now: u64, value: u64) -> bool {
        let count = self.analysed.tasks.len();
        let tasks: Option<Vec<Task>> = (0..count).map(|k| self.task(overhead, k, now, value)).collect();
        let Some(set) = tasks.and_then(|tasks| self.analysed.set_of(&tasks)) else { return false };
        if matches!(overhead, Overhead::Switch | Overhead::Refill) {
            let supplies = self.supplies_with_more_head(value - now);
            return supplies.is_some_and(|supplies| self.analysed.would_meet(&supplies, &set));
        }
        self.analysed.would_meet(self.analysed.supplies(), &set)
    }

    /// The task at `k` as it is with the changed overhead; none where its numbers become too large.
    fn task(&self, overhead: Overhead, k: usize, now: u64, value: u64) -> Option<Task> {
        let mut task = self.analysed.tasks[k];
        let declared = self.scope.system.task(self.analysed.ids[k]);
        let more = value.checked_sub(now)?;
        match overhead {
            Overhead::Switch | Overhead::Refill => {}
            Overhead::ContextSwitch => task.charged_ns = task.charged_ns.checked_add(more.checked_mul(2)?)?,
            Overhead::ReleaseJitter if declared.jitter.is_none() => {
                task.jitter_ns = task.jitter_ns.checked_add(more)?
            }
            Overhead::Nonpreemptable => {
                let (policy, ids) = (self.analysed.set.policy(), &self.analysed.ids);
                let section = Some(Duration::from_ns(value));
                task.blocking_ns = locking::blocking(self.scope, policy, ids, k, section).ok()?.ns;
            }
            Overhead::ReleaseJitter => {}
            Overhead::LineService => {
                let waiting_ns = charge::waiting_of(self.scope, self.analysed.ids[k], task.charged_ns);
                let scaled_ns = (u128::from(waiting_ns) * u128::from(value)).div_ceil(u128::from(UNCHANGED_PPM));
                let more_ns = u64::try_from(scaled_ns).ok()?.checked_sub(waiting_ns)?;
                task.charged_ns = task.charged_ns.checked_add(more_ns)?;
            }
        }
        Some(task)
    }

    fn supplies_with_more_head(&self, more_ns: u64) -> Option<Vec<Supply>> {
        let only = responses::virtual_core_of(self.scope, *self.analysed.ids.first()?);
        let all = 0..self.scope.system.partition(self.partition).virtual_cores.value;
        let virtual_cores = only.map_or(all, |only| only..only + 1);
        let losses = Losses { more_head_ns: more_ns, ..self.analysed.losses };
        let supply = |virtual_core| {
            let given = partition_supply::supply(self.scope, self.partition, virtual_core, losses);
            given.ok().map(|given| given.supply)
        };
        virtual_cores.map(supply).collect()
    }
}
