//! `[flow]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields};
use crate::system::{FlowException, FlowPolicy, FlowRule};
use diagnostic::Located;
use quantity::{ChannelId, TaskId, ZoneId};

pub(super) static SECTION: Section = Section {
    head: "[flow]",
    summary: "The direct flows between zones that are permitted; every other one is forbidden.",
    keys: &[
        Key::optional(
            "covert_limit",
            Kind::BitRate,
            "How fast a covert channel may carry, at the most, between partitions of which the policy permits no flow.",
        ),
        Key::optional("allow", Kind::Tables(&ALLOW), ALLOW.summary),
        Key::optional("exception", Kind::Tables(&EXCEPTION), EXCEPTION.summary),
        Key::optional("filter", Kind::Tables(&FILTER), FILTER.summary),
    ],
};

static ALLOW: Section = Section {
    head: "[[flow.allow]]",
    summary: "A permitted direct flow from one zone to another.",
    keys: &[
        Key::required("from", Kind::Ref("zone"), "The zone that it leaves."),
        Key::required("to", Kind::Ref("zone"), "The zone that it enters."),
        Key::optional("via", Kind::Ref("task"), "The only task by which it may leave."),
    ],
};

static EXCEPTION: Section = Section {
    head: "[[flow.exception]]",
    summary: "A channel that is permitted although no rule covers it.",
    keys: &[
        Key::required("channel", Kind::Ref("channel"), "The channel."),
        Key::optional("reason", Kind::Text, "Why it is permitted."),
    ],
};

static FILTER: Section = Section {
    head: "[[flow.filter]]",
    summary: "A task that lets nothing through but what it checks.",
    keys: &[
        Key::required("task", Kind::Ref("task"), "The task."),
        Key::required("what", Kind::Text, "What it checks."),
    ],
};

pub(super) fn read(doc: &Document, cx: &mut Context) -> Option<FlowPolicy> {
    let flow = doc.root.table("flow")?;
    Some(FlowPolicy {
        covert_limit: flow.bit_rate("covert_limit"),
        rules: flow.tables("allow").filter_map(|fields| rule(fields, doc, cx)).collect(),
        exceptions: flow.tables("exception").filter_map(|fields| exception(fields, doc, cx)).collect(),
        filters: flow.tables("filter").filter_map(|fields| filter(fields, doc, cx)).collect(),
    })
}

fn rule(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<FlowRule> {
    let zone = |key, cx: &mut Context| doc.names.zones.resolve(&fields.text(key)?, ZoneId::new, cx);
    let (from, to, via) = (zone("from", cx), zone("to", cx), task(fields, "via", doc, cx));
    Some(FlowRule { from: from?, to: to?, via })
}

fn exception(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<FlowException> {
    let channel = doc.names.channels.resolve(&fields.text("channel")?, ChannelId::new, cx)?;
    Some(FlowException { channel, reason: fields.words("reason") })
}

fn filter(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<(Located<TaskId>, String)> {
    let task = task(fields, "task", doc, cx)?;
    Some((task, fields.words("what")?))
}

fn task(fields: &Fields, key: &str, doc: &Document, cx: &mut Context) -> Option<Located<TaskId>> {
    doc.names.tasks.resolve(&fields.text(key)?, TaskId::new, cx)
}
