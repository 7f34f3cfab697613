//! The figures that a case may name.

use super::judged::{Judged, Result};
use crate::compare::{Answer, Share};
use claim::{PartKind, Unit, Verdict};
use quantity::Duration;

/// What a case calls `what`; none where nothing of that name is there. Beside the id of a verdict, which stands for
/// its bound, these are known: `diagnostics`, `misses`, `changed_partitions`, and with a subject behind, `status`,
/// `charged`, `shortfall`, `blackout`, `utilisation`, `at_once` (a bound without the wait for a release point), and of a
/// chain's verdict `generic`, `table_aware`.
pub fn figure(judged: &Judged, planned: &Judged, what: &str) -> Option<Answer> {
    if what == "diagnostics" {
        return Some(words(judged.codes.iter()));
    }
    let (found, planned) = (judged.result.as_ref()?, planned.result.as_ref()?);
    let (kind, subject) = what.split_once('/').unwrap_or((what, ""));
    match kind {
        "misses" => Some(words(found.misses())),
        "changed_partitions" => Some(words(changed_partitions(found, planned))),
        "status" => Some(Answer::Value(found.verdict(subject)?.status.words().into())),
        "generic" => Some(share(found.verdict(subject)?.generic?, 1)),
        "table_aware" => Some(share(found.verdict(subject)?.table_aware?, 1)),
        "charged" => Some(share(found.charged_ns(subject)?, 1)),
        "shortfall" => shortfall(found.verdict(&format!("response/{subject}"))?),
        "at_once" => at_once(found.verdict(subject)?),
        "blackout" => Some(share(found.supply(subject)?.blackout_ns()?, 1)),
        "utilisation" => Some(share(found.demand_per_frame_ns(subject)?, found.supply(subject)?.per_frame_ns())),
        _ => found.verdict(what).map(bound),
    }
}

/// The parts of a bound but for the waits for a release point.
fn at_once(verdict: &Verdict) -> Option<Answer> {
    let parts = verdict.parts.iter().filter(|part| part.kind != PartKind::Alignment);
    verdict.bound.map(|_| share(parts.map(|part| part.ns).sum(), 1))
}

fn share(part: u64, whole: u64) -> Answer {
    Answer::Share(Share { parts: vec![u128::from(part)], whole: u128::from(whole) })
}

fn words<T: AsRef<str>>(words: impl Iterator<Item = T>) -> Answer {
    let words: Vec<_> = words.map(|word| word.as_ref().to_owned()).collect();
    Answer::Value(if words.is_empty() { "none".to_owned() } else { words.join(", ") }.into())
}

fn bound(verdict: &Verdict) -> Answer {
    match (verdict.bound, verdict.unit) {
        (Some(bound), Unit::Ppm) => share(bound, 1_000_000),
        (Some(bound), _) => share(bound, 1),
        (None, _) => Answer::Value("no bound".into()),
    }
}

/// By how much demand passes the supply of a frame, as the reason for the missing bound says it.
fn shortfall(verdict: &Verdict) -> Option<Answer> {
    let (_, rest) = verdict.reason.as_ref()?.split_once("passes the supply by ")?;
    let (number, _) = rest.split_once(" in each frame")?;
    match number.split_once('/') {
        Some((upper, lower)) => Some(share(upper.parse().ok()?, lower.strip_suffix(" ns")?.parse().ok()?)),
        None => Some(share(number.parse::<Duration>().ok()?.ns(), 1)),
    }
}

fn changed_partitions<'a>(found: &'a Result, planned: &Result) -> impl Iterator<Item = &'a str> {
    found.partitions().filter(|partition| found.times_of(partition) != planned.times_of(partition))
}
