//! The masters of the interconnect: each core at most once, every active core at least once.

use super::cores::is_active;
use crate::read::{Context, Document, peak};
use diagnostic::Diagnostic;
use diagnostic::codes::board::{CORE_NO_MASTER, MASTER_TWICE, RATE_ABOVE_PEAK};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(board) = doc.root.table("board") else { return };
    let Some(interconnect) = board.table("interconnect") else { return };
    if let (Some(guaranteed), Some(peak)) = (interconnect.rate("guaranteed"), peak(interconnect))
        && guaranteed.value > peak.value
    {
        let message = format!("the guaranteed rate, {}, passes the peak rate, {}", guaranteed.value, peak.value);
        let fault = Diagnostic::new(&RATE_ABOVE_PEAK, guaranteed.span, message).also(peak.span, "the peak rate");
        cx.report(fault.help("the guaranteed rate is what remains of the peak in the worst case"));
    }
    let mut masters = BTreeMap::new();
    for core in interconnect.tables("master").filter_map(|master| master.text("core")) {
        match masters.get(&core.value) {
            None => drop(masters.insert(core.value, core.span)),
            Some(first) => {
                let fault = Diagnostic::new(&MASTER_TWICE, core.span, format!("core `{}` is two masters", core.value));
                cx.report(
                    fault.also(*first, "first here").help("a core counts once; each extra master raises every bound"),
                );
            }
        }
    }
    for core in board.tables("core").filter(|core| is_active(core)).filter_map(|core| core.text("name")) {
        if !masters.contains_key(&core.value) {
            let message = format!("core `{}` is active and no master of the interconnect", core.value);
            let fault = Diagnostic::new(&CORE_NO_MASTER, core.span, message);
            let help =
                "add a [[board.interconnect.master]] for it; a master left out voids every bound on interference";
            cx.report(fault.also(interconnect.span, "its masters").help(help));
        }
    }
}
