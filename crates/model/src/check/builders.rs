//! No partition is built by itself, directly or through others; who takes time to build is built by somebody.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::partition::{BUILD_TIME_ALONE, BUILDER_CYCLE};
use diagnostic::{Diagnostic, Span};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    doc.root.tables("partition").filter_map(build_time_alone).for_each(|fault| cx.report(fault));
    let builders: Vec<Option<(usize, Span)>> = doc
        .root
        .tables("partition")
        .map(|p| p.text("built_by").and_then(|by| Some((doc.names.partitions.get(&by.value)?, by.span))))
        .collect();
    for (index, partition) in doc.root.tables("partition").enumerate() {
        // Each cycle is told once, at its first partition.
        let Some(cycle) = cycle(&builders, index).filter(|cycle| cycle.iter().all(|(at, _)| *at >= index)) else {
            continue;
        };
        let mut spans = cycle.into_iter().map(|(_, span)| span);
        let Some(first) = spans.next() else { continue };
        let message = format!("partition {} is built by itself", name(partition));
        let fault = Diagnostic::new(&BUILDER_CYCLE, first, message);
        let fault = spans.take(3).fold(fault, |fault, span| fault.also(span, "through this"));
        cx.report(fault.help("one of them must be built by the boot loader: leave out its `built_by`"));
    }
}

fn build_time_alone(partition: &Fields) -> Option<Diagnostic> {
    let place = partition.value("build_time").filter(|_| !partition.has("built_by"))?.span;
    let message = format!("partition {} takes time to be built and has no `built_by`", name(partition));
    let help = "name the partition that builds it, in whose time it is built; the boot loader's time is a boot stage";
    Some(Diagnostic::new(&BUILD_TIME_ALONE, place, message).help(help))
}

/// The way from a partition through its builders back to it; `None` where it leads elsewhere.
fn cycle(builders: &[Option<(usize, Span)>], start: usize) -> Option<Vec<(usize, Span)>> {
    let (mut way, mut at) = (Vec::new(), start);
    // No way without repetition is longer than there are partitions.
    for _ in 0..builders.len() {
        let (next, span) = (*builders.get(at)?)?;
        way.push((at, span));
        if next == start {
            return Some(way);
        }
        at = next;
    }
    None
}
