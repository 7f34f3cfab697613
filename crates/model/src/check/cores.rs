//! Cores that are not active have nothing to do, and at least one is active.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::board::{CORE_NOT_ACTIVE, NO_ACTIVE_CORE};
use diagnostic::{Diagnostic, Located, Span};
use std::collections::BTreeMap;

/// Whether a core is in use at all.
pub(super) fn is_active(core: &Fields) -> bool {
    core.flag("active").is_none_or(|active| active.value)
}

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(board) = doc.root.table("board") else { return };
    let cores = board.tables("core");
    let idle =
        cores.filter(|core| !is_active(core)).filter_map(|core| Some((core.text("name")?.value, core.flag("active")?)));
    let idle: BTreeMap<String, Span> = idle.map(|(name, flag)| (name, flag.span)).collect();
    let all = board.tables("core").count();
    if all > 0 && board.tables("core").all(|core| !is_active(core)) {
        let fault = Diagnostic::new(&NO_ACTIVE_CORE, board.span, "no core of this board is active");
        cx.report(fault.help("leave out `active = false` at the cores that are in use"));
        return;
    }
    for (core, user) in users(doc, board) {
        if let Some(flag) = idle.get(&core.value) {
            let message = format!("core `{}` is not active and {user} uses it", core.value);
            let fault = Diagnostic::new(&CORE_NOT_ACTIVE, core.span, message).also(*flag, "not active");
            cx.report(fault.help("choose an active core, or make this one active"));
        }
    }
}

/// Everything that names a core to have it do something.
fn users(doc: &Document, board: &Fields) -> Vec<(Located<String>, String)> {
    let mut users = Vec::new();
    for (key, what) in [("core_set", "core set"), ("partition", "partition")] {
        for user in doc.root.tables(key) {
            users.extend(user.texts("cores").into_iter().map(|core| (core, format!("{what} {}", name(user)))));
        }
    }
    for device in board.tables("device") {
        let cores = device.tables("interrupt").filter_map(|interrupt| interrupt.text("core"));
        users.extend(cores.map(|core| (core, format!("an interrupt of device {}", name(device)))));
    }
    users
}
