//! Which partitions must be apart and which together: not both, and not against the cores that they are pinned to.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::partition::{APART_AND_TOGETHER, PINNING_CONTRADICTS};
use diagnostic::{Diagnostic, Located, Span};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let partitions: Vec<_> = doc.root.tables("partition").collect();
    let apart = pairs(doc, &partitions, "apart_from", cx);
    let together = pairs(doc, &partitions, "together_with", cx);
    contradictions(doc, &partitions, &apart, &together, cx);
    for wish in &apart {
        if let Some((ours, theirs)) = common_core(&partitions, wish) {
            report_pinning(&partitions, wish, "apart", (ours, theirs), cx);
        }
    }
    for wish in &together {
        if let Some(places) = parted(&partitions, wish) {
            report_pinning(&partitions, wish, "together", places, cx);
        }
    }
}

/// A wish of one partition about another, by position, and where it stands.
struct Wish {
    of: usize,
    about: usize,
    span: Span,
}

fn pairs(doc: &Document, partitions: &[&Fields], key: &str, cx: &mut Context) -> Vec<Wish> {
    let mut wishes = Vec::new();
    for (of, partition) in partitions.iter().enumerate() {
        for other in partition.texts(key) {
            match doc.names.partitions.get(&other.value) {
                Some(about) if about == of => {
                    let message = format!("partition {} names itself in `{key}`", name(partition));
                    let fault = Diagnostic::new(&APART_AND_TOGETHER, other.span, message);
                    cx.report(fault.help("name other partitions only"));
                }
                Some(about) => wishes.push(Wish { of, about, span: other.span }),
                None => {}
            }
        }
    }
    wishes
}

/// Partitions that must be together, directly or through others, may not also have to be apart.
fn contradictions(doc: &Document, partitions: &[&Fields], apart: &[Wish], together: &[Wish], cx: &mut Context) {
    let mut group: Vec<usize> = (0..partitions.len()).collect();
    for wish in together {
        let (from, to) = (root(&group, wish.of), root(&group, wish.about));
        group[from.max(to)] = from.min(to);
    }
    for wish in apart.iter().filter(|wish| root(&group, wish.of) == root(&group, wish.about)) {
        let other = doc.names.partitions.name(wish.about).unwrap_or_default();
        let message =
            format!("partition {} must be apart from `{other}` and together with it", name(partitions[wish.of]));
        let mut fault = Diagnostic::new(&APART_AND_TOGETHER, wish.span, message);
        let same = |w: &&Wish| root(&group, w.of) == root(&group, wish.of);
        for cause in together.iter().filter(same).take(3) {
            fault = fault.also(cause.span, "together here");
        }
        cx.report(fault.help("drop one of these wishes"));
    }
}

/// The first of a partition's group. Each link leads to a smaller position, so this ends.
fn root(group: &[usize], mut at: usize) -> usize {
    while group[at] != at {
        at = group[at];
    }
    at
}

fn common_core(partitions: &[&Fields], wish: &Wish) -> Option<(Span, Span)> {
    let (ours, theirs) = (partitions[wish.of].texts("cores"), partitions[wish.about].texts("cores"));
    let find =
        |core: &Located<String>| theirs.iter().find(|other| other.value == core.value).map(|o| (core.span, o.span));
    ours.iter().find_map(find)
}

/// Where two partitions are pinned to different cores, or put into different core sets.
fn parted(partitions: &[&Fields], wish: &Wish) -> Option<(Span, Span)> {
    let (one, other) = (partitions[wish.of], partitions[wish.about]);
    if let (Some(ours), Some(theirs)) = (one.text("core_set"), other.text("core_set"))
        && ours.value != theirs.value
    {
        return Some((ours.span, theirs.span));
    }
    let (ours, theirs) = (one.value("cores")?.span, other.value("cores")?.span);
    common_core(partitions, wish).is_none().then_some((ours, theirs))
}

fn report_pinning(partitions: &[&Fields], wish: &Wish, how: &str, (ours, theirs): (Span, Span), cx: &mut Context) {
    let (one, other) = (name(partitions[wish.of]), name(partitions[wish.about]));
    let message = format!("partitions {one} and {other} must be {how}, and their cores say otherwise");
    let fault = Diagnostic::new(&PINNING_CONTRADICTS, wish.span, message);
    let fault = fault.also(ours, format!("where {one} runs")).also(theirs, format!("where {other} runs"));
    cx.report(fault.help("change the cores or drop the wish"));
}
