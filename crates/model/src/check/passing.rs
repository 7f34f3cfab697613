//! Channels that pass on the messages of others: their writers have these, they are large enough, and no message goes in a circle.

use super::name;
use crate::read::{Context, Document, Fields, ends_of, partition_of};
use diagnostic::codes::channel::CANNOT_PASS_ON;
use diagnostic::{Diagnostic, Located};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let channels: Vec<&Fields> = doc.channels().collect();
    let passed: Vec<Option<(Located<String>, usize)>> = channels.iter().map(|channel| passed(channel, doc)).collect();
    for (index, channel) in channels.iter().enumerate() {
        // A name that nothing has is reported where it is read.
        let Some((at, from)) = &passed[index] else { continue };
        let of = channels[*from];
        let faults = [
            is_not_read(channel, of, at, doc),
            is_larger(channel, of, at),
            goes_in_a_circle(index, &passed).then(|| circle(channel, at)),
        ];
        faults.into_iter().flatten().for_each(|fault| cx.report(fault));
    }
}

/// The channel that another one passes on, by its place in the file.
fn passed(channel: &Fields, doc: &Document) -> Option<(Located<String>, usize)> {
    let at = channel.text("passes_on")?;
    let from = doc.names.channels.get(&at.value)?;
    Some((at, from))
}

fn is_not_read(channel: &Fields, of: &Fields, at: &Located<String>, doc: &Document) -> Option<Diagnostic> {
    let writer = partition_of(ends_of(channel, doc).source?.value, doc)?;
    let ends = ends_of(of, doc);
    // Destinations that cannot be read have an error of their own.
    if ends.destinations.is_empty() || ends.destinations.iter().any(|end| partition_of(end.value, doc) == Some(writer))
    {
        return None;
    }
    let message = format!("channel {} is to pass on {}, and its writer does not read that", name(channel), name(of));
    let fault = Diagnostic::new(&CANNOT_PASS_ON, at.span, message);
    let to = of.value("to").map(|to| to.span);
    let fault = to.into_iter().fold(fault, |fault, to| fault.also(to, "who reads it"));
    Some(fault.help("name a channel that leads to the partition that writes this one"))
}

fn is_larger(channel: &Fields, of: &Fields, at: &Located<String>) -> Option<Diagnostic> {
    let (own, passed) = (channel.size("size")?, of.size("size")?);
    let message = || {
        format!(
            "channel {} holds {}, and is to pass on messages of {}, of {}",
            name(channel),
            own.value,
            name(of),
            passed.value
        )
    };
    let fault = || Diagnostic::new(&CANNOT_PASS_ON, at.span, message()).also(own.span, "what it holds");
    let help = "what is cut off is not passed on as it is: make the channel as large";
    (own.value < passed.value).then(|| fault().also(passed.span, "what it is to pass on").help(help))
}

/// Whether what a channel passes on is, by way of however many others, its own.
fn goes_in_a_circle(index: usize, passed: &[Option<(Located<String>, usize)>]) -> bool {
    let next = |at: &usize| passed[*at].as_ref().map(|(_, from)| *from);
    std::iter::successors(next(&index), next).take(passed.len()).any(|at| at == index)
}

fn circle(channel: &Fields, at: &Located<String>) -> Diagnostic {
    let message = format!("channel {} passes on its own messages, so none of them comes from anywhere", name(channel));
    Diagnostic::new(&CANNOT_PASS_ON, at.span, message).help("leave `passes_on` out where the messages are made")
}
