//! A partition asks for time in one way, and in the way that its core set gives it.

use super::name;
use crate::read::{Context, Document, Fields, Policy, policy_of};
use diagnostic::codes::partition::GRANT_AND_POLICY;
use diagnostic::codes::shape::{KEY_ALONE, KEYS_CLASH};
use diagnostic::{Diagnostic, Span};

/// The keys by which a partition asks for time, each with the policy that gives it so.
const WAYS: [(&str, Policy); 3] =
    [("period", Policy::WindowTable), ("server", Policy::BudgetServer), ("share", Policy::ProportionalShare)];

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for partition in doc.root.tables("partition") {
        if let Some(budget) = partition.key_span("budget").filter(|_| !partition.has("period")) {
            let message = format!("partition {} has a `budget` and no `period`", name(partition));
            let fault = Diagnostic::new(&KEY_ALONE, budget, message);
            cx.report(fault.help("add the period in which the budget is given, such as period = \"20 ms\""));
        }
        let ways = WAYS.iter().filter_map(|(key, policy)| Some((*key, *policy, partition.key_span(key)?)));
        let ways: Vec<(&str, Policy, Span)> = ways.collect();
        match ways[..] {
            [] => {}
            [(key, policy, span)] => check_policy(doc, partition, (key, policy, span), cx),
            [(first, _, first_span), (second, _, span), ..] => {
                let message =
                    format!("partition {} asks for time both by `{first}` and by `{second}`", name(partition));
                let fault = Diagnostic::new(&KEYS_CLASH, span, message).also(first_span, "and here");
                cx.report(fault.help("keep the one that its core set gives"));
            }
        }
    }
}

fn check_policy(doc: &Document, partition: &Fields, (key, policy, span): (&str, Policy, Span), cx: &mut Context) {
    let Some((given, place)) = policy_for(doc, partition).filter(|(given, _)| *given != policy) else { return };
    let message = format!("partition {} asks for time by `{key}`, which its core set does not give", name(partition));
    let fault = Diagnostic::new(&GRANT_AND_POLICY, span, message);
    let fault = place.into_iter().fold(fault, |fault, place| fault.also(place, "the policy of its core set"));
    let way = WAYS.iter().find(|(_, policy)| *policy == given);
    cx.report(fault.help(match (way, place) {
        (Some((key, _)), Some(_)) => format!("ask by `{key}` instead, or choose another core set"),
        (Some((key, _)), None) => {
            format!("ask by `{key}`, or declare a [[core_set]]: without one there are window tables")
        }
        (None, _) => format!("leave out `{key}`: the core is the partition's alone"),
    }));
}

/// The policy of the core set that a partition names, or of the only one, and where it is declared; window tables
/// where no set is declared.
fn policy_for(doc: &Document, partition: &Fields) -> Option<(Policy, Option<Span>)> {
    if !doc.root.has("core_set") {
        return Some((Policy::WindowTable, None));
    }
    let policy = policy_of(set_of(doc, partition)?)?;
    Some((policy.value, Some(policy.span)))
}

/// The core set that a partition names, or the only declared one.
pub(super) fn set_of<'a>(doc: &'a Document, partition: &Fields) -> Option<&'a Fields> {
    let index = match partition.text("core_set") {
        Some(name) => doc.names.core_sets.get(&name.value)?,
        None if doc.names.core_sets.len() == 1 => 0,
        None => return None,
    };
    doc.root.tables("core_set").nth(index)
}
