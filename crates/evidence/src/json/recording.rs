//! A recording that was judged, for programs.

use super::SCHEMA_VERSION;
use crate::recording::{
    Beside, CAUTION, Judged, Measured, Pair, REHEARSAL, Spread, Victims, matter_words, place_words,
};
use serde_json::{Map, Value, json};
use statistics::two_samples::Within;
use trace::judge::{Extent, Finding, Relation, Supply};

/// What goes with a judged recording.
#[derive(Debug, Clone, Copy)]
pub struct Recorded<'a> {
    /// The version of the program.
    pub tool_version: &'a str,
    /// The exit status.
    pub exit_status: u8,
    /// The name and digest of every input.
    pub inputs: &'a [(String, model::Digest)],
    /// What is wrong with the inputs.
    pub diagnostics: &'a [diagnostic::Plain],
    /// What was judged.
    pub judged: Judged<'a>,
}

/// The answer as a JSON text with a final line break.
pub fn recorded(recorded: &Recorded<'_>) -> String {
    let judged = &recorded.judged;
    let mut object = head(recorded);
    object.extend(found(judged));
    object.insert("beside_bounds".to_owned(), judged.found.beside.iter().map(beside).collect());
    object.insert("samples".to_owned(), judged.found.measured.iter().map(sample).collect());
    format!("{:#}\n", Value::Object(object))
}

/// What the answer of every command that judges recordings has.
pub(super) fn head(recorded: &Recorded<'_>) -> Map<String, Value> {
    let inputs = recorded.inputs.iter().map(|(name, digest)| json!({ "name": name, "digest": digest }));
    members(json!({
        "schema_version": SCHEMA_VERSION,
        "tool_version": recorded.tool_version,
        "exit_status": recorded.exit_status,
        "baseline": { "system": recorded.judged.system.digest(), "inputs": inputs.collect::<Vec<_>>() },
        "caution": CAUTION,
        "rehearsal": recorded.judged.found.is_rehearsal.then_some(REHEARSAL),
        "diagnostics": recorded.diagnostics,
    }))
}

/// What one recording covers, breaks and keeps.
pub(super) fn found(judged: &Judged<'_>) -> Map<String, Value> {
    let coverage = &judged.found.judgement.coverage;
    let tasks = coverage.tasks.iter().enumerate().map(|(task, seen)| {
        let name = judged.system.task_label(quantity::TaskId::new(task));
        json!({ "task": name, "whole": seen.whole, "cut": seen.cut, "given_up": seen.given_up })
    });
    members(json!({
        "coverage": {
            "from_ns": coverage.span_ns.map(|(from, _)| from),
            "to_ns": coverage.span_ns.map(|(_, to)| to),
            "events": coverage.seen,
            "gaps": coverage.gaps,
            "frames": coverage.frames,
            "schedules": coverage.schedules,
            "faults": coverage.faults,
            "restarts": coverage.restarts,
            "tasks": tasks.collect::<Vec<_>>(),
        },
        "sources": (0..judged.found.sources.len()).map(|index| source(judged, index)).collect::<Vec<_>>(),
        "findings": judged.found.judgement.findings.iter().map(finding).collect::<Vec<_>>(),
        "supply": judged.supply().into_iter().map(supply).collect::<Vec<_>>(),
        "spans": judged.found.victims.as_ref().map(victims),
    }))
}

/// The members of an object.
pub(super) fn members(object: Value) -> Map<String, Value> {
    match object {
        Value::Object(members) => members,
        _ => Map::new(),
    }
}

fn source(judged: &Judged<'_>, index: usize) -> Value {
    let taking = &judged.found.taking;
    let (name, format) = &judged.found.sources[index];
    let mine = taking.matters.iter().filter(|matter| usize::from(matter.source) == index);
    let matters = mine.map(|found| {
        json!({
            "what": matter_words(found.matter, found.count, taking.names.get(index)),
            "first": place_words(found.first, &judged.found.sources),
            "count": found.count,
        })
    });
    let unmapped = taking.unmapped.get(index).into_iter().flatten();
    let refusal = taking.refusals.iter().find(|refusal| usize::from(refusal.place.source) == index);
    let fit = taking.fits.get(index);
    json!({
        "name": name,
        "format": format,
        "events": taking.events.get(index),
        "clock": fit.map(|fit| json!({
            "offset_ns": fit.offset_ns, "drift_ppb": fit.drift_ppb(), "error_ns": fit.error_ns(), "marks": fit.pairs,
        })),
        "matters": matters.collect::<Vec<_>>(),
        "unmapped": unmapped.map(|one| json!({ "kind": one.kind, "name": one.name, "events": one.events })).collect::<Vec<_>>(),
        "refused": refusal.map(|refusal| json!({
            "place": place_words(refusal.place, &judged.found.sources), "why": refusal.why, "remedy": refusal.remedy,
        })),
    })
}

fn finding(found: &Finding) -> Value {
    let relation = match found.rule.relation() {
        Relation::AtMost => "at_most",
        Relation::AtLeast => "at_least",
    };
    json!({
        "id": found.id(),
        "rule": found.rule.word(),
        "subject": found.subject,
        "status": found.status.word().replace(' ', "_"),
        "reason": found.status.reason(),
        "unit": found.rule.unit(),
        "relation": relation,
        "limit": found.limit,
        "worst": found.worst,
        "worst_at_ns": found.worst_at_ns,
        "seen": found.seen,
        "in_gaps": found.in_gaps,
        "broken": found.broken,
        "undecided": found.undecided,
        "first": found.first.as_ref().map(|first| json!({
            "at_ns": first.at_ns, "value": first.value, "what": first.what,
        })),
    })
}

fn supply((name, supply): (&str, Supply)) -> Value {
    let extent = |extent: Extent| {
        json!({
            "times": extent.times,
            "least_ns": (extent.times > 0).then_some(extent.least_ns),
            "most_ns": (extent.times > 0).then_some(extent.most_ns),
            "together_ns": extent.total_ns,
        })
    };
    json!({
        "partition": name,
        "windows": extent(supply.windows),
        "executed": extent(supply.executed),
        "switches": extent(supply.switches),
    })
}

fn victims(victims: &Victims) -> Value {
    let spread = |spread: &Option<Spread>| {
        spread.map(|spread| {
            json!({
                "values": spread.values,
                "least_ns": spread.least,
                "tenth_ns": spread.tenth,
                "median_ns": spread.median,
                "nine_tenths_ns": spread.nine_tenths,
                "most_ns": spread.most,
            })
        })
    };
    let rows = victims.rows.iter().map(|row| {
        let [before, during, after] = &row.spreads;
        let [to_during, to_after] = &row.pairs;
        json!({
            "of": row.name,
            "before": spread(before),
            "during": spread(during),
            "after": spread(after),
            "during_against_before": shifts(to_during),
            "after_against_before": shifts(to_after),
        })
    });
    json!({
        "from_ns": victims.from_ns,
        "to_ns": victims.to_ns,
        "tolerance_ns": victims.tolerance_ns,
        "left_to_error_one_in": victims.one_in,
        "correction": "Bonferroni",
        "victims": rows.collect::<Vec<_>>(),
    })
}

fn shifts(pair: &Pair) -> Vec<Value> {
    let shifts = pair.comparison.shifts.iter();
    let within = |within: Within| match within {
        Within::Shown => Some("shown"),
        Within::NotShown => Some("not_shown"),
        Within::Violated => Some("violated"),
        Within::NotAsked => None,
    };
    shifts
        .map(|shift| {
            json!({
                "quantile_ppb": shift.quantile_ppb,
                "observed_ns": shift.observed,
                "least_ns": shift.least,
                "most_ns": shift.most,
                "status": within(shift.within),
                "values_needed_for_a_bound": shift.needed_for_a_bound,
                "values_needed_for_the_tolerance": shift.needed_for_tolerance,
            })
        })
        .collect()
}

fn sample(one: &Measured) -> Value {
    json!({
        "of": one.name,
        "values": one.values,
        "high_water_ns": one.high_water_ns,
        "claimed_ns": one.claimed_ns,
        "covers_99_percent_ns": one.tolerance.map(|limit| limit.value),
        "values_needed": one.needed,
        "independent": one.is_independent,
        "stationary": one.is_stationary,
        "one_in_a_million_ns": one.rare_ns.map(|(value, low, high)| json!({ "estimate": value, "low": low, "high": high })),
        "no_fit": one.no_fit,
    })
}

fn beside(one: &Beside) -> Value {
    json!({
        "claim": one.claim,
        "unit": one.unit.key(),
        "seen": one.seen,
        "surely": one.surely,
        "count": one.count,
        "at_ns": one.at_ns,
        "bound": one.bound,
        "alarm": one.is_alarm(),
    })
}
