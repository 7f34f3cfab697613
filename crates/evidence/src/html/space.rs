//! Cache ways, page colours, banks and bandwidth.

use super::claims::of_kinds;
use super::names::{compact_table, note, partition, way_holder};
use crate::dossier::Dossier;
use crate::show::{percent, permille_up};
use crate::svg::{ColourRow, Runs, bar, colour_key, colours, ways};
use claim::{Kind, Status};
use maud::{Markup, html};
use model::System;
use plan::{Coloured, Plan};
use quantity::{Bytes, CacheId, MemoryId, Rate};
use separation::{ColourShare, colour_shares};

pub(super) fn unclaimed(what: &str) -> Markup {
    html! { p { "Not analysed: there is no claim about " (what) "." } }
}

pub(super) fn shared(dossier: &Dossier) -> Markup {
    let both = dossier.system().zip(dossier.plan());
    html! {
        @if let Some((system, plan)) = both { (caches(system, plan)) (coloured(system, plan)) (budgets(system, plan)) }
        @else { (note("There is no plan: nothing is drawn.")) }
        (of_kinds(dossier, &[Kind::Cache, Kind::Bandwidth]))
        @for (kind, what) in [(Kind::Cache, "cache ways"), (Kind::Bandwidth, "bandwidth budgets")] {
            @if dossier.of_kind(kind).next().is_none() { (unclaimed(what)) }
        }
    }
}

fn caches(system: &System, plan: &Plan) -> Markup {
    html! {
        @for (cache, at) in system.board.caches.iter().zip(0usize..) {
            @let rows: Vec<_> = plan.cache.iter().filter(|grant| grant.cache.index() == at)
                .map(|grant| (way_holder(system, grant.holder), grant.mask)).collect();
            @if !rows.is_empty() {
                figure {
                    (ways(&format!("Ways of {}", cache.name.value), cache.ways.value, &rows))
                    figcaption {
                        (cache.name.value) ": " (cache.ways.value) " ways, " (cache.size.value) " in all, "
                        (cache.line.value) " a line."
                    }
                }
            }
        }
    }
}

/// Who has which page colours of each cache, and banks of each memory, that is shared out by them.
fn coloured(system: &System, plan: &Plan) -> Markup {
    let board = &system.board;
    let caches = board.caches.iter().zip(0usize..).map(|(cache, at)| {
        let is_asked = cache.coloured == Some(true);
        By { of: Coloured::Cache(CacheId::new(at)), is_asked, name: &cache.name.value, size: cache.size.value }
    });
    let memories = board.memories.iter().zip(0usize..).map(|(memory, at)| {
        let is_asked = memory.coloured == Some(true);
        By { of: Coloured::Banks(MemoryId::new(at)), is_asked, name: &memory.name.value, size: memory.size.value }
    });
    html! { @for by in caches.chain(memories) { (shares_drawn(system, plan, &by)) } }
}

/// A cache or a memory that pages may be chosen by.
struct By<'a> {
    of: Coloured,
    /// Whether the system asks for it.
    is_asked: bool,
    name: &'a str,
    size: Bytes,
}

fn shares_drawn(system: &System, plan: &Plan, by: &By<'_>) -> Markup {
    let is_due = by.is_asked || plan.colours.iter().any(|grant| grant.of == by.of);
    let Some((number, shares)) = colour_shares(system, plan, by.of).filter(|_| is_due) else { return html! {} };
    let rows: Vec<ColourRow> = shares.iter().map(|share| colour_row(system, by, number, share)).collect();
    let (noun, title, id) = match by.of {
        Coloured::Cache(cache) => ("colour", "Page colours", format!("colours-{}", cache.index())),
        Coloured::Banks(memory) => ("bank", "Banks", format!("banks-{}", memory.index())),
    };
    html! {
        figure {
            (colours(&id, &format!("{title} of {}", by.name), number, &rows))
            figcaption {
                (by.name) ": " (number) " " (title.to_lowercase()) ", " (by.size) " in all. Rows that fill a " (noun)
                " above each other share it."
            }
            (colour_key(&id, noun, &rows))
        }
    }
}

fn colour_row(system: &System, by: &By<'_>, number: u64, share: &ColourShare) -> ColourRow {
    let lost: Vec<u64> =
        share.given.iter().copied().map(u64::from).filter(|colour| share.held.binary_search(colour).is_err()).collect();
    let held = share.held.len();
    // Who has banks of a memory has of its size only what his range takes up.
    let size = match by.of {
        Coloured::Cache(_) => {
            let bytes = u128::from(by.size.get()) * held as u128 / u128::from(number.max(1));
            format!(", {}", Bytes::new(u64::try_from(bytes).unwrap_or(u64::MAX)))
        }
        Coloured::Banks(_) => String::new(),
    };
    let words = match share.given.len() {
        0 => ", by those of others".to_owned(),
        given if given > held => format!(", of {given} given"),
        _ => String::new(),
    };
    ColourRow {
        name: partition(system, share.partition).to_owned(),
        held: runs(&share.held),
        lost: runs(&lost),
        words: format!("{held} of {number}{size}{words}"),
    }
}

/// The first and the last of each run of numbers in rising order.
fn runs(numbers: &[u64]) -> Runs {
    let ends = |run: &[u64]| Some((*run.first()?, *run.last()?));
    numbers.chunk_by(|one, next| one.checked_add(1) == Some(*next)).filter_map(ends).collect()
}

fn budgets(system: &System, plan: &Plan) -> Markup {
    let Some(interconnect) = &system.board.interconnect else { return note("No interconnect is declared.") };
    if plan.bandwidth.is_empty() {
        return note("The plan holds no bandwidth budget.");
    }
    let guaranteed = interconnect.guaranteed.value;
    let sum = plan.bandwidth.iter().map(|budget| budget.budget.bytes_per_s()).fold(0, u64::saturating_add);
    let name = |master: usize| interconnect.masters.get(master).map_or("?", |master| &master.name.value);
    let without =
        interconnect.masters.iter().zip(0usize..).filter(|(_, at)| plan.bandwidth.iter().all(|b| b.master != *at));
    let rows = html! {
        @for budget in &plan.bandwidth { (budget_row(name(budget.master), budget.budget, guaranteed)) }
        (budget_row("sum", Rate::from_bytes_per_s(sum), guaranteed))
        @for (master, _) in without {
            tr { th scope="row" { (master.name.value) } td class="n" { "no budget" } td {} td {} }
        }
    };
    let regulation = system.platform.regulation.as_ref().map(|regulation| regulation.period.value);
    html! {
        (compact_table("Bandwidth budgets", &["Master", "#Budget", "#Of the guaranteed rate", ""], rows))
        (note(&format!(
            "Guaranteed rate: {guaranteed}. Regulation period: {}.",
            regulation.map_or_else(|| "not declared".to_owned(), |period| period.to_string())
        )))
    }
}

fn budget_row(name: &str, budget: Rate, guaranteed: Rate) -> Markup {
    let share = permille_up(budget.bytes_per_s(), guaranteed.bytes_per_s());
    html! {
        tr {
            th scope="row" { (name) }
            td class="n" { (budget) }
            td class="n" { (share.map_or_else(String::new, percent)) }
            td { @if let Some(share) = share { (bar(share, Status::Shown, "guaranteed rate")) } }
        }
    }
}
