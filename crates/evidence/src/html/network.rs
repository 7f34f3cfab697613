//! The internal network: what one partition forwards for the others.

use super::claims::{bases, row_of};
use super::names::{note, partition, port_end, table, table_of};
use super::ports::{ends, used};
use crate::dossier::Dossier;
use crate::show::{amount_or, count, limit};
use claim::{Kind, Unit, Verdict};
use maud::{Markup, html};
use model::System;
use model::system::{Channel, Network};
use std::collections::BTreeMap;

const HEAD: [&str; 7] = ["Claim", "#Delay", "#Backlog", "#Limit", "#Of the limit", "", "Status"];

pub(super) fn part(dossier: &Dossier) -> Markup {
    let verdicts: Vec<_> = dossier.of_kind(Kind::Forwarding).collect();
    let network = dossier.system().and_then(|system| Some((system, system.network.as_ref()?)));
    if verdicts.is_empty() && network.is_none() {
        return note("No partition forwards the messages of others.");
    }
    html! {
        @if let Some((system, network)) = network { (facts(system, network)) }
        @if verdicts.is_empty() { p { "Not analysed: there is no claim about what is forwarded." } } @else {
            (table_of("wide", "", &HEAD, html! { @for verdict in &verdicts { (row(dossier, verdict)) } }))
            (bases(&verdicts))
        }
        @if let Some((system, network)) = network { (common_failure(system, network)) }
    }
}

fn facts(system: &System, network: &Network) -> Markup {
    let unknown = || "not given".to_owned();
    let fixed = network.fixed.as_ref().map_or_else(unknown, |fixed| fixed.value.to_string());
    let per_byte = network.per_byte_ps.as_ref().map_or_else(unknown, |ps| format!("{} ps", ps.value));
    let depth = network.depth.as_ref().map_or_else(unknown, |depth| count_of_frames(depth.value));
    html! {
        p {
            strong { (partition(system, network.forwarder.value)) } " forwards"
            @if let Some(task) = &network.task {
                ", by its task " span class="id" { (port_end(system, model::system::PortEnd::Task(task.value))) }
            }
            ". Cost of a frame for each receiver: fixed part " (fixed) ", part of each byte " (per_byte) ". Queue of each direction: "
            (depth) "."
        }
    }
}

fn count_of_frames(depth: u64) -> String {
    usize::try_from(depth).map_or_else(|_| format!("{depth} frames"), |depth| count(depth, "frame"))
}

/// Times are delays, everything else is what waits.
fn row(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let is_delay = verdict.unit == Unit::Nanoseconds;
    let bound = amount_or(verdict.bound, verdict.unit, "none");
    let cells = html! {
        td class="n" { @if is_delay { (bound) } @else { "–" } }
        td class="n" { @if is_delay { "–" } @else { (bound) } }
        td class="n" { (limit(verdict)) }
        (used(verdict, "limit"))
    };
    row_of(dossier, verdict, HEAD.len(), &cells, &html! {})
}

/// Everything that stops where the forwarder stops.
fn common_failure(system: &System, network: &Network) -> Markup {
    let mut senders: BTreeMap<String, Vec<&Channel>> = BTreeMap::new();
    for channel in system.channels.iter().filter(|channel| channel.forwarded) {
        senders.entry(port_end(system, channel.source.value)).or_default().push(channel);
    }
    if senders.is_empty() {
        return note("No channel is declared to be forwarded.");
    }
    let channels: usize = senders.values().map(Vec::len).sum();
    let rows = html! {
        @for (sender, channels) in &senders {
            tr {
                th scope="row" { span class="id" { (sender) } }
                td { @for channel in channels { div { (channel.name.value) ": " (ends(system, channel)) } } }
            }
        }
    };
    html! {
        h3 { "Common points of failure" }
        p {
            "Forwarded by " strong { (partition(system, network.forwarder.value)) } ": "
            (count(channels, "channel")) " of " (count(senders.len(), "sender")) ". Nothing of it moves while that partition is down."
        }
        (table("", &["Sender", "Channels and their readers"], rows))
    }
}
