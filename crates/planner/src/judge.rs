//! The plan found, judged like one typed by hand.

use crate::answer::Report;
use claim::{Kind, Status, Verdict};
use model::System;
use model::system::Guest;
use plan::Plan;

/// Puts into the report what is not shown of windows, responses, margins, memory and page colours.
///
/// It stands in the plan's way unless the system accepts it or it was left to the user all along: the need of an opaque
/// guest, which the search itself has seen to, and memory that nobody has asked for.
pub(crate) fn judge(system: &System, plan: &Plan, report: &mut Report) {
    let verdicts = timing::claims::check(system, plan).into_iter().chain(separation::check(system, plan));
    for verdict in verdicts.filter(|verdict| is_due(verdict) && verdict.status != Status::Shown) {
        let reason = verdict.reason.as_deref().unwrap_or("no reason is given");
        let sentence = format!("{} is {}: {reason}", verdict.id, verdict.status.words());
        let accepted = system.accepted.iter().any(|accepted| accepted.claim.value == verdict.id);
        if accepted || is_left_to_the_user(system, &verdict) {
            report.note(sentence + ".");
        } else {
            report.open(sentence);
        }
    }
}

/// The claims that a plan is made to keep; the others are judged when the plan is checked.
fn is_due(verdict: &Verdict) -> bool {
    match verdict.kind {
        Kind::Window | Kind::Response | Kind::Memory => true,
        Kind::Margin => verdict.limit.is_some(),
        // Ways are given out as far as they go; what is coloured has been asked for.
        Kind::Cache => verdict.subject.ends_with("/colours"),
        _ => false,
    }
}

fn is_left_to_the_user(system: &System, verdict: &Verdict) -> bool {
    let partition = system.partition_named(&verdict.subject).map(|id| system.partition(id));
    let opaque = partition.is_some_and(|partition| matches!(partition.guest.value, Guest::Opaque(_)));
    let ram_unknown = system.partitions.iter().any(|partition| partition.ram.is_none());
    let of_ram = verdict.kind == Kind::Memory || verdict.subject.eq_ignore_ascii_case("ram");
    verdict.status == Status::NotAnalysed && (opaque || (of_ram && ram_unknown))
}
