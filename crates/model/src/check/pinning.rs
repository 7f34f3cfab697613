//! The cores that partitions are pinned to: as many as virtual cores, in their core set, dedicated to one at most.

use super::cores::is_active;
use super::grants::set_of;
use super::name;
use crate::read::{Context, Document, Fields, Policy, policy_of};
use diagnostic::codes::partition::{CORE_OUTSIDE_SET, CORES_COUNT, DEDICATED_TWICE, VIRTUAL_CORES};
use diagnostic::{Diagnostic, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let mut dedicated = BTreeMap::new();
    for partition in doc.root.tables("partition") {
        too_many(doc, partition).into_iter().for_each(|fault| cx.report(fault));
        count(partition).into_iter().for_each(|fault| cx.report(fault));
        let Some(set) = set_of(doc, partition) else { continue };
        outside(partition, set).into_iter().for_each(|fault| cx.report(fault));
        if policy_of(set).is_some_and(|policy| policy.value == Policy::Dedicated) {
            twice(partition, set, &mut dedicated).into_iter().for_each(|fault| cx.report(fault));
        }
    }
}

fn virtual_cores(partition: &Fields) -> usize {
    partition.small("virtual_cores").map_or(1, |count| usize::try_from(count.value).unwrap_or(usize::MAX))
}

/// No two virtual cores of a partition can run on one core.
fn too_many(doc: &Document, partition: &Fields) -> Option<Diagnostic> {
    let wanted = partition.small("virtual_cores")?;
    let board = doc.root.table("board")?;
    let active = || board.tables("core").filter(|core| is_active(core)).count();
    let set = set_of(doc, partition);
    let (cores, span) = set.map_or_else(|| (active(), board.span), |set| (set.list("cores").len(), set.span));
    if virtual_cores(partition) <= cores || cores == 0 {
        return None;
    }
    let message =
        format!("partition {} has {} virtual cores and only {cores} to run on", name(partition), wanted.value);
    let fault = Diagnostic::new(&VIRTUAL_CORES, wanted.span, message).also(span, "its cores are declared here");
    Some(fault.help("each virtual core needs a core of its own"))
}

fn count(partition: &Fields) -> Option<Diagnostic> {
    let pinned = partition.list("cores").len();
    let wanted = virtual_cores(partition);
    let span = partition.value("cores")?.span;
    if pinned == wanted {
        return None;
    }
    let message = format!("partition {}: `cores` names {pinned} and `virtual_cores` is {wanted}", name(partition));
    let mut fault = Diagnostic::new(&CORES_COUNT, span, message);
    if let Some(count) = partition.small("virtual_cores") {
        fault = fault.also(count.span, "the virtual cores");
    }
    Some(fault.help("name one core for each virtual core, or leave out `cores` to let the planner choose"))
}

fn outside(partition: &Fields, set: &Fields) -> Option<Diagnostic> {
    let allowed = set.texts("cores");
    let cores = partition.texts("cores");
    let core = cores.iter().find(|core| allowed.iter().all(|other| other.value != core.value))?;
    let message =
        format!("partition {} is pinned to core `{}`, outside its core set {}", name(partition), core.value, name(set));
    let fault = Diagnostic::new(&CORE_OUTSIDE_SET, core.span, message);
    Some(fault.also(set.span, "the core set").help("pin it to a core of the set, or choose another set"))
}

/// The partitions of a dedicated set so far: who has which core, and how many virtual cores they have in all.
#[derive(Default)]
struct Taken {
    cores: BTreeMap<String, (Span, String)>,
    virtual_cores: usize,
}

fn twice(partition: &Fields, set: &Fields, dedicated: &mut BTreeMap<Span, Taken>) -> Option<Diagnostic> {
    let taken = dedicated.entry(set.span).or_default();
    taken.virtual_cores = taken.virtual_cores.saturating_add(virtual_cores(partition));
    for core in partition.texts("cores") {
        if let Some((first, other)) = taken.cores.get(&core.value) {
            let message = format!("the dedicated core `{}` is given to {} and to {other}", core.value, name(partition));
            let fault = Diagnostic::new(&DEDICATED_TWICE, core.span, message).also(*first, "first here");
            return Some(fault.help("a dedicated core has one partition; choose another core or another policy"));
        }
        taken.cores.insert(core.value, (core.span, name(partition)));
    }
    let cores = set.list("cores").len();
    if taken.virtual_cores <= cores {
        return None;
    }
    let message = format!(
        "with partition {} the dedicated set {} has {} virtual cores for {cores} cores",
        name(partition),
        name(set),
        taken.virtual_cores
    );
    let fault = Diagnostic::new(&DEDICATED_TWICE, partition.span, message).also(set.span, "the core set");
    Some(fault.help("a dedicated core has one partition; add cores to the set or choose another one"))
}
