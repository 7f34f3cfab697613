//! Priorities: every task of a guest that schedules by them has one, better no two the same; a guest that schedules
//! by deadline has none.

use super::task_name;
use crate::read::{Context, Document, GuestKind, guest_of};
use diagnostic::codes::task::{EQUAL_PRIORITIES, PRIORITY_MISSING, PRIORITY_WITH_EDF};
use diagnostic::{Diagnostic, Located, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let guests: Vec<_> = doc.root.tables("partition").map(guest_of).collect();
    let mut equal: BTreeMap<(usize, u32), Vec<(usize, Span)>> = BTreeMap::new();
    for (index, task) in doc.tasks.iter().enumerate() {
        let Some(Some(guest)) = guests.get(task.partition) else { continue };
        let by_priority = matches!(guest.value, GuestKind::FixedPriority | GuestKind::Cooperative);
        match task.fields.small("priority") {
            Some(priority) if by_priority => {
                equal.entry((task.partition, priority.value)).or_default().push((index, priority.span));
            }
            Some(priority) if guest.value == GuestKind::Edf => report_with_edf(doc, index, priority.span, *guest, cx),
            None if by_priority && !task.fields.has("priority") => {
                report_missing(doc, index, task.fields.span, *guest, cx);
            }
            _ => {}
        }
    }
    for ((_, priority), tasks) in equal {
        report_equal(doc, priority, &tasks, cx);
    }
}

fn report_missing(doc: &Document, index: usize, span: Span, guest: Located<GuestKind>, cx: &mut Context) {
    let message = format!("task {} has no priority and its guest schedules by priority", task_name(doc, index));
    let fault = Diagnostic::new(&PRIORITY_MISSING, span, message).also(guest.span, "the guest");
    cx.report(fault.help("add `priority`, a whole number; larger is more urgent"));
}

fn report_with_edf(doc: &Document, index: usize, span: Span, guest: Located<GuestKind>, cx: &mut Context) {
    let message = format!("task {} has a priority and its guest schedules by deadline", task_name(doc, index));
    let fault = Diagnostic::new(&PRIORITY_WITH_EDF, span, message).also(guest.span, "the guest");
    cx.report(fault.help("the deadlines decide who runs: leave out `priority`, or say guest = \"fixed priority\""));
}

/// One warning for all tasks of a partition that share a priority.
fn report_equal(doc: &Document, priority: u32, tasks: &[(usize, Span)], cx: &mut Context) {
    let [(first, first_span), (second, span), rest @ ..] = tasks else { return };
    let more = if rest.is_empty() { String::new() } else { format!(" and {} more", rest.len()) };
    let (first, second) = (task_name(doc, *first), task_name(doc, *second));
    let message = format!("tasks {first} and {second}{more} have the same priority, {priority}");
    let fault = Diagnostic::new(&EQUAL_PRIORITIES, *span, message).also(*first_span, "first here");
    cx.report(fault.help("each counts as delaying the other, so bounds grow; give each a priority of its own"));
}
