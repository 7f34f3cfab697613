//! The memory map, and the tables of what lies in it.

mod ranges;

use super::claims::of_kinds;
use super::names::{note, partition, placed, table};
use super::space::unclaimed;
use crate::dossier::Dossier;
use crate::svg::{Range, memory_key, memory_map};
use claim::Kind;
use maud::{Markup, html};
use model::System;
use model::system::{Devicetree, Memory, RegionOwner, ReservedMemory, ReservedPlace, Rights};
use plan::{Placed, Placement, Plan};
use quantity::Address;
use ranges::{colours, guard, inside, ranges};
use separation::reserved_for;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let (Some(system), Some(plan)) = (dossier.system(), dossier.plan()) else {
        return html! { (note("There is no plan: no map is drawn.")) (of_kinds(dossier, &[Kind::Memory])) };
    };
    let mut placements: Vec<&Placement> = plan.memory.iter().collect();
    placements.sort_by_key(|placement| (placement.base, placement.size));
    let drawn = |memory: &&Memory| placements.iter().any(|placement| inside(memory, placement));
    let memories: Vec<&Memory> = system.board.memories.iter().filter(drawn).collect();
    let maps: Vec<Vec<Range>> = memories.iter().map(|memory| ranges(system, plan, memory, &placements)).collect();
    html! {
        @if placements.is_empty() { (note("The plan places nothing in memory.")) }
        @for ((memory, map), number) in memories.iter().zip(&maps).zip(1..) {
            figure {
                @let title = format!("Memory map of {}", memory.name.value);
                (memory_map(&format!("map{number}"), &title, map))
                @if number == 1 { (memory_key("map1", &maps)) }
                figcaption { (memory.name.value) ", " (memory.size.value) " from " code { (memory.base.value) } "." }
            }
        }
        @if !placements.is_empty() { (placement_table(system, plan, &placements)) }
        @if let Some(tree) = &system.board.devicetree { (reserved_table(system, tree)) }
        (of_kinds(dossier, &[Kind::Memory]))
        @if dossier.of_kind(Kind::Memory).next().is_none() { (unclaimed("the memory map")) }
    }
}

fn placement_table(system: &System, plan: &Plan, placements: &[&Placement]) -> Markup {
    let is_coloured = !plan.colours.is_empty();
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
                @if is_coloured { td { (colour_words(system, plan, placement)) } }
            }
        }
    };
    let head = ["Range", "Whose", "Rights", "#First address", "#Last address", "#Size", "#Guard", "Of its pages"];
    table("", &head[..head.len() - usize::from(!is_coloured)], rows)
}

fn colour_words(system: &System, plan: &Plan, placement: &Placement) -> String {
    let words: Vec<String> = colours(system, plan, placement).into_iter().map(|strip| strip.words).collect();
    if words.is_empty() { "–".to_owned() } else { words.join("; ") }
}

/// Everything that the devicetree reserves, with whom it is for.
fn reserved_table(system: &System, tree: &Devicetree) -> Markup {
    if tree.reserved.is_empty() {
        return note("The devicetree reserves no memory.");
    }
    let rows = html! {
        @for (index, reserved) in tree.reserved.iter().enumerate() {
            tr {
                th scope="row" { (reserved.name.value) }
                td { (place_words(&reserved.place)) }
                td { (reserved_for(system, tree, index).map_or_else(|| "nobody in the plan".to_owned(), |whose| placed(system, &whose))) }
                td { (how(reserved)) }
                td class="n" { (reserved.line) }
            }
        }
    };
    table("What the devicetree reserves", &["Node", "Where", "For whom", "How", "#Line"], rows)
}

fn place_words(place: &ReservedPlace) -> String {
    let (lead, ranges) = match place {
        ReservedPlace::Fixed(ranges) => (String::new(), ranges),
        ReservedPlace::Chosen { size, within } if within.is_empty() => {
            return format!("{size}, chosen at boot from all memory");
        }
        ReservedPlace::Chosen { size, within } => (format!("{size}, chosen at boot from "), within),
    };
    let ranges: Vec<String> = ranges.iter().map(|range| format!("{} from {}", range.size, range.base)).collect();
    format!("{lead}{}", ranges.join(" and "))
}

const fn how(reserved: &ReservedMemory) -> &'static str {
    match (reserved.no_map, reserved.reusable) {
        (true, _) => "not to be mapped",
        (false, true) => "may be used meanwhile",
        (false, false) => "kept",
    }
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
