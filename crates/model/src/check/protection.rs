//! Measures against faults of exchange say something, and what is declared for many is named by some.

use crate::read::{Context, Document, Fields, answer_to};
use crate::system::{ExchangeFault, FaultAnswer};
use diagnostic::codes::channel::{MEASURE_SAYS_NOTHING, NAMED_BY_NOBODY};
use diagnostic::{Diagnostic, Located};
use std::collections::BTreeSet;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let owners = doc.root.tables("protection").chain(doc.root.tables("region")).chain(doc.channels());
    let tables = owners.filter_map(|owner| owner.table("measures"));
    tables.flat_map(silent).for_each(|fault| cx.report(fault));
    unnamed(doc).into_iter().for_each(|fault| cx.report(fault));
}

/// Protections that no channel and no region names.
fn unnamed(doc: &Document) -> Vec<Diagnostic> {
    let users = doc.root.tables("region").chain(doc.channels());
    let named: BTreeSet<String> = users.filter_map(|user| user.text("measures")).map(|name| name.value).collect();
    let unnamed = doc.root.tables("protection").filter_map(|protection| protection.text("name"));
    let fault = |name: Located<String>| {
        let message = format!("no channel and no region names the protection `{}`", name.value);
        let help = format!("write `measures = \"{}\"` where it stands against faults, or leave it out", name.value);
        Diagnostic::new(&NAMED_BY_NOBODY, name.span, message).help(help)
    };
    unnamed.filter(|name| !named.contains(&name.value)).map(fault).collect()
}

/// The answers of a table that are blank.
fn silent(measures: &Fields) -> Vec<Diagnostic> {
    let fault = |kind: ExchangeFault| {
        let answer = answer_to(measures, kind).filter(|answer| is_blank(&answer.value))?;
        let message = format!("what stands against {} says nothing", kind.word());
        let help = "name the measure, or leave the key out: what has none is then told";
        Some(Diagnostic::new(&MEASURE_SAYS_NOTHING, answer.span, message).help(help))
    };
    ExchangeFault::ALL.into_iter().filter_map(fault).collect()
}

fn is_blank(answer: &FaultAnswer) -> bool {
    match answer {
        FaultAnswer::Measures(all) => all.is_empty() || all.iter().any(|measure| measure.trim().is_empty()),
        FaultAnswer::CannotOccur(reason) => reason.trim().is_empty(),
    }
}
