//! Information flow: what the policy permits between zones, what of it is used, what is filtered; and what rises in level.

use super::claims::{of_kinds, of_verdicts};
use super::names::{note, table};
use crate::dossier::Dossier;
use crate::show::count;
use claim::{Kind, Verdict};
use maud::{Markup, html};
use model::System;
use model::system::{Channel, FlowPolicy};
use quantity::ZoneId;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let (between_zones, between_partitions): (Vec<&Verdict>, Vec<&Verdict>) =
        dossier.of_kind(Kind::Flow).partition(|verdict| verdict.subject.starts_with("zone/"));
    html! {
        @if let Some((system, policy)) = dossier.system().and_then(|system| Some((system, system.flow.as_ref()?))) {
            (matrix(system, policy))
            (filters(system, policy))
        } @else { (note("No flow policy is declared.")) }
        (of_verdicts(dossier, &format!("Zones that must not influence each other: {}", pairs(&between_zones)), &between_zones))
        (of_verdicts(dossier, &format!("What partitions send each other: {}", pairs(&between_partitions)), &between_partitions))
        (of_kinds(dossier, &[Kind::Criticality]))
    }
}

fn pairs(verdicts: &[&Verdict]) -> String {
    count(verdicts.len(), "pair")
}

/// What is permitted from the row to the column, and by how many channels it is used.
fn matrix(system: &System, policy: &FlowPolicy) -> Markup {
    let names: Vec<&str> = system.zones.iter().map(|zone| zone.name.value.as_str()).collect();
    let titles: Vec<&str> = std::iter::once("From").chain(names.iter().copied()).collect();
    let zones = || (0..system.zones.len()).map(ZoneId::new);
    let rows = html! {
        @for from in zones() {
            tr {
                th scope="row" { (names[from.index()]) }
                @for to in zones() { td { (cell(system, policy, from, to)) } }
            }
        }
    };
    html! {
        (table("What may flow from the row's zone to the column's, and what does", &titles, rows))
        (note("A dash is forbidden. An exception permits its own channel alone. What is permitted and used by no channel could be \
               taken out of the policy."))
    }
}

fn cell(system: &System, policy: &FlowPolicy, from: ZoneId, to: ZoneId) -> Markup {
    let used = system.channels.iter().filter(|channel| joins(system, channel, from, to)).count();
    if from == to {
        return html! { "within" span class="why" { (count(used, "channel")) } };
    }
    let rules: Vec<_> = policy.rules.iter().filter(|rule| rule.from.value == from && rule.to.value == to).collect();
    let by_rule = match (rules.is_empty(), rules.iter().find_map(|rule| rule.via.as_ref())) {
        (true, _) => None,
        (false, Some(via)) => Some(format!("only via {}", system.task_label(via.value))),
        (false, None) => Some("permitted".to_owned()),
    };
    let exceptions = policy.exceptions.iter().map(|exception| system.channel(exception.channel.value));
    let exceptions: Vec<&str> = exceptions
        .filter(|channel| joins(system, channel, from, to))
        .map(|channel| channel.name.value.as_str())
        .collect();
    html! {
        @match (&by_rule, exceptions.is_empty()) {
            (Some(words), _) => (words),
            (None, true) => "–",
            (None, false) => { "only " (exceptions.join(", ")) }
        }
        @if by_rule.is_some() || used > 0 { span class="why" { (count(used, "channel")) } }
    }
}

/// Whether a channel leaves one zone and enters the other, or stays within one between two partitions.
fn joins(system: &System, channel: &Channel, from: ZoneId, to: ZoneId) -> bool {
    let Some(source) = system.partition_of(channel.source.value) else { return false };
    let zone = |id| system.partition(id).zone.as_ref().map(|zone| zone.value);
    let readers = channel.destinations.iter().filter_map(|end| system.partition_of(end.value));
    zone(source) == Some(from) && readers.into_iter().any(|reader| reader != source && zone(reader) == Some(to))
}

fn filters(system: &System, policy: &FlowPolicy) -> Markup {
    let rows = html! {
        @for (task, what) in &policy.filters {
            tr { th scope="row" class="keep" { (system.task_label(task.value)) } td { (what) } }
        }
    };
    html! { @if !policy.filters.is_empty() { (table("", &["Filter", "What it lets through"], rows)) } }
}
