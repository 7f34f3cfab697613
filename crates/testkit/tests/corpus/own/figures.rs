//! The figures of a vessel that a case may name.

use super::vessel::Vessel;
use crate::compare::{Answer, Share};
use timing::response::{Response, worst_responses};
use timing::sensitivity::common_factor_ppm;

/// `KIND/SUBJECT`, or `KIND` alone for the whole vessel; none where nothing of that name is there.
pub fn figure(vessel: &Vessel, planned: &Vessel, what: &str) -> Option<Answer> {
    let (kind, subject) = what.split_once('/').unwrap_or((what, ""));
    match kind {
        "charged" => charged(vessel, subject),
        "response" => response(vessel, subject, false),
        "aligned_response" => response(vessel, subject, true),
        "shortfall" => shortfall(vessel, subject),
        "misses" => Some(words(misses(vessel))),
        "changed_partitions" => Some(words(changed_partitions(vessel, planned))),
        "blackout" => vessel.supply(subject).blackout_ns().map(whole),
        "utilisation" => utilisation(vessel, subject),
        "growth" => growth(vessel, subject),
        _ => None,
    }
}

fn whole(number: u64) -> Answer {
    share(number, 1)
}

fn share(part: u64, whole: u64) -> Answer {
    Answer::Share(Share { parts: vec![u128::from(part)], whole: u128::from(whole) })
}

fn words(words: Vec<String>) -> Answer {
    let text = if words.is_empty() { "none".to_owned() } else { words.join(", ") };
    Answer::Value(text.into())
}

/// The partition and the position of `PARTITION.task`.
fn place<'a>(vessel: &Vessel, subject: &'a str) -> Option<(&'a str, usize)> {
    let (partition, task) = subject.split_once('.')?;
    Some((partition, vessel.tasks_of(partition).iter().position(|row| row.name == task)?))
}

fn responses(vessel: &Vessel, partition: &str, aligned: bool) -> Vec<Response> {
    worst_responses(&vessel.supply(partition), &vessel.task_set(partition, aligned))
}

fn charged(vessel: &Vessel, subject: &str) -> Option<Answer> {
    let (partition, k) = place(vessel, subject)?;
    Some(whole(vessel.charged_ns(&vessel.tasks_of(partition)[k])))
}

fn response(vessel: &Vessel, subject: &str, aligned: bool) -> Option<Answer> {
    let (partition, k) = place(vessel, subject)?;
    match &responses(vessel, partition, aligned)[k] {
        Response::Bounded(bound) => Some(whole(bound.response_ns)),
        Response::Unbounded(_) => Some(Answer::Value("no bound".into())),
        Response::GaveUp(_) => None,
    }
}

/// By how much the demand at a task's level passes the supply of a frame; none where it does not.
fn shortfall(vessel: &Vessel, subject: &str) -> Option<Answer> {
    let (partition, k) = place(vessel, subject)?;
    let Response::Unbounded(shortfall) = &responses(vessel, partition, false)[k] else { return None };
    let text = shortfall.to_string();
    let (upper, lower) = text.strip_suffix(" ns")?.split_once('/').unwrap_or((text.strip_suffix(" ns")?, "1"));
    Some(share(upper.parse().ok()?, lower.parse().ok()?))
}

/// The tasks whose worst response in any phase passes the deadline or has no bound.
fn misses(vessel: &Vessel) -> Vec<String> {
    let of_partition = |partition: &String| {
        let rows = vessel.tasks_of(partition).iter().zip(responses(vessel, partition, false));
        let late =
            rows.filter(|(row, response)| response.bound().is_none_or(|bound| bound.response_ns > row.deadline_ns()));
        late.map(|(row, _)| format!("{partition}.{}", row.name)).collect::<Vec<_>>()
    };
    vessel.partitions().flat_map(of_partition).collect()
}

fn changed_partitions(vessel: &Vessel, planned: &Vessel) -> Vec<String> {
    let changed = |partition: &&String| responses(vessel, partition, false) != responses(planned, partition, false);
    vessel.partitions().filter(changed).cloned().collect()
}

/// Demand out of usable supply, in percent.
fn utilisation(vessel: &Vessel, partition: &str) -> Option<Answer> {
    let supply_ns = vessel.supply(partition).per_frame_ns();
    (supply_ns > 0).then(|| share(100 * vessel.demand_per_frame_ns(partition), supply_ns))
}

/// The largest common factor on all charged times, rounded down to a millionth.
fn growth(vessel: &Vessel, partition: &str) -> Option<Answer> {
    if vessel.tasks_of(partition).is_empty() {
        return None;
    }
    Some(share(common_factor_ppm(&vessel.supply(partition), &vessel.task_set(partition, false)), 1_000_000))
}
