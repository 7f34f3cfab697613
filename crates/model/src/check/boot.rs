//! Boot stages: each takes a time that is said, and none waits for itself.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::recovery::{BOOT_CYCLE, STAGE_WITHOUT_TIME};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::{Diagnostic, Span};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(boot) = doc.root.table("boot") else { return };
    let stages: Vec<_> = boot.tables("stage").collect();
    stages.iter().filter_map(|stage| without_time(stage)).for_each(|fault| cx.report(fault));
    report_cycles(doc, &stages, cx);
}

fn without_time(stage: &Fields) -> Option<Diagnostic> {
    for (key, other, add) in [("load", "rate", "the rate at which it loads"), ("rate", "load", "what it loads")] {
        if let Some(span) = stage.key_span(key).filter(|_| !stage.has(other)) {
            let message = format!("boot stage {} has a `{key}` and no `{other}`", name(stage));
            return Some(Diagnostic::new(&KEY_ALONE, span, message).help(format!("add {add}")));
        }
    }
    if stage.has("time") || stage.has("load") {
        return None;
    }
    let message = format!("boot stage {} has neither a `time` nor a `load` with a `rate`", name(stage));
    let help = "add what it takes; a stage that takes none is left out";
    Some(Diagnostic::new(&STAGE_WITHOUT_TIME, stage.span, message).help(help))
}

/// Takes away, again and again, what waits for nothing that is left; what then remains runs in circles.
fn report_cycles(doc: &Document, stages: &[&Fields], cx: &mut Context) {
    let waits = |stage: &&Fields| -> Vec<(usize, Span)> {
        let after = stage.texts("after");
        after.iter().filter_map(|name| Some((doc.names.stages.get(&name.value)?, name.span))).collect()
    };
    let waits: Vec<_> = stages.iter().map(waits).collect();
    let remains = remaining(&waits);
    let mut seen = vec![false; stages.len()];
    for start in (0..stages.len()).filter(|start| remains[*start]) {
        if let Some(way) = walk(start, &waits, &remains, &mut seen) {
            report_cycle(stages, &way, cx);
        }
    }
}

/// Whether each stage waits for itself, or for one that does.
fn remaining(waits: &[Vec<(usize, Span)>]) -> Vec<bool> {
    let mut open: Vec<usize> = waits.iter().map(Vec::len).collect();
    let mut waiting = vec![Vec::new(); waits.len()];
    for (stage, waits) in waits.iter().enumerate() {
        waits.iter().for_each(|(other, _)| waiting[*other].push(stage));
    }
    let mut ready: Vec<usize> = (0..waits.len()).filter(|stage| open[*stage] == 0).collect();
    let mut remains = vec![true; waits.len()];
    // Each stage becomes ready at most once, when the last one that it waits for is taken away.
    while let Some(stage) = ready.pop() {
        remains[stage] = false;
        for other in &waiting[stage] {
            open[*other] -= 1;
            if open[*other] == 0 {
                ready.push(*other);
            }
        }
    }
    remains
}

/// A circle found by going from a remaining stage to the first remaining one that it waits for, until one comes again;
/// `None` where the way meets one that was seen before. Each stage is gone through once in all.
fn walk(start: usize, waits: &[Vec<(usize, Span)>], remains: &[bool], seen: &mut [bool]) -> Option<Vec<(usize, Span)>> {
    let (mut way, mut at) = (Vec::new(), start);
    while !std::mem::replace(&mut seen[at], true) {
        // A stage remains only where one that it waits for does.
        let (next, span) = *waits[at].iter().find(|(next, _)| remains[*next])?;
        way.push((at, span));
        at = next;
    }
    let first = way.iter().position(|(stage, _)| *stage == at)?;
    Some(way.split_off(first))
}

fn report_cycle(stages: &[&Fields], way: &[(usize, Span)], cx: &mut Context) {
    const MOST_SHOWN: usize = 8;
    let [(first, span), rest @ ..] = way else { return };
    let mut names: Vec<_> = way.iter().take(MOST_SHOWN).map(|(stage, _)| name(stages[*stage])).collect();
    if way.len() > MOST_SHOWN {
        names.push(format!("{} more", way.len() - MOST_SHOWN));
    }
    names.push(name(stages[*first]));
    let message = format!("boot stages wait for each other in a circle: {}", names.join(" after "));
    let fault = Diagnostic::new(&BOOT_CYCLE, *span, message);
    let fault = rest.iter().take(3).fold(fault, |fault, (_, span)| fault.also(*span, "and for this"));
    cx.report(fault.help("none of them could ever begin: take one of these names out of `after`"));
}
