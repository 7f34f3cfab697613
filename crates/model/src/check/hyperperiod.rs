//! Frame-aligned tasks are analysed over the time after which all of them and the frame repeat together.

use super::frame::least_multiple;
use super::task_name;
use crate::read::{Context, Document, is_aligned, phase};
use crate::system::DeadlinePhase;
use diagnostic::codes::task::HYPERPERIOD;
use diagnostic::{Diagnostic, Located};
use quantity::Duration;

/// The most jobs of one partition that are followed in its hyperperiod; `report` says the number in words.
const MOST_JOBS: u64 = 1_000_000;
/// How far a better period is searched, in numbers of periods in the frame.
const SEARCH: u64 = 10_000;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let system = doc.root.table("system");
    let Some(frame) = system.and_then(|system| system.time("frame")) else { return };
    let general = system.and_then(|system| phase(system, "deadlines_hold_in"));
    for (index, partition) in doc.root.tables("partition").enumerate() {
        let own = phase(partition, "deadlines_hold_in").or(general);
        if own == Some(DeadlinePhase::Frame) {
            let aligned = doc.tasks_of(index).filter(|(_, task)| is_aligned(&task.fields));
            let periods = aligned.filter_map(|(at, task)| Some((at, task.fields.time("period")?))).collect();
            too_long(doc, frame, periods).into_iter().for_each(|fault| cx.report(fault));
        }
    }
}

/// The first period that makes the hyperperiod too long, with the earlier one that fits it least.
fn too_long(doc: &Document, frame: Located<Duration>, periods: Vec<(usize, Located<Duration>)>) -> Option<Diagnostic> {
    let mut joint = frame.ns();
    for (at, (index, period)) in periods.iter().enumerate() {
        let before = &periods[..at];
        match least_multiple(joint, period.ns()) {
            Some(longer) if jobs(longer, &periods[..=at]) <= MOST_JOBS => joint = longer,
            longer => return Some(report(doc, frame, before, (*index, *period), longer)),
        }
    }
    None
}

fn jobs(hyperperiod: u64, periods: &[(usize, Located<Duration>)]) -> u64 {
    periods.iter().fold(0, |sum, (_, period)| sum.saturating_add(hyperperiod / period.ns()))
}

fn report(
    doc: &Document,
    frame: Located<Duration>,
    before: &[(usize, Located<Duration>)],
    (index, period): (usize, Located<Duration>),
    joint: Option<u64>,
) -> Diagnostic {
    let named = before.iter().map(|(at, other)| (format!("task {}", task_name(doc, *at)), *other));
    let others = std::iter::once(("the frame".to_owned(), frame)).chain(named);
    // A pair whose multiple cannot be written fits least of all.
    let worst = others.max_by_key(|(_, other)| least_multiple(other.ns(), period.ns()).unwrap_or(u64::MAX));
    let joint =
        joint.map_or("longer than any time that is reckoned with".to_owned(), |ns| Duration::from_ns(ns).to_string());
    let message = format!(
        "with the period of task {}, {}, the frame-aligned tasks of its partition repeat together only after {joint}",
        task_name(doc, index),
        period.value
    );
    let mut fault = Diagnostic::new(&HYPERPERIOD, period.span, message);
    if let Some((what, other)) = worst {
        fault = fault.also(other.span, format!("{what}, {}, fits it least", other.value));
    }
    fault.help(format!("more than 1,000,000 jobs would have to be followed; {}", advice(frame.ns(), period.ns())))
}

/// Periods near a given one that fit the frame: its divisors, or its multiples where the period is longer.
fn advice(frame: u64, period: u64) -> String {
    let whole = |count: u64| (count > 0 && frame.is_multiple_of(count)).then(|| frame / count);
    let count = frame / period;
    let (shorter, longer) = if count == 0 {
        let below = period / frame * frame;
        (Some(below), below.checked_add(frame))
    } else {
        let (more, fewer) = (count + 1..=count + SEARCH, count.saturating_sub(SEARCH)..=count);
        ({ more }.find_map(whole), fewer.rev().find_map(whole))
    };
    let near: Vec<_> = [shorter, longer].into_iter().flatten().map(|ns| Duration::from_ns(ns).to_string()).collect();
    format!("a period that fits the frame near this one is {}", near.join(" or "))
}
