//! Ports: how old sampled messages become, and how many messages queues must hold.

use super::claims::{bases, row_of};
use super::names::{head, note, port_end, table_of};
use crate::dossier::Dossier;
use crate::show::{amount_or, limit, percent, used_permille};
use crate::svg::bar;
use claim::{Kind, Unit, Verdict};
use maud::{Markup, html};
use model::System;
use model::system::{Channel, ChannelKind};
use quantity::Bytes;

const SAMPLING: [&str; 6] = ["Channel", "#Gap", "#Refresh period", "#Of the period", "", "Status"];
const QUEUES: [&str; 7] = ["Channel", "#Needed", "#Configured", "#Bytes", "#Of the depth", "", "Status"];

pub(super) fn part(dossier: &Dossier) -> Markup {
    let (sampling, queues) = (claims(dossier, Kind::Refresh), claims(dossier, Kind::QueueDepth));
    let unclaimed = unclaimed(dossier, &[&sampling[..], &queues].concat());
    if sampling.is_empty() && queues.is_empty() && unclaimed.is_empty() {
        return note("No channel is declared.");
    }
    html! {
        @if !sampling.is_empty() {
            h3 { "Sampling channels" }
            (table_of("wide", "", &SAMPLING, html! { @for verdict in &sampling { (sampling_row(dossier, verdict)) } }))
            (note("The gap is the longest time between two writes that readers may see, held against the refresh period."))
            (bases(&sampling))
        }
        @if !queues.is_empty() {
            h3 { "Queues" }
            (table_of("wide", "", &QUEUES, html! { @for verdict in &queues { (queue_row(dossier, verdict)) } }))
            (note("Bytes are those of the configured depth, message by message of the largest size."))
            (bases(&queues))
        }
        @if let Some(system) = dossier.system().filter(|_| !unclaimed.is_empty()) { (others(system, &unclaimed)) }
    }
}

fn claims(dossier: &Dossier, kind: Kind) -> Vec<&Verdict> {
    dossier.of_kind(kind).collect()
}

/// Whether a claim's subject is the channel, or one of its readers.
fn is_about(verdict: &Verdict, channel: &Channel) -> bool {
    let rest = verdict.subject.strip_prefix(channel.name.value.as_str());
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

fn channel_of<'d>(dossier: &'d Dossier, verdict: &Verdict) -> Option<(&'d System, &'d Channel)> {
    let system = dossier.system()?;
    let about = system.channels.iter().filter(|channel| is_about(verdict, channel));
    Some((system, about.max_by_key(|channel| channel.name.value.len())?))
}

/// The channels about which there is no claim.
fn unclaimed<'d>(dossier: &'d Dossier, verdicts: &[&Verdict]) -> Vec<&'d Channel> {
    let channels = dossier.system().map(|system| system.channels.as_slice()).unwrap_or_default();
    channels.iter().filter(|channel| !verdicts.iter().any(|verdict| is_about(verdict, channel))).collect()
}

fn about(channel: Option<(&System, &Channel)>) -> Markup {
    html! {
        @if let Some((system, channel)) = channel {
            span class="why" {
                @if let Some(title) = &channel.title { strong { (title) } ": " }
                (ends(system, channel))
                @if channel.forwarded { ", over the internal network" }
            }
        }
    }
}

/// Who writes, and all who read.
pub(super) fn ends(system: &System, channel: &Channel) -> String {
    let readers: Vec<_> = channel.destinations.iter().map(|end| port_end(system, end.value)).collect();
    format!("{} → {}", port_end(system, channel.source.value), readers.join(", "))
}

/// How much of the limit is used, in words and as a bar.
pub(super) fn used(verdict: &Verdict, whole: &str) -> Markup {
    let used = used_permille(verdict);
    html! {
        td class="n" { (used.map_or_else(|| "–".to_owned(), percent)) }
        td { @if let Some(used) = used { (bar(used, verdict.status, whole)) } }
    }
}

fn sampling_row(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let channel = channel_of(dossier, verdict);
    let cells = html! {
        td class="n" { (amount_or(verdict.bound, verdict.unit, "none")) }
        td class="n" { (limit(verdict)) }
        (used(verdict, "refresh period"))
    };
    row_of(dossier, verdict, SAMPLING.len(), &cells, &about(channel))
}

fn queue_row(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let channel = channel_of(dossier, verdict);
    let bytes = channel.and_then(|(_, channel)| bytes(channel));
    let number = |value: Option<u64>, none: &str| match verdict.unit {
        Unit::Messages => value.map_or_else(|| none.to_owned(), |value| value.to_string()),
        unit => amount_or(value, unit, none),
    };
    let cells = html! {
        td class="n" { (number(verdict.bound, "none")) }
        td class="n" { (number(verdict.limit, "–")) }
        td class="n" { (bytes.map_or_else(|| "–".to_owned(), |bytes| bytes.to_string())) }
        (used(verdict, "depth"))
    };
    row_of(dossier, verdict, QUEUES.len(), &cells, &about(channel))
}

/// The room that the configured queue takes.
fn bytes(channel: &Channel) -> Option<Bytes> {
    match &channel.kind {
        ChannelKind::Queuing { depth, .. } => depth.value.checked_mul(channel.size.value.get()).map(Bytes::new),
        ChannelKind::Sampling { .. } => None,
    }
}

fn others(system: &System, channels: &[&Channel]) -> Markup {
    let rows = html! {
        @for channel in channels {
            tr {
                (head(&channel.name.value, channel.title.as_deref()))
                td { (ends(system, channel)) }
                td class="n" { (channel.size.value) }
                td { "no claim" }
            }
        }
    };
    html! { h3 { "Channels without a claim" } (table_of("compact", "", &["Channel", "From, to", "#Message", "Status"], rows)) }
}
