//! Memory, cache ways and bandwidth.

use super::claims::of_kinds;
use super::names::{compact_table, note, partition, placed, shade, table, way_holder};
use crate::dossier::Dossier;
use crate::show::{percent, permille_up};
use crate::svg::{Range, bar, memory_map, ways};
use claim::{Kind, Status};
use maud::{Markup, html};
use model::System;
use model::system::{Memory, RegionOwner, Rights};
use plan::{Placed, Placement, Plan};
use quantity::{Address, Bytes, Rate};

pub(super) fn memory(dossier: &Dossier) -> Markup {
    let (Some(system), Some(plan)) = (dossier.system(), dossier.plan()) else {
        return html! { (note("There is no plan: no map is drawn.")) (of_kinds(dossier, &[Kind::Memory])) };
    };
    let mut placements: Vec<&Placement> = plan.memory.iter().collect();
    placements.sort_by_key(|placement| (placement.base, placement.size));
    let drawn = || system.board.memories.iter().filter(|memory| placements.iter().any(|p| inside(memory, p)));
    html! {
        @if placements.is_empty() { (note("The plan places nothing in memory.")) }
        @for (memory, number) in drawn().zip(1..) {
            figure {
                @let title = format!("Memory map of {}", memory.name.value);
                (memory_map(&format!("map{number}"), &title, &ranges(system, memory, &placements)))
                figcaption {
                    (memory.name.value) ", " (memory.size.value) " from " code { (memory.base.value) }
                    ". Gaps are hatched."
                }
            }
        }
        @if !placements.is_empty() { (placement_table(system, &placements)) }
        (of_kinds(dossier, &[Kind::Memory]))
        @if dossier.of_kind(Kind::Memory).next().is_none() { (unclaimed("the memory map")) }
    }
}

fn unclaimed(what: &str) -> Markup {
    html! { p { "Not analysed: there is no claim about " (what) "." } }
}

fn inside(memory: &Memory, placement: &Placement) -> bool {
    let end = memory.base.get().saturating_add(memory.size.get());
    (memory.base.get()..end).contains(&placement.base.get())
}

/// The placements of a memory with the gaps between them.
fn ranges(system: &System, memory: &Memory, placements: &[&Placement]) -> Vec<Range> {
    let mut ranges = Vec::new();
    let mut free_from = memory.base.get();
    let gap = |from: u64, to: u64| {
        (to > from).then(|| Range { name: None, base: from, size: to - from, overlaps: false, shade: 0 })
    };
    for placement in placements.iter().filter(|placement| inside(memory, placement)) {
        let (base, size) = (placement.base.get(), placement.size.get());
        ranges.extend(gap(free_from, base));
        let shade = shade_of(system, &placement.what);
        ranges.push(Range {
            name: Some(placed(system, &placement.what)),
            base,
            size,
            overlaps: base < free_from,
            shade,
        });
        free_from = free_from.max(base.saturating_add(size));
    }
    ranges.extend(gap(free_from, memory.base.get().saturating_add(memory.size.get())));
    ranges
}

fn shade_of(system: &System, what: &Placed) -> usize {
    match what {
        Placed::Partition(id) => shade(system, *id),
        Placed::Region(at) => match system.regions.get(*at).map(|region| region.owner) {
            Some(RegionOwner::Partition(id)) => shade(system, id),
            _ => 0,
        },
    }
}

fn placement_table(system: &System, placements: &[&Placement]) -> Markup {
    let rows = html! {
        @for placement in placements {
            tr {
                th scope="row" { (placed(system, &placement.what)) }
                td { (owner(system, &placement.what)) }
                td { (rights(system, &placement.what)) }
                td class="n" { code { (placement.base) } }
                td class="n" { code { (last_address(placement)) } }
                td class="n" { (placement.size) }
                td class="n" { (guard(system, &placement.what).map_or_else(|| "–".to_owned(), |guard| guard.to_string())) }
            }
        }
    };
    let head = ["Range", "Whose", "Rights", "#First address", "#Last address", "#Size", "#Guard"];
    table("", &head, rows)
}

/// What the owner may do with it, and who else may do what.
fn rights(system: &System, what: &Placed) -> String {
    let Placed::Region(at) = what else { return "all".to_owned() };
    let Some(region) = system.regions.get(*at) else { return "–".to_owned() };
    let own = region.owner_rights.map_or_else(|| "not declared".to_owned(), letters);
    let others =
        region.access.iter().map(|(who, rights)| format!("{} {}", partition(system, who.value), letters(*rights)));
    [own].into_iter().chain(others).collect::<Vec<_>>().join(", ")
}

/// The letters of the rights in the file.
fn letters(rights: Rights) -> String {
    let each = [(rights.read, 'r'), (rights.write, 'w'), (rights.execute, 'x')];
    each.into_iter().filter_map(|(given, letter)| given.then_some(letter)).collect()
}

/// What must lie free on both sides.
fn guard(system: &System, what: &Placed) -> Option<Bytes> {
    match what {
        Placed::Partition(id) => system.partition(*id).guard,
        Placed::Region(at) => system.regions.get(*at)?.guard,
    }
    .map(|guard| guard.value)
}

fn last_address(placement: &Placement) -> String {
    let last = placement.size.get().checked_sub(1).and_then(|more| placement.base.get().checked_add(more));
    last.map_or_else(|| "–".to_owned(), |last| Address::new(last).to_string())
}

fn owner<'s>(system: &'s System, what: &Placed) -> &'s str {
    match what {
        Placed::Partition(_) => "its own",
        Placed::Region(at) => match system.regions.get(*at).map(|region| region.owner) {
            Some(RegionOwner::Hypervisor) => "hypervisor",
            Some(RegionOwner::Partition(id)) => partition(system, id),
            Some(RegionOwner::Shared) => "shared, declared",
            None => "?",
        },
    }
}

pub(super) fn shared(dossier: &Dossier) -> Markup {
    let both = dossier.system().zip(dossier.plan());
    html! {
        @if let Some((system, plan)) = both { (caches(system, plan)) (budgets(system, plan)) }
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
