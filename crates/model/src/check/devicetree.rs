//! What is said of a devicetree needs one, and reserved memory is for one owner.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::shape::{KEY_ALONE, KEYS_CLASH};
use diagnostic::{Diagnostic, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let has_tree = doc.root.table("board").is_some_and(|board| board.has("devicetree"));
    let mut first: BTreeMap<usize, Span> = BTreeMap::new();
    for fields in doc.root.tables("partition").chain(doc.root.tables("region")) {
        let Some(node) = fields.text("reserved_as") else { continue };
        if !has_tree {
            cx.report(without_tree(fields, node.span));
        }
        let Some(index) = doc.reserved(&node.value) else { continue };
        if let Some(before) = first.insert(index, node.span) {
            let message = format!("`{}` of the devicetree is said to reserve two things", node.value);
            let fault = Diagnostic::new(&KEYS_CLASH, node.span, message).also(before, "the other one");
            cx.report(fault.help("reserve a range of its own for each"));
        }
    }
}

fn without_tree(fields: &Fields, place: Span) -> Diagnostic {
    let message = format!("{} is said to be reserved in a devicetree, and the board names none", name(fields));
    Diagnostic::new(&KEY_ALONE, place, message)
        .help("add `[board.devicetree]` with its `source`, or drop `reserved_as`")
}
