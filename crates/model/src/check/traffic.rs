//! The declared peak rate of a task against the mean rate that follows from its requests.

use super::task_name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::task::PEAK_BELOW_MEAN;
use diagnostic::{Diagnostic, Located};
use quantity::Bytes;

const NS_PER_S: u128 = 1_000_000_000;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let interconnect = doc.root.table("board").and_then(|board| board.table("interconnect"));
    let Some(line) = interconnect.and_then(|interconnect| interconnect.size("line")) else { return };
    for (index, task) in doc.tasks.iter().enumerate() {
        fault(&task.fields, line, || task_name(doc, index)).into_iter().for_each(|fault| cx.report(fault));
    }
}

fn fault(task: &Fields, line: Located<Bytes>, who: impl Fn() -> String) -> Option<Diagnostic> {
    let (peak, requests, wcet) = (task.rate("peak_rate")?, task.count("line_requests")?, task.time("wcet")?);
    // Each factor is below 2^53, so the products stay within 128 bits.
    let moved = u128::from(requests.value) * u128::from(line.get());
    let possible = u128::from(peak.bytes_per_s()) * u128::from(wcet.ns()) / NS_PER_S;
    if moved <= possible {
        return None;
    }
    let message = format!(
        "task {}: {} requests of {} in {} are more than {} can move",
        who(),
        requests.value,
        line.value,
        wcet.value,
        peak.value
    );
    let fault = Diagnostic::new(&PEAK_BELOW_MEAN, peak.span, message);
    let fault = fault.also(requests.span, "the requests of one job").also(wcet.span, "its longest execution time");
    Some(fault.help("raise `peak_rate`, or write \"even\" where the requests are spread evenly"))
}
