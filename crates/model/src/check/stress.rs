//! Where some tasks say by how much they lengthen others, all do.

use super::task_name;
use crate::read::{Context, Document};
use diagnostic::Diagnostic;
use diagnostic::codes::task::STRESS_MISSING;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let declares = |key: &str| doc.tasks.iter().any(|task| task.fields.has(key));
    if !(declares("stress") && declares("sensitivity")) {
        return;
    }
    for (index, task) in doc.tasks.iter().enumerate().filter(|(_, task)| !task.fields.has("stress")) {
        let Some(name) = task.fields.text("name") else { continue };
        let message = format!("task {} declares no `stress`, and others do", task_name(doc, index));
        let help = "declare it; until then its core counts as at its worst against every `sensitivity` elsewhere";
        cx.report(Diagnostic::new(&STRESS_MISSING, name.span, message).help(help));
    }
}
