//! Where some tasks say by how much they lengthen others, all do that others are sensitive to.

use super::task_name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::task::STRESS_MISSING;
use std::collections::BTreeSet;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    if doc.tasks.iter().all(|task| !task.fields.has("stress")) {
        return;
    }
    let is_sensitive = |fields: &Fields| fields.time("sensitivity").is_some_and(|each| each.ns() > 0);
    let sensitive: BTreeSet<_> =
        doc.tasks.iter().filter(|task| is_sensitive(&task.fields)).map(|task| task.partition).collect();
    let matters = |partition: usize| sensitive.iter().any(|other| *other != partition);
    let tasks = doc.tasks.iter().enumerate();
    for (index, task) in tasks.filter(|(_, task)| !task.fields.has("stress") && matters(task.partition)) {
        let Some(name) = task.fields.text("name") else { continue };
        let message = format!("task {} declares no `stress`, and others do", task_name(doc, index));
        let help = "declare it; until then its core counts as at its worst against every `sensitivity` elsewhere";
        cx.report(Diagnostic::new(&STRESS_MISSING, name.span, message).help(help));
    }
}
