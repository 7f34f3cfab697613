//! Lists that must name somebody do.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::shape::EMPTY_LIST;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let channels = doc.channels().map(|channel| (channel, "to", "channel", "who reads"));
    let chains = doc.root.tables("chain").map(|chain| (chain, "path", "chain", "at least one task"));
    let named = channels.chain(chains);
    let faults = named.filter_map(|(fields, key, what, wanted)| {
        empty(fields, key, &format!("`{key}` of {what} {}", name(fields)), wanted)
    });
    let needs = doc.root.table("boot").into_iter().flat_map(|boot| boot.tables("need"));
    let needs = needs.filter_map(|need| empty(need, "partitions", "`partitions` of a boot need", "who must be ready"));
    faults.chain(needs).for_each(|fault| cx.report(fault));
}

fn empty(fields: &Fields, key: &str, what: &str, wanted: &str) -> Option<Diagnostic> {
    let value = fields.value(key).filter(|value| value.is_empty_list())?;
    Some(Diagnostic::new(&EMPTY_LIST, value.span, format!("{what} is empty")).help(format!("name {wanted}")))
}
