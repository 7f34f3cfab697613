//! Chains: their bounds beside each other, and what each bound is made of.

use super::claims::{bases, row_of, status};
use super::names::{head, note, port_end, table_of};
use crate::caution::{CAUTIONS, SYNCHRONISED};
use crate::dossier::Dossier;
use crate::show::{amount, amount_or, limit, simulated};
use crate::stretch::stretches;
use crate::svg::{part_key, waterfall};
use claim::{Kind, PartKind, Relation, Unit, Verdict};
use maud::{Markup, html};
use model::System;
use model::system::{Chain, Need, PortEnd};
use quantity::Duration;

const HEAD: [&str; 8] = ["Chain", "#Need", "#Generic", "#Table-aware", "Simulated", "Decided by", "#Margin", "Status"];

pub(super) fn part(dossier: &Dossier) -> Markup {
    let verdicts: Vec<_> = dossier.of_kind(Kind::Reaction).chain(dossier.of_kind(Kind::DataAge)).collect();
    let unclaimed = unclaimed(dossier, &verdicts);
    if verdicts.is_empty() && unclaimed.is_empty() {
        return note("No chain is declared.");
    }
    let rows = html! {
        @for verdict in &verdicts { (chain_row(dossier, verdict)) }
        @for chain in unclaimed { (unclaimed_row(dossier, chain)) }
    };
    let falls: Vec<_> = verdicts.iter().filter(|verdict| !verdict.parts.is_empty()).collect();
    let in_some = |kind: &PartKind| falls.iter().any(|verdict| verdict.parts.iter().any(|part| part.kind == *kind));
    let kinds: Vec<_> = PartKind::ALL.into_iter().filter(in_some).collect();
    html! {
        p class="caution" { strong { "Caution." } " " (CAUTIONS[SYNCHRONISED].text) }
        (table_of("wide", "", &HEAD, rows))
        (note("Generic, table-aware and simulated times are never mixed in one column. The smaller \
               of the two bounds that apply decides; the margin is what it leaves of the need."))
        (bases(&verdicts))
        @if !falls.is_empty() {
            h3 { "What the bounds are made of" }
            (part_key(&kinds))
            @for verdict in falls { (fall(dossier, verdict)) }
        }
    }
}

/// The chains about which there is no claim.
fn unclaimed<'d>(dossier: &'d Dossier, verdicts: &[&Verdict]) -> Vec<&'d Chain> {
    let chains = dossier.system().map(|system| system.chains.as_slice()).unwrap_or_default();
    let claimed = |chain: &&Chain| verdicts.iter().any(|verdict| verdict.subject == chain.name.value);
    chains.iter().filter(|chain| !claimed(chain)).collect()
}

fn chain_of<'d>(dossier: &'d Dossier, verdict: &Verdict) -> Option<(&'d System, &'d Chain)> {
    let system = dossier.system()?;
    Some((system, system.chains.iter().find(|chain| chain.name.value == verdict.subject)?))
}

fn chain_row(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let about = html! {
        @if let Some((system, chain)) = chain_of(dossier, verdict) {
            span class="why" {
                @if let Some(title) = &chain.title { strong { (title) } ": " }
                (path(system, chain))
            }
        }
    };
    let cells = html! {
        td class="n" { (limit(verdict)) }
        td class="n" { (amount_or(verdict.generic, verdict.unit, "–")) }
        td class="n" { (amount_or(verdict.table_aware, verdict.unit, "–")) }
        td { (largest_simulated(verdict)) }
        td { (decided_by(verdict)) @if verdict.exact { ", exact" } }
        td class="n" { (margin(verdict)) }
    };
    row_of(dossier, verdict, HEAD.len(), &cells, &about)
}

fn unclaimed_row(dossier: &Dossier, chain: &Chain) -> Markup {
    let need = match chain.need {
        Need::Reaction(limit) | Need::DataAge(limit) => limit.value,
    };
    html! {
        tr {
            (head(&chain.name.value, chain.title.as_deref()))
            td class="n" { "≤ " (need) }
            td class="n" { "–" } td class="n" { "–" }
            td { "–" }
            td { "–" } td class="n" { "–" }
            td { @if dossier.plan().is_some() { "no claim" } @else { "no plan" } }
        }
    }
}

/// The largest value that simulation saw, and how far it stays below the bound.
fn largest_simulated(verdict: &Verdict) -> String {
    match verdict.simulated {
        None => "not simulated".to_owned(),
        Some(seen) if verdict.gap().is_none() => amount(seen.largest, verdict.unit),
        Some(seen) => format!("{}, {}", amount(seen.largest, verdict.unit), simulated(verdict)),
    }
}

/// Which of the two bounds is the one that counts.
fn decided_by(verdict: &Verdict) -> &'static str {
    let is_bound = |value: Option<u64>| verdict.bound.is_some() && value == verdict.bound;
    match (is_bound(verdict.generic), is_bound(verdict.table_aware)) {
        (true, true) => "both alike",
        (true, false) => "generic",
        (false, true) => "table-aware",
        (false, false) => "–",
    }
}

/// What is left of the need, or by how much the bound passes it.
fn margin(verdict: &Verdict) -> String {
    let (Some(bound), Some(limit), Relation::AtMost, Unit::Nanoseconds) =
        (verdict.bound, verdict.limit, verdict.relation, verdict.unit)
    else {
        return "–".to_owned();
    };
    match limit.checked_sub(bound) {
        Some(left) => Duration::from_ns(left).to_string(),
        None => format!("−{}", Duration::from_ns(bound - limit)),
    }
}

/// The tasks of a chain, with the channels between them; no arrow ends a line.
fn path(system: &System, chain: &Chain) -> Markup {
    html! {
        @for (at, step) in chain.steps.iter().enumerate() {
            @if at > 0 {
                " →\u{a0}"
                @if let Some(channel) = step.via.and_then(|id| system.channels.get(id.index())) {
                    (channel.name.value) " →\u{a0}"
                }
            }
            (port_end(system, PortEnd::Task(step.task.value)))
        }
    }
}

fn fall(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let title = chain_of(dossier, verdict).and_then(|(_, chain)| chain.title.as_deref());
    html! {
        article class="fall" {
            h4 { span class="id" { (verdict.id) } @if let Some(title) = title { " " (title) } " " (status(verdict.status)) }
            figure { @if let Some(drawing) = waterfall(verdict) { (drawing) } }
            (parts(verdict))
        }
    }
}

/// The parts in the order of time, by whose they are, with the time passed after each.
fn parts(verdict: &Verdict) -> Markup {
    let rows = html! {
        @for stretch in stretches(&verdict.parts) {
            tr {
                th scope="row" { span class="id" { (stretch.what) } }
                td { (stretch.in_words()) }
                td class="n" { (Duration::from_ns(stretch.length_ns())) }
                td class="n" { (Duration::from_ns(stretch.start_ns.saturating_add(stretch.length_ns()))) }
            }
        }
    };
    table_of("compact", "", &["Whose time", "What happens", "#In all", "#Passed after it"], rows)
}
