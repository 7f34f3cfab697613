//! Boot: by when each partition is operational.
//!
//! Computes: the time from reset, through the critical path of the stages, to the end of each partition's cold
//! initialisation inside its own windows, where it is built by another one after that one's own initialisation and the
//! building of those before it; against the tightest need that names it.
//! Source: critical path and inverse supply, `crate::startup`; common practice, no source.
//! Assumptions: times as declared; windows enforced; frames of different cores begin together.
//! Symbols: times in ns.
//! Invariants and why it ends: builders come before what they build, and a circle among them is noticed; parts add up.
//! Differs from the source: nothing. The first frame begins at phase 0, so no worst phase is taken.
//! Checked by: the survey vessel's twelve instants, tick-by-tick runs in `tests/recovery.rs`.

mod channels;
mod ready;

use super::scope::Scope;
use super::throttling;
use crate::startup::{self, Stage};
use claim::{Assumption, Basis, Kind, Part, PartKind, Relation, Status, Verdict, Witness, sum_of_parts};
use diagnostic::Span;
use model::system::{Boot, BootNeed, BootStage};
use quantity::{Duration, PartitionId};
use ready::{Readiness, Ready};

/// One verdict for each partition that a need names or that declares its cold initialisation.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let Some(boot) = &scope.system.boot else { return Vec::new() };
    let stages = stages(boot);
    let readiness = Readiness::of(scope);
    let claimed = |&partition: &PartitionId| {
        let declared = scope.system.partition(partition).restart.as_ref().is_some_and(|r| r.cold_init.is_some());
        needs(boot, partition).next().is_some() || (declared && !scope.is_idle(partition))
    };
    let partitions = scope.system.partition_ids().filter(claimed);
    partitions.map(|partition| verdict(scope, boot, &stages, &readiness, partition)).collect()
}

fn needs(boot: &Boot, partition: PartitionId) -> impl Iterator<Item = &BootNeed> {
    boot.needs.iter().filter(move |need| need.partitions.iter().any(|named| named.value == partition))
}

/// The stages on the critical path, or why the first frame's begin is not known.
type Stages = Result<Vec<Part>, String>;

fn stages(boot: &Boot) -> Stages {
    if boot.stages.is_empty() {
        return Err("no boot stage is given, so it is not known when the first frame begins".to_owned());
    }
    let stage = |stage: &BootStage| {
        let after = stage.after.iter().map(|before| before.value).collect();
        Ok(Stage { length_ns: length_ns(stage)?, after })
    };
    let stages = boot.stages.iter().map(stage).collect::<Result<Vec<_>, String>>()?;
    let path = startup::critical_path(&stages).ok_or("the boot stages have no order, or take too long")?;
    let part = |&k: &usize| Part::new(boot.stages[k].name.value.clone(), PartKind::Stage, stages[k].length_ns);
    Ok(path.stages.iter().map(part).collect())
}

/// Fixed time and load; the load is rounded up once.
fn length_ns(stage: &BootStage) -> Result<u64, String> {
    let name = &stage.name.value;
    let fixed = stage.time.as_ref().map(|time| time.value.ns());
    let load = stage.load.as_ref().map(|(size, rate)| rate.value.time_for(size.value).map(Duration::ns));
    match (fixed, load) {
        (None, None) => Err(format!("neither `time` nor `load` of boot stage `{name}` is given")),
        (_, Some(None)) => Err(format!("boot stage `{name}` loads for too long")),
        (fixed, load) => {
            let sum = fixed.unwrap_or(0).checked_add(load.flatten().unwrap_or(0));
            sum.ok_or_else(|| format!("boot stage `{name}` takes too long"))
        }
    }
}

/// What a claim is held against: from reset, or from the first frame.
struct Limit {
    within_ns: Option<u64>,
    from_reset: bool,
    place: Span,
}

/// The tightest need that names the partition; the first of equal ones.
fn limit(scope: &Scope<'_>, boot: &Boot, stages: &Stages, partition: PartitionId) -> Limit {
    let first_frame_ns = stages.as_ref().map_or(0, |parts| sum_of_parts(parts));
    let from_reset_ns = |need: &&BootNeed| {
        let before_ns = if need.from_reset { 0 } else { first_frame_ns };
        need.within.value.ns().saturating_add(before_ns)
    };
    match needs(boot, partition).min_by_key(from_reset_ns) {
        Some(need) => {
            let within_ns = Some(need.within.value.ns());
            Limit { within_ns, from_reset: need.from_reset, place: need.within.span }
        }
        None => {
            let place = scope.system.partition(partition).name.span;
            Limit { within_ns: None, from_reset: stages.is_ok(), place }
        }
    }
}

fn verdict(scope: &Scope<'_>, boot: &Boot, stages: &Stages, readiness: &Readiness, partition: PartitionId) -> Verdict {
    let limit = limit(scope, boot, stages, partition);
    let subject = scope.partition_name(partition);
    let open = Verdict {
        limit: limit.within_ns,
        relation: Relation::AtMost,
        place: Some(limit.place),
        ..Verdict::not_analysed(Kind::Boot, subject, basis(), String::new())
    };
    let unknown = |reason: &String| Verdict { reason: Some(reason.clone()), ..open.clone() };
    if scope.is_idle(partition) {
        let reason = format!("`{subject}` is idle in `{}`, the schedule after boot", scope.name());
        return violated(open, reason);
    }
    // Needs of both kinds can only be compared where the first frame's begin is known.
    let mixed = needs(boot, partition).any(|need| need.from_reset);
    match (stages, readiness.of_partition(partition)) {
        (Err(why), _) if limit.from_reset || mixed => unknown(why),
        (_, Err(why)) => unknown(why),
        (stages, Ok(ready)) => {
            let before = if limit.from_reset { stages.as_deref().unwrap_or(&[]) } else { &[] };
            let notes = channels::notes(scope, readiness, partition, ready);
            judge(open, before, ready, throttling::of_partition(scope, partition), notes)
        }
    }
}

fn judge(open: Verdict, before: &[Part], ready: &Ready, throttled: Option<String>, notes: Vec<String>) -> Verdict {
    let parts = [before, &ready.parts].concat();
    let bound_ns = sum_of_parts(&parts);
    assert_eq!(bound_ns, sum_of_parts(before).saturating_add(ready.at_ns), "the parts add up to the bound");
    let exact = ready.caution.is_none() && throttled.is_none();
    let base = Verdict { bound: Some(bound_ns), exact, parts, ..open };
    let status = if throttled.is_none() { Status::Shown } else { Status::NotShown };
    let mut told: Vec<_> = throttled.into_iter().chain(ready.caution.map(str::to_owned)).collect();
    told.extend(notes);
    let over_ns = base.limit.and_then(|limit_ns| bound_ns.checked_sub(limit_ns)).filter(|&over_ns| over_ns > 0);
    let Some(over_ns) = over_ns else {
        let reason = (!told.is_empty()).then(|| told.join("; "));
        return Verdict { status, reason, ..base };
    };
    told.insert(0, format!("operational {} after the time allowed", Duration::from_ns(over_ns)));
    let reason = told.join("; ");
    if base.exact { violated(base, reason) } else { Verdict { status: Status::NotShown, reason: Some(reason), ..base } }
}

fn violated(base: Verdict, reason: String) -> Verdict {
    let witness = Some(Witness::of_fact(&*reason));
    Verdict { status: Status::Violated, reason: Some(reason), witness, ..base }
}

fn basis() -> Basis {
    Basis {
        analysis: "boot",
        source: "critical path and inverse supply; common practice, no source",
        assumptions: vec![
            Assumption::InputsValid,
            Assumption::WindowsEnforced,
            Assumption::FramesSynchronised,
            Assumption::InterruptsPended,
        ],
    }
}
