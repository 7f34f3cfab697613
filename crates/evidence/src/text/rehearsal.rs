//! A rehearsal for people at a terminal: what it is, what it could not keep, and what was measured around its faults.

use super::layout::{Align, Page};
use model::System;
use quantity::Duration;
use trace::spans::{Measure, Values};

/// What every answer about a rehearsal says of itself.
const WHAT_IT_IS: &str = "A rehearsal on another machine: processes and loads stood in for partitions and jobs, and shared this \
                          machine's cpus as its kernel let them. It shows whether plan and recovery work together; it is no \
                          statement about the target, and no figure of it is one of the target.";

/// What it is, and what was not kept.
pub(super) fn head(page: &mut Page, name: &str, remarks: &[String]) {
    page.paragraph(0, &format!("{name}: rehearsed"));
    page.paragraph(2, WHAT_IT_IS);
    page.heading("What was not kept, or else than on the target");
    remarks.iter().for_each(|remark| page.hanging(2, 4, &format!("- {remark}")));
}

/// What was measured before, during and after the faults: how often, the middle, and the largest.
pub(super) fn spans(page: &mut Page, system: &System, spans: &[(Measure, Values)]) {
    page.heading("Before, during and after the faults: how often, the middle, the largest");
    let of_kind = |kind: &'static str| spans.iter().filter(move |(measure, _)| words(*measure) == kind);
    for kind in ["response", "jitter", "age"] {
        let mut rows = vec![[kind, "before", "during", "after"].map(str::to_owned).to_vec()];
        rows.extend(of_kind(kind).map(|(measure, values)| {
            let of = [&values.before, &values.during, &values.after].map(|values| cell(values));
            [vec![subject(*measure, system)], of.to_vec()].concat()
        }));
        if rows.len() > 1 {
            page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right], &rows);
        }
    }
    page.paragraph(2, "That no difference is seen is no evidence that there is none.");
}

fn cell(values: &[u64]) -> String {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    match (sorted.get(sorted.len() / 2), sorted.last()) {
        (Some(middle), Some(most)) => format!("{}: {}, {}", sorted.len(), rounded(*middle), rounded(*most)),
        _ => "none".to_owned(),
    }
}

/// A time, cut to whole microseconds: the clocks of processes do not agree on less.
fn rounded(ns: u64) -> Duration {
    Duration::from_ns(ns / 1_000 * 1_000)
}

fn words(measure: Measure) -> &'static str {
    match measure {
        Measure::Response(_) => "response",
        Measure::Jitter(_) => "jitter",
        Measure::Age(_) => "age",
    }
}

fn subject(measure: Measure, system: &System) -> String {
    match measure {
        Measure::Response(task) | Measure::Jitter(task) => system.task_label(task),
        Measure::Age(channel) => system.channel(channel).name.value.clone(),
    }
}
