//! The shape of one verdict.

use super::shape::{AcceptedShape, Where};
use crate::concurrent::Concurrent;
use crate::dossier::Dossier;
use claim::{Growth, Part, Segment, Simulated, Verdict, Witness, WitnessRelease};
use quantity::LIMIT;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct VerdictShape<'d> {
    id: &'d str,
    kind: &'static str,
    subject: &'d str,
    status: &'static str,
    bound: Option<u64>,
    limit: Option<u64>,
    unit: &'static str,
    relation: &'static str,
    exact: bool,
    reason: Option<String>,
    generic: Option<u64>,
    table_aware: Option<u64>,
    growth: Option<GrowthShape>,
    parts: Vec<PartShape<'d>>,
    parts_untold: Option<&'static str>,
    basis: BasisShape,
    #[serde(rename = "where")]
    place: Option<Where>,
    accepted: Option<AcceptedShape>,
    witness: Option<WitnessShape<'d>>,
    simulated: Option<SimulatedShape>,
    simulated_concurrent: Option<ConcurrentShape>,
}

#[derive(Serialize)]
struct BasisShape {
    analysis: &'static str,
    source: &'static str,
    assumptions: Vec<String>,
}

#[derive(Serialize)]
struct GrowthShape {
    charged_ns: Option<u64>,
    largest_charged_ns: Option<u64>,
    ppm: Option<u64>,
}

#[derive(Serialize)]
struct PartShape<'d> {
    what: &'d str,
    kind: &'static str,
    ns: Option<u64>,
}

#[derive(Serialize)]
struct WitnessShape<'d> {
    summary: &'d str,
    phase_ns: Option<u64>,
    releases: Vec<ReleaseShape<'d>>,
    timeline: Vec<SegmentShape<'d>>,
    completes_ns: Option<u64>,
}

#[derive(Serialize)]
struct SimulatedShape {
    largest: Option<u64>,
    attained: bool,
    gap: Option<u64>,
    found_by: &'static str,
    runs: Option<u64>,
}

/// What runs saw in which line requests wait only for concurrent ones, with the share of each bound in thousandths, rounded up.
#[derive(Serialize)]
struct ConcurrentShape {
    largest: Option<u64>,
    of_bound_permille: Option<u64>,
    of_generic_permille: Option<u64>,
    of_table_aware_permille: Option<u64>,
    runs: Option<u64>,
}

#[derive(Serialize)]
struct ReleaseShape<'d> {
    task: &'d str,
    job: Option<u64>,
    arrival_ns: Option<i64>,
    release_ns: Option<i64>,
    execution_ns: Option<u64>,
}

#[derive(Serialize)]
struct SegmentShape<'d> {
    what: &'d str,
    start_ns: Option<u64>,
    end_ns: Option<u64>,
}

pub(super) fn shape<'d>(dossier: &Dossier, verdict: &'d Verdict) -> VerdictShape<'d> {
    VerdictShape {
        id: &verdict.id,
        kind: verdict.kind.key(),
        subject: &verdict.subject,
        status: verdict.status.key(),
        bound: verdict.bound.and_then(fits),
        limit: verdict.limit.and_then(fits),
        unit: verdict.unit.key(),
        relation: verdict.relation.key(),
        exact: verdict.exact,
        reason: reason(verdict),
        generic: verdict.generic.and_then(fits),
        table_aware: verdict.table_aware.and_then(fits),
        growth: verdict.growth.map(growth),
        parts: verdict.parts.iter().map(part).collect(),
        parts_untold: verdict.untold,
        basis: BasisShape {
            analysis: verdict.basis.analysis,
            source: verdict.basis.source,
            assumptions: verdict.basis.assumptions.iter().map(|a| a.id()).collect(),
        },
        place: super::place(dossier, verdict),
        accepted: super::accepted(dossier, &verdict.id),
        witness: verdict.witness.as_ref().map(witness),
        simulated: verdict.simulated.map(|seen| simulated(verdict, seen)),
        simulated_concurrent: Concurrent::of(verdict).map(concurrent),
    }
}

fn simulated(verdict: &Verdict, seen: Simulated) -> SimulatedShape {
    SimulatedShape {
        largest: fits(seen.largest),
        attained: verdict.gap() == Some(0),
        gap: verdict.gap().and_then(fits),
        found_by: seen.found_by.key(),
        runs: fits(seen.runs),
    }
}

fn concurrent(one: Concurrent<'_>) -> ConcurrentShape {
    let both = one.of_both();
    ConcurrentShape {
        largest: fits(one.seen.largest),
        of_bound_permille: one.of_bound().and_then(fits),
        of_generic_permille: both.and_then(|(generic, _)| fits(generic)),
        of_table_aware_permille: both.and_then(|(_, aware)| fits(aware)),
        runs: fits(one.seen.runs),
    }
}

/// Integers that some JSON readers would round are refused.
fn fits(value: u64) -> Option<u64> {
    (value <= LIMIT).then_some(value)
}

pub(super) fn fits_signed(value: i64) -> Option<i64> {
    fits(value.unsigned_abs()).map(|_| value)
}

/// The verdict's reason, and why a number of it is missing from the answer.
fn reason(verdict: &Verdict) -> Option<String> {
    let numbers = [
        ("bound", verdict.bound),
        ("limit", verdict.limit),
        ("generic bound", verdict.generic),
        ("table-aware bound", verdict.table_aware),
    ];
    let refused = numbers.into_iter().filter(|(_, value)| value.is_some_and(|value| fits(value).is_none()));
    let refused =
        refused.map(|(name, _)| format!("The {name} passes 2^53 and is not given here, to be rounded by none."));
    let sentences: Vec<String> = verdict.reason.clone().into_iter().chain(refused).collect();
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

fn growth(growth: Growth) -> GrowthShape {
    let ppm = quantity::exact_ratio_ppm(growth.largest_charged_ns, growth.charged_ns);
    GrowthShape {
        charged_ns: fits(growth.charged_ns),
        largest_charged_ns: fits(growth.largest_charged_ns),
        ppm: ppm.and_then(|ppm| fits(ppm.get())),
    }
}

fn part(part: &Part) -> PartShape<'_> {
    PartShape { what: &part.what, kind: part.kind.word(), ns: fits(part.ns) }
}

fn witness(witness: &Witness) -> WitnessShape<'_> {
    WitnessShape {
        summary: &witness.summary,
        phase_ns: witness.phase_ns.and_then(fits),
        releases: witness.releases.iter().map(release).collect(),
        timeline: witness.timeline.iter().map(segment).collect(),
        completes_ns: witness.completes_ns.and_then(fits),
    }
}

fn release(release: &WitnessRelease) -> ReleaseShape<'_> {
    ReleaseShape {
        task: &release.task,
        job: fits(release.job),
        arrival_ns: fits_signed(release.arrival_ns),
        release_ns: fits_signed(release.release_ns),
        execution_ns: fits(release.execution_ns),
    }
}

fn segment(segment: &Segment) -> SegmentShape<'_> {
    SegmentShape { what: &segment.what, start_ns: fits(segment.start_ns), end_ns: fits(segment.end_ns) }
}
