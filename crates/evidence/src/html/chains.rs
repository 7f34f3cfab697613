//! Chains and channels as declared, and what is known of them.

use super::claims::{anchor, of_kinds, status};
use super::names::{note, port_end, table};
use crate::dossier::Dossier;
use claim::Kind;
use maud::{Markup, html};
use model::System;
use model::system::{Chain, Channel, ChannelKind, Need};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let Some(system) = dossier.system() else { return note("No chain and no channel could be read.") };
    html! {
        (chains(dossier, system))
        (of_kinds(dossier, &[Kind::Reaction, Kind::DataAge]))
        (channels(dossier, system))
        (of_kinds(dossier, &[Kind::Refresh, Kind::QueueDepth]))
    }
}

fn chains(dossier: &Dossier, system: &System) -> Markup {
    if system.chains.is_empty() {
        return note("No chain is declared.");
    }
    let rows = html! {
        @for chain in &system.chains {
            @let (kind, need) = need(chain);
            tr {
                (head(&chain.name.value, chain.title.as_deref()))
                td { (path(system, chain)) }
                td class="keep" { (if kind == Kind::Reaction { "reaction" } else { "data age" }) }
                td class="n" { "≤ " (need) }
                td { (known(dossier, kind, &chain.name.value)) }
            }
        }
    };
    table("Chains as declared", &["Chain", "Path", "Need", "#Limit", "Status"], rows)
}

/// The head of a row: a name and what it stands for.
fn head(name: &str, title: Option<&str>) -> Markup {
    html! {
        th scope="row" {
            strong { (name) }
            @if let Some(title) = title { span class="why" { (title) } }
        }
    }
}

fn need(chain: &Chain) -> (Kind, quantity::Duration) {
    match chain.need {
        Need::Reaction(limit) => (Kind::Reaction, limit.value),
        Need::DataAge(limit) => (Kind::DataAge, limit.value),
    }
}

/// The tasks of a chain, with the channels between them.
fn path(system: &System, chain: &Chain) -> Markup {
    html! {
        @for (at, step) in chain.steps.iter().enumerate() {
            @if at > 0 {
                " → "
                @if let Some(channel) = step.via.and_then(|id| system.channels.get(id.index())) {
                    (channel.name.value) " → "
                }
            }
            span class="id" { (port_end(system, model::system::PortEnd::Task(step.task.value))) }
        }
    }
}

/// The status of every claim of a kind about a subject: one for each module schedule.
fn known(dossier: &Dossier, kind: Kind, subject: &str) -> Markup {
    let plain = format!("{}/{subject}", kind.key());
    let scheduled = format!("{plain}@");
    let about: Vec<_> = dossier.of_kind(kind).filter(|v| v.id == plain || v.id.starts_with(&scheduled)).collect();
    html! {
        @if about.is_empty() { "no claim" }
        @for verdict in about { div { a href={ "#" (anchor(&verdict.id)) } { (status(verdict.status)) } } }
    }
}

fn channels(dossier: &Dossier, system: &System) -> Markup {
    if system.channels.is_empty() {
        return note("No channel is declared.");
    }
    let rows = html! { @for channel in &system.channels { (channel_row(dossier, system, channel)) } };
    table("Channels as declared", &["Channel", "From", "To", "#Message", "Kind", "Status"], rows)
}

fn channel_row(dossier: &Dossier, system: &System, channel: &Channel) -> Markup {
    let kind = match channel.kind {
        ChannelKind::Sampling { .. } => Kind::Refresh,
        ChannelKind::Queuing { .. } => Kind::QueueDepth,
    };
    html! {
        tr {
            (head(&channel.name.value, channel.title.as_deref()))
            td { span class="id" { (port_end(system, channel.source.value)) } }
            td { @for end in &channel.destinations { div { span class="id" { (port_end(system, end.value)) } } } }
            td class="n" { (channel.size.value) }
            td { (kind_words(&channel.kind)) }
            td { (known(dossier, kind, &channel.name.value)) }
        }
    }
}

fn kind_words(kind: &ChannelKind) -> String {
    match kind {
        ChannelKind::Sampling { refresh: Some(refresh) } => format!("sampling, refresh {}", refresh.value),
        ChannelKind::Sampling { refresh: None } => "sampling, no refresh period".to_owned(),
        ChannelKind::Queuing { depth, .. } => format!("queuing, depth {}", depth.value),
    }
}
