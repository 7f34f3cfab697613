//! Accepted deviations: each claim once, with a reason and an owner that say something.

use crate::read::{Context, Document};
use diagnostic::codes::policy::{ACCEPTED_TWICE, SAYS_NOTHING};
use diagnostic::{Diagnostic, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let mut first: BTreeMap<String, Span> = BTreeMap::new();
    for accepted in doc.root.tables("accepted") {
        for (key, add) in [("claim", "the id of the claim"), ("reason", "why it is accepted"), ("owner", "who answers")]
        {
            let Some(text) = accepted.text(key).filter(|text| text.value.trim().is_empty()) else { continue };
            let fault = Diagnostic::new(&SAYS_NOTHING, text.span, format!("`{key}` of an accepted claim is empty"));
            cx.report(fault.help(format!("write {add}")));
        }
        let Some(claim) = accepted.text("claim").filter(|claim| !claim.value.trim().is_empty()) else { continue };
        let Some(before) = first.get(&claim.value) else {
            first.insert(claim.value, claim.span);
            continue;
        };
        let message = format!("the claim `{}` is accepted twice", claim.value);
        let fault = Diagnostic::new(&ACCEPTED_TWICE, claim.span, message).also(*before, "first here");
        cx.report(fault.help("keep one, with one owner and one day until which it is accepted"));
    }
}
