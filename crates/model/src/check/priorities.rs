//! Priorities: every task of a guest that schedules by them has one, better no two the same; a guest that schedules
//! by deadline has none.

use super::task_name;
use crate::read::{Context, Document, GuestKind, guest_of};
use diagnostic::codes::task::{EQUAL_PRIORITIES, PRIORITY_MISSING, PRIORITY_WITH_EDF};
use diagnostic::{Diagnostic, Located, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let guests: Vec<_> = doc.root.tables("partition").map(guest_of).collect();
    let mut equal: BTreeMap<(usize, u32), Vec<Task>> = BTreeMap::new();
    for (index, task) in doc.tasks.iter().enumerate() {
        let Some(Some(guest)) = guests.get(task.partition) else { continue };
        let by_priority = matches!(guest.value, GuestKind::FixedPriority | GuestKind::Cooperative);
        match task.fields.small("priority") {
            Some(priority) if by_priority => {
                let virtual_core = task.fields.small("virtual_core").map(|core| core.value);
                let task = Task { index, virtual_core, span: priority.span };
                equal.entry((doc.tasks[index].partition, priority.value)).or_default().push(task);
            }
            Some(priority) if guest.value == GuestKind::Edf => report_with_edf(doc, index, priority.span, *guest, cx),
            None if by_priority && !task.fields.has("priority") => {
                report_missing(doc, index, task.fields.span, *guest, cx);
            }
            _ => {}
        }
    }
    for ((_, priority), tasks) in equal {
        for sharing in sharing(tasks) {
            report_equal(doc, priority, &sharing, cx);
        }
    }
}

/// A task with a priority.
struct Task {
    index: usize,
    /// The virtual core that it is pinned to.
    virtual_core: Option<u32>,
    /// Where its priority stands.
    span: Span,
}

/// The tasks that may meet on one virtual core: each pinned one with those of its core, and one that is free with all.
fn sharing(tasks: Vec<Task>) -> Vec<Vec<Task>> {
    if tasks.iter().any(|task| task.virtual_core.is_none()) {
        return vec![tasks];
    }
    let mut groups: BTreeMap<Option<u32>, Vec<Task>> = BTreeMap::new();
    for task in tasks {
        groups.entry(task.virtual_core).or_default().push(task);
    }
    groups.into_values().collect()
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
fn report_equal(doc: &Document, priority: u32, tasks: &[Task], cx: &mut Context) {
    let [first, second, rest @ ..] = tasks else { return };
    let more = if rest.is_empty() { String::new() } else { format!(" and {} more", rest.len()) };
    let (one, other) = (task_name(doc, first.index), task_name(doc, second.index));
    let message = format!("tasks {one} and {other}{more} have the same priority, {priority}");
    let fault = Diagnostic::new(&EQUAL_PRIORITIES, second.span, message).also(first.span, "first here");
    cx.report(fault.help("each counts as delaying the other, so bounds grow; give each a priority of its own"));
}
