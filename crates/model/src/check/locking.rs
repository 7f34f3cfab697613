//! How resources are protected is said where tasks hold any.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::task::LOCKING_UNUSED;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for (index, partition) in doc.root.tables("partition").enumerate() {
        let mut tasks = doc.tasks.iter().filter(|task| task.partition == index);
        if tasks.all(|task| !task.fields.has("sections")) {
            unused(partition).into_iter().for_each(|fault| cx.report(fault));
        }
    }
}

fn unused(partition: &Fields) -> Option<Diagnostic> {
    let locking = partition.text("locking")?;
    let message =
        format!("partition {} locks by {}, and none of its tasks names a resource", name(partition), locking.value);
    let help = "add `sections` to the tasks that hold a resource, or leave out `locking`";
    Some(Diagnostic::new(&LOCKING_UNUSED, locking.span, message).help(help))
}
