//! Restarts: an outage ends with a task of the partition itself, a warm start is shorter than a cold one.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::partition::{ENDS_ELSEWHERE, WARM_ABOVE_COLD};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for (index, partition) in doc.root.tables("partition").enumerate() {
        let Some(restart) = partition.table("restart") else { continue };
        elsewhere(doc, index, partition, restart).into_iter().for_each(|fault| cx.report(fault));
        warm_above_cold(partition, restart).into_iter().for_each(|fault| cx.report(fault));
    }
}

fn elsewhere(doc: &Document, index: usize, partition: &Fields, restart: &Fields) -> Option<Diagnostic> {
    let task = restart.text("ends_with")?;
    let of = doc.tasks.get(doc.names.tasks.get(&task.value)?)?.partition;
    if of == index {
        return None;
    }
    let message =
        format!("the outage of partition {} ends with `{}`, a task of another partition", name(partition), task.value);
    let help = "name the task of this partition whose first output shows that it is back";
    Some(Diagnostic::new(&ENDS_ELSEWHERE, task.span, message).help(help))
}

fn warm_above_cold(partition: &Fields, restart: &Fields) -> Option<Diagnostic> {
    let (warm, cold) = (restart.time("warm_init")?, restart.time("cold_init")?);
    if warm.value <= cold.value {
        return None;
    }
    let message =
        format!("partition {}: a warm start takes {} and a cold one {}", name(partition), warm.value, cold.value);
    let fault = Diagnostic::new(&WARM_ABOVE_COLD, warm.span, message).also(cold.span, "the cold start");
    Some(fault.help("a warm start keeps some state and so does less; have the two been exchanged?"))
}
