//! One channel: its ends apart, keys that fit its kind, batches that fit its queue, checks by those whom it reaches.

use super::name;
use crate::read::{Context, Document, Ends, Fields, PortKind, ends_of, partition_of, port_kind_of};
use crate::system::PortEnd;
use diagnostic::codes::channel::{
    BATCH_ABOVE_DEPTH, CHECKER_NOT_REACHED, DESTINATION_COVERED, KIND_KEYS, SOURCE_IS_DESTINATION,
};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::{Diagnostic, Located};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for channel in doc.channels() {
        let ends = ends_of(channel, doc);
        report_ends(doc, channel, &ends, cx);
        report_keys(channel, cx);
        let faults = [batch_above_depth(channel), burst_alone(channel)];
        faults.into_iter().flatten().for_each(|fault| cx.report(fault));
        report_checkers(channel, cx);
    }
}

/// Whether one end is the other, or a task of it.
fn covers(one: PortEnd, other: PortEnd, doc: &Document) -> bool {
    let whole = |end| matches!(end, PortEnd::Partition(_));
    one == other
        || ((whole(one) || whole(other))
            && partition_of(one, doc).is_some_and(|partition| partition_of(other, doc) == Some(partition)))
}

fn report_ends(doc: &Document, channel: &Fields, ends: &Ends, cx: &mut Context) {
    for destination in &ends.destinations {
        let Some(source) = ends.source.filter(|source| covers(source.value, destination.value, doc)) else { continue };
        let message = format!("the source of channel {} is also a destination", name(channel));
        let fault = Diagnostic::new(&SOURCE_IS_DESTINATION, destination.span, message).also(source.span, "the source");
        cx.report(fault.help("a task keeps its own data without a channel; was another task meant?"));
    }
    let whole = ends.destinations.iter().filter_map(|end| match end.value {
        PortEnd::Partition(partition) => Some((partition.index(), *end)),
        _ => None,
    });
    let whole: BTreeMap<usize, Located<PortEnd>> = whole.collect();
    for task in ends.destinations.iter().filter(|end| matches!(end.value, PortEnd::Task(_))) {
        let Some(partition) = partition_of(task.value, doc).and_then(|index| whole.get(&index)) else { continue };
        let message = format!("channel {} reaches a partition as a whole and a task of it besides", name(channel));
        let fault = Diagnostic::new(&DESTINATION_COVERED, task.span, message).also(partition.span, "the partition");
        cx.report(fault.help("name the tasks that read, or only the partition"));
    }
}

/// Which keys each kind takes.
fn report_keys(channel: &Fields, cx: &mut Context) {
    let Some(kind) = port_kind_of(channel) else { return };
    let (odd, word): (&[&str], _) = match kind.value {
        PortKind::Sampling => (&["depth", "min_interarrival", "batch", "burst", "read"], "sampling"),
        PortKind::Queuing => (&["refresh"], "queuing"),
    };
    for key in odd {
        let Some(span) = channel.key_span(key) else { continue };
        let place = channel.value(key).map_or(span, |value| value.span);
        let message = format!("channel {} is {word} and has a `{key}`", name(channel));
        let fault = Diagnostic::new(&KIND_KEYS, place, message).also(kind.span, "the kind");
        cx.report(fault.help(match kind.value {
            PortKind::Sampling => format!("one message that is overwritten has no `{key}`; leave it out"),
            PortKind::Queuing => "a message in a queue does not grow invalid; leave `refresh` out".into(),
        }));
    }
    if kind.value == PortKind::Queuing && !channel.has("depth") {
        let fault =
            Diagnostic::new(&KIND_KEYS, kind.span, format!("channel {} is queuing and has no `depth`", name(channel)));
        cx.report(fault.help("add the number of messages that its queue holds, such as depth = 8"));
    }
}

/// What may come at one instant must fit, whoever reads.
fn batch_above_depth(channel: &Fields) -> Option<Diagnostic> {
    let depth = channel.count("depth")?;
    let (batch, burst) = (channel.count("batch"), channel.count("burst"));
    let place = burst.or(batch)?.span;
    // A batch that is given and cannot be read has an error of its own, and is at least 1. Both are below 2^53.
    let at_once = batch.map_or(1, |batch| batch.value) + burst.map_or(0, |burst| burst.value);
    if at_once <= depth.value {
        return None;
    }
    let what = if burst.is_some() { "a batch with a burst" } else { "a batch" };
    let message =
        format!("channel {}: {what} of {at_once} messages does not fit into a queue of {}", name(channel), depth.value);
    let fault = Diagnostic::new(&BATCH_ABOVE_DEPTH, place, message).also(depth.span, "the depth");
    Some(fault.help("messages would be lost with every one: deepen the queue or send fewer at once"))
}

/// A burst is beyond a rate, so the rate must be said.
fn burst_alone(channel: &Fields) -> Option<Diagnostic> {
    let queuing = port_kind_of(channel).is_some_and(|kind| kind.value == PortKind::Queuing);
    let place = channel.key_span("burst").filter(|_| queuing && !channel.has("min_interarrival"))?;
    let message = format!("channel {} has a `burst` and no `min_interarrival`", name(channel));
    let help = "add the least time between two batches in the long run, such as min_interarrival = \"50 ms\"";
    Some(Diagnostic::new(&KEY_ALONE, place, message).help(help))
}

fn report_checkers(channel: &Fields, cx: &mut Context) {
    let reached: BTreeSet<_> = channel.texts("to").into_iter().map(|end| end.value).collect();
    for consumer in channel.tables("checks").filter_map(|check| check.text("consumer")) {
        // Destinations that are missing or cannot be read have an error of their own.
        if reached.is_empty() || reached.contains(&consumer.value) {
            continue;
        }
        let message = format!("`{}` checks channel {} and is none of its destinations", consumer.value, name(channel));
        let fault = Diagnostic::new(&CHECKER_NOT_REACHED, consumer.span, message);
        let to = channel.value("to").map(|to| to.span);
        let fault = to.into_iter().fold(fault, |fault, to| fault.also(to, "the destinations"));
        cx.report(fault.help("name a consumer as `to` does, or leave `consumer` out where all check"));
    }
}
