//! Core sets: every active core in exactly one, keys that fit the policy, no drift where frames begin together.

use super::cores::is_active;
use super::name;
use crate::read::{Context, Document, Fields, Policy, policy_of};
use diagnostic::Diagnostic;
use diagnostic::Span;
use diagnostic::codes::partition::{CORE_IN_NO_SET, CORE_IN_TWO_SETS, DRIFTS_AND_IS_SYNCHRONISED, POLICY_KEYS};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    if !doc.root.has("core_set") {
        return;
    }
    for set in doc.root.tables("core_set") {
        check_keys(set, cx);
        drifts(doc, set).into_iter().for_each(|fault| cx.report(fault));
    }
    let mut taken: BTreeMap<String, (Span, String)> = BTreeMap::new();
    for set in doc.root.tables("core_set") {
        for core in set.texts("cores") {
            match taken.get(&core.value) {
                Some((first, other)) if *other != name(set) => {
                    let message = format!("core `{}` is in core set {} and in {other}", core.value, name(set));
                    let fault = Diagnostic::new(&CORE_IN_TWO_SETS, core.span, message).also(*first, "first here");
                    cx.report(fault.help("a core is scheduled by one policy; take it out of one of them"));
                }
                _ => drop(taken.insert(core.value, (core.span, name(set)))),
            }
        }
    }
    let cores = doc.root.table("board").into_iter().flat_map(|board| board.tables("core"));
    for core in cores.filter(|core| is_active(core)).filter_map(|core| core.text("name")) {
        if !taken.contains_key(&core.value) {
            let fault = Diagnostic::new(&CORE_IN_NO_SET, core.span, format!("core `{}` is in no core set", core.value));
            cx.report(fault.help("add it to a [[core_set]], or say `active = false` where it is not in use"));
        }
    }
}

/// Which keys each policy takes beside name, cores and policy.
fn check_keys(set: &Fields, cx: &mut Context) {
    let Some(policy) = policy_of(set) else { return };
    let takes: &[&str] = match policy.value {
        Policy::WindowTable => &["synchronised", "drift_ppm"],
        Policy::ProportionalShare => &["quantum"],
        Policy::BudgetServer | Policy::Dedicated => &[],
    };
    for key in ["synchronised", "drift_ppm", "quantum"] {
        let Some(span) = set.key_span(key).filter(|_| !takes.contains(&key)) else { continue };
        let message = format!("core set {} has a `{key}`, which means nothing under its policy", name(set));
        let fault = Diagnostic::new(&POLICY_KEYS, span, message).also(policy.span, "the policy");
        cx.report(fault.help(format!("leave out `{key}` or choose another policy")));
    }
    if policy.value == Policy::ProportionalShare && !set.has("quantum") {
        let message = format!("core set {} shares its cores in proportion and has no `quantum`", name(set));
        let fault = Diagnostic::new(&POLICY_KEYS, policy.span, message);
        cx.report(fault.help("add the turn that a partition gets, such as quantum = \"1 ms\""));
    }
}

/// Frames that begin together stay together; a clock that drifts takes them apart.
fn drifts(doc: &Document, set: &Fields) -> Option<Diagnostic> {
    policy_of(set).filter(|policy| policy.value == Policy::WindowTable)?;
    let drift = set.count("drift_ppm").filter(|drift| drift.value > 0)?;
    let of_platform = || doc.root.table("platform")?.flag("synchronised");
    let said = if set.has("synchronised") { set.flag("synchronised") } else { of_platform() };
    let said = said.filter(|said| said.value)?;
    let message = format!("core set {} drifts by {} ppm and is said to be synchronised", name(set), drift.value);
    let fault = Diagnostic::new(&DRIFTS_AND_IS_SYNCHRONISED, drift.span, message).also(said.span, "synchronised here");
    Some(fault.help("say `synchronised = false` in the core set, or leave out `drift_ppm` where one clock drives all"))
}
