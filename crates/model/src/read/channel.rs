//! `[[channel]]`, and the rows of a table of channels.

use super::fields::Datum;
use super::port_end::{Ends, ends_of};
use super::section::{COUNT, Key, Kind, Section, words};
use super::{Context, Document, Fields, assumed, protection};
use crate::system::{Channel, ChannelKind, FlowCheck, QueueRead};
use diagnostic::Located;
use quantity::ChannelId;

pub(super) static SECTION: Section = Section {
    head: "[[channel]]",
    summary: "A channel between partitions.",
    keys: &[
        Key::required("name", Kind::Name, "The channel's name."),
        Key::optional("title", Kind::Text, "What it carries."),
        Key::required("kind", Kind::Word(KIND_WORDS), "The kind of its ports."),
        Key::required("size", Kind::Size, "The largest message.").above_zero(),
        Key::required("from", END, "Who writes."),
        Key::required("to", Kind::List(&END), "Who reads. In a cell: names with `;` between them."),
        Key::optional("refresh", Kind::Time, "The longest age at which a sampled message is valid.").above_zero(),
        Key::optional("depth", COUNT, "The messages that a queue holds.").above_zero(),
        Key::optional("min_interarrival", Kind::Time, "The least time between two batches; else the source's period.")
            .above_zero(),
        Key::optional("batch", COUNT, "The messages sent at once; 1 where not given.").above_zero(),
        Key::optional(
            "burst",
            COUNT,
            "The messages that may come at any one time beyond one batch each `min_interarrival`.",
        ),
        Key::optional("read", READ, "The messages that one read of a queue takes; \"all\" where not given.")
            .above_zero(),
        Key::optional(
            "checks",
            CHECKS,
            "What consumers check, where the data come from a lower level; a text: all do.",
        ),
        Key::optional("forwarded", Kind::Flag, "Whether the forwarder of the network carries it."),
        protection::KEY,
        Key::optional(
            "passes_on",
            Kind::Ref("channel"),
            "The channel whose messages its writer passes on as they are; readers check what was attached there.",
        ),
    ],
};

static CHECK: Section = Section {
    head: "checks = [{ … }]",
    summary: "What one consumer of a channel checks.",
    keys: &[
        Key::optional("consumer", END, "The consumer, as in `to`; every one where not given."),
        Key::required("what", Kind::Text, "What it checks."),
    ],
};

const END: Kind = Kind::Ref("task, partition or device");
const READ: Kind = Kind::Either(&[COUNT, Kind::Word(&["all"])]);
const CHECKS: Kind = Kind::Either(&[Kind::Text, Kind::Tables(&CHECK)]);

/// The kinds of channel by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PortKind {
    Sampling,
    Queuing,
}

const KINDS: [(&str, PortKind); 2] = [("sampling", PortKind::Sampling), ("queuing", PortKind::Queuing)];
const KIND_WORDS: &[&str] = &words(&KINDS);

/// The kind of a channel.
pub(crate) fn port_kind_of(fields: &Fields) -> Option<Located<PortKind>> {
    fields.word("kind", &KINDS)
}

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Option<Channel>> {
    doc.channels().map(|fields| channel(fields, doc, cx)).collect()
}

fn channel(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Channel> {
    let Ends { source, destinations, .. } = ends_of(fields, doc);
    let written = fields.text("from").into_iter().chain(fields.texts("to"));
    written.for_each(|end| super::port_end::report(&end, doc, cx));
    let checks = checks(fields, doc, cx);
    let measures = protection::read(fields, doc, cx);
    let passed = fields.text("passes_on");
    let passes_on = passed.and_then(|name| doc.names.channels.resolve(&name, ChannelId::new, cx));
    let name = fields.text("name")?;
    Some(Channel {
        title: fields.words("title"),
        kind: kind(fields, &name)?,
        size: fields.size("size")?,
        source: source?,
        destinations,
        checks,
        forwarded: fields.flag("forwarded").is_some_and(|flag| flag.value),
        measures,
        passes_on,
        name,
    })
}

fn kind(fields: &Fields, name: &Located<String>) -> Option<ChannelKind> {
    Some(match port_kind_of(fields)?.value {
        PortKind::Sampling => ChannelKind::Sampling { refresh: fields.time("refresh") },
        PortKind::Queuing => ChannelKind::Queuing {
            depth: fields.count("depth")?,
            min_interarrival: fields.time("min_interarrival"),
            batch: fields.count("batch").unwrap_or(assumed(1, name.span)),
            burst: fields.count("burst"),
            read: fields.count("read").map_or(QueueRead::All, |most| QueueRead::AtMost(most.value)),
        },
    })
}

fn checks(fields: &Fields, doc: &Document, cx: &mut Context) -> Vec<FlowCheck> {
    let Some(value) = fields.value("checks") else { return Vec::new() };
    if let Datum::Text(what) = &value.value {
        return vec![FlowCheck { consumer: None, what: Located::new(what.clone(), value.span) }];
    }
    let checks = fields.tables("checks").filter_map(|check| {
        let consumer = check.text("consumer");
        consumer.iter().for_each(|end| super::port_end::report(end, doc, cx));
        let consumer = consumer.and_then(|end| super::port_end::find(&end, doc));
        Some(FlowCheck { consumer, what: check.text("what")? })
    });
    checks.collect()
}
