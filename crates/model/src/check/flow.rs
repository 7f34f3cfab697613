//! The flow policy: each flow permitted once, between zones, out of the zone that it leaves; every partition in a zone.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::policy::{NO_ZONE, PERMITTED_TWICE, RULE_WITHIN_ZONE, VIA_ELSEWHERE};
use diagnostic::{Diagnostic, Located, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(flow) = doc.root.table("flow") else { return };
    let partitions: Vec<_> = doc.root.tables("partition").collect();
    for rule in flow.tables("allow") {
        within_zone(rule).into_iter().for_each(|fault| cx.report(fault));
        via_elsewhere(doc, &partitions, rule).into_iter().for_each(|fault| cx.report(fault));
    }
    report_rules_twice(flow, cx);
    report_twice(flow.tables("exception").filter_map(|fields| fields.text("channel")), "channel", cx);
    report_twice(flow.tables("filter").filter_map(|fields| fields.text("task")), "filter", cx);
    for partition in doc.root.tables("partition").filter(|partition| !partition.has("zone")) {
        let message = format!("partition {} has no zone and there is a flow policy", name(partition));
        let fault = Diagnostic::new(&NO_ZONE, partition.span, message).also(flow.span, "the policy");
        cx.report(fault.help("add `zone`: no rule permits a flow from or to a partition without one"));
    }
}

fn within_zone(rule: &Fields) -> Option<Diagnostic> {
    let (from, to) = (rule.text("from")?, rule.text("to")?);
    let message = format!("a flow is permitted within zone `{}`", from.value);
    let fault = || Diagnostic::new(&RULE_WITHIN_ZONE, to.span, message).also(from.span, "the same zone");
    (from.value == to.value).then(|| fault().help("within a zone everything is permitted: leave the rule out"))
}

fn via_elsewhere(doc: &Document, partitions: &[&Fields], rule: &Fields) -> Option<Diagnostic> {
    let (from, via) = (rule.text("from")?, rule.text("via")?);
    let of = doc.tasks.get(doc.names.tasks.get(&via.value)?)?.partition;
    let zone = partitions.get(of)?.text("zone")?;
    if zone.value == from.value || doc.names.zones.get(&from.value).is_none() {
        return None;
    }
    let message = format!("the flow leaves zone `{}` via `{}`, a task in zone `{}`", from.value, via.value, zone.value);
    let fault = Diagnostic::new(&VIA_ELSEWHERE, via.span, message);
    let fault = fault.also(from.span, "the zone that it leaves").also(zone.span, "the zone of the task");
    Some(fault.help("name a task of the zone that the flow leaves"))
}

/// Rules between the same zones that say nothing new: without a task, or by a task named before.
fn report_rules_twice(flow: &Fields, cx: &mut Context) {
    let rules = flow.tables("allow").filter_map(|rule| Some((rule, rule.text("from")?, rule.text("to")?)));
    let mut before: BTreeMap<_, BTreeMap<Option<String>, Span>> = BTreeMap::new();
    for (rule, from, to) in rules {
        let via = rule.text("via");
        if rule.has("via") && via.is_none() {
            continue;
        }
        let same = before.entry((from.value.clone(), to.value.clone())).or_default();
        let via = via.map(|via| via.value);
        let whole = if via.is_none() { same.values().next() } else { same.get(&None) };
        if let Some(first) = same.get(&via).or(whole) {
            let message = format!("the flow from zone `{}` to zone `{}` is permitted twice", from.value, to.value);
            let fault = Diagnostic::new(&PERMITTED_TWICE, to.span, message).also(*first, "permitted here too");
            cx.report(fault.help("keep the rule that is meant; one without `via` permits the flow by every task"));
        }
        same.entry(via).or_insert(to.span);
    }
}

fn report_twice(names: impl Iterator<Item = Located<String>>, what: &str, cx: &mut Context) {
    let mut first = BTreeMap::new();
    for name in names {
        let Some(before) = first.get(&name.value) else {
            first.insert(name.value, name.span);
            continue;
        };
        let message = format!("the {what} `{}` is named in the flow policy twice", name.value);
        let fault = Diagnostic::new(&PERMITTED_TWICE, name.span, message).also(*before, "first here");
        cx.report(fault.help("name it once, with all that there is to say"));
    }
}
