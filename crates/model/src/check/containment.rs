//! Containment sets: one a partition, and a share of at most all.

use crate::read::{Context, Document};
use diagnostic::codes::policy::{CONTAINED_TWICE, MORE_THAN_ALL_FAULTS};
use diagnostic::{Diagnostic, Span};
use quantity::Ppm;
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let mut first: BTreeMap<String, Span> = BTreeMap::new();
    for set in doc.root.tables("containment") {
        if let Some(share) = set.share("at_most").filter(|share| share.value > Ppm::ONE) {
            let message = format!("{} of all faults may reach others, more than there are", share.value);
            cx.report(
                Diagnostic::new(&MORE_THAN_ALL_FAULTS, share.span, message).help("write a share such as \"1 %\""),
            );
        }
        let Some(partition) = set.text("partition") else { continue };
        let Some(before) = first.get(&partition.value) else {
            first.insert(partition.value, partition.span);
            continue;
        };
        let message = format!("the faults of `{}` are contained by two sets", partition.value);
        let fault = Diagnostic::new(&CONTAINED_TWICE, partition.span, message).also(*before, "first here");
        cx.report(fault.help("keep one section, with everybody who may feel them"));
    }
}
