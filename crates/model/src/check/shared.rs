//! Shared resources: who goes first is known, and what is called closed says by what and where that can be read. Whatever moves
//! memory by itself competes on the path to it.

use super::name;
use crate::read::{Context, Document, Fields, shared_closure, shared_kind};
use crate::system::{Closure, SharedKind};
use diagnostic::Diagnostic;
use diagnostic::codes::board::{CLOSED_WITHOUT_REASON, DMA_NO_MASTER, NO_ARBITER};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(board) = doc.root.table("board") else { return };
    for shared in board.tables("shared") {
        without_arbiter(shared).into_iter().for_each(|fault| cx.report(fault));
        without_reason(shared).into_iter().for_each(|fault| cx.report(fault));
    }
    without_master(board).into_iter().for_each(|fault| cx.report(fault));
}

/// Nothing takes turns at power and heat.
fn without_arbiter(shared: &Fields) -> Option<Diagnostic> {
    if shared.has("arbiter") || shared_kind(shared)? == SharedKind::Power {
        return None;
    }
    let message = format!("nobody is said to decide who goes first at shared resource {}", name(shared));
    let help = "name in `arbiter` who decides where several ask at once; without one no wait there is bounded";
    Some(Diagnostic::new(&NO_ARBITER, shared.span, message).help(help))
}

fn without_reason(shared: &Fields) -> Option<Diagnostic> {
    if shared_closure(shared) == Closure::Open {
        return None;
    }
    let missing: Vec<_> = ["by", "source"].into_iter().filter(|key| !shared.has(key)).collect();
    let span = shared.key_span("status").unwrap_or(shared.span);
    let keys = missing.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(" and ");
    let message = format!("shared resource {} is called closed without {keys}", name(shared));
    let help =
        "say in `by` what keeps it from disturbing others and in `source` where that can be read, or leave it open";
    (!missing.is_empty()).then(|| Diagnostic::new(&CLOSED_WITHOUT_REASON, span, message).help(help))
}

/// One fault for all such devices: one more master mends them together.
fn without_master(board: &Fields) -> Option<Diagnostic> {
    let interconnect = board.table("interconnect")?;
    if interconnect.tables("master").any(|master| !master.has("core")) {
        return None;
    }
    let moves = |device: &&Fields| device.has("dma_stream") || device.has("dma_rate");
    let device = board.tables("device").find(moves)?;
    let message =
        format!("device {} moves memory by itself, and every master of the interconnect is a core", name(device));
    let fault = Diagnostic::new(&DMA_NO_MASTER, device.span, message).also(interconnect.span, "its masters");
    let help = "add a [[board.interconnect.master]] without `core` for the port by which devices reach memory; a master left \
                out makes every wait longer than its bound";
    Some(fault.help(help))
}
