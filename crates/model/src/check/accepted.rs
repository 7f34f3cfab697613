//! Accepted deviations: each claim once.

use crate::read::{Context, Document};
use diagnostic::codes::policy::ACCEPTED_TWICE;
use diagnostic::{Diagnostic, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let mut first: BTreeMap<String, Span> = BTreeMap::new();
    for claim in doc.root.tables("accepted").filter_map(|accepted| accepted.text("claim")) {
        let Some(before) = first.get(&claim.value) else {
            first.insert(claim.value, claim.span);
            continue;
        };
        let message = format!("the claim `{}` is accepted twice", claim.value);
        let fault = Diagnostic::new(&ACCEPTED_TWICE, claim.span, message).also(*before, "first here");
        cx.report(fault.help("keep one, with one owner and one day until which it is accepted"));
    }
}
