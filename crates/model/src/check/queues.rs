//! A queue of which each read takes only so many messages is not filled faster than that.

use super::name;
use crate::read::{Context, Document, Fields, ends_of};
use crate::system::PortEnd;
use diagnostic::codes::channel::READ_TOO_SLOWLY;
use diagnostic::{Diagnostic, Located, Span};
use quantity::{Duration, TaskId};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for channel in doc.channels() {
        let Some(filled) = filling(doc, channel) else { continue };
        let Some(most) = channel.count("read") else { continue };
        let readers = ends_of(channel, doc).destinations;
        let readers = readers.iter().filter_map(|end| Some((end, reader_period(doc, end)?)));
        let faults = readers.filter_map(|(end, period)| too_slow(channel, &filled, most, end.span, period));
        faults.for_each(|fault| cx.report(fault));
    }
}

/// So many messages in every such time, and where the time is said.
struct Filling {
    messages: u64,
    every: Located<Duration>,
}

fn filling(doc: &Document, channel: &Fields) -> Option<Filling> {
    let every = if channel.has("min_interarrival") {
        channel.time("min_interarrival")?
    } else {
        task_period(doc, ends_of(channel, doc).source?.value)?
    };
    let messages = if channel.has("batch") { channel.count("batch")?.value } else { 1 };
    Some(Filling { messages, every })
}

fn reader_period(doc: &Document, end: &Located<PortEnd>) -> Option<Located<Duration>> {
    task_period(doc, end.value)
}

fn task_period(doc: &Document, end: PortEnd) -> Option<Located<Duration>> {
    let PortEnd::Task(task) = end else { return None };
    doc.tasks.get(TaskId::index(task))?.fields.time("period")
}

fn too_slow(
    channel: &Fields,
    filled: &Filling,
    most: Located<u64>,
    reader: Span,
    period: Located<Duration>,
) -> Option<Diagnostic> {
    // Each factor is below 2^53, so the products stay within 128 bits.
    let comes = u128::from(filled.messages) * u128::from(period.ns());
    let taken = u128::from(most.value) * u128::from(filled.every.ns());
    if comes <= taken {
        return None;
    }
    let message = format!(
        "channel {}: {} come in every {}, and at most {} taken out every {}",
        name(channel),
        messages(filled.messages),
        filled.every.value,
        if most.value == 1 { "1 message is".to_owned() } else { format!("{} messages are", most.value) },
        period.value
    );
    let fault = Diagnostic::new(&READ_TOO_SLOWLY, most.span, message)
        .also(filled.every.span, "the time between two writes")
        .also(period.span, "the time between two reads")
        .also(reader, "the reader");
    let enough = comes.div_ceil(u128::from(filled.every.ns()));
    Some(fault.help(format!("the queue grows without end: read at least {enough} at once, or \"all\"")))
}

fn messages(count: u64) -> String {
    if count == 1 { "1 message can".into() } else { format!("{count} messages can") }
}
