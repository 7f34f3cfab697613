//! Elements of the system in words.

use crate::show::capital;
use maud::{Markup, html};
use model::System;
use model::system::{GrowthSubject, PortEnd};
use plan::{Placed, WayHolder};
use quantity::PartitionId;

/// A name that may point nowhere, as in half a system.
pub(super) fn partition(system: &System, id: PartitionId) -> &str {
    system.partitions.get(id.index()).map_or("?", |partition| &partition.name.value)
}

/// The level of a partition in the user's own words.
pub(super) fn level(system: &System, id: PartitionId) -> &str {
    let level = system.partitions.get(id.index()).and_then(|partition| partition.level);
    level.and_then(|level| system.levels.get(level.value)).map_or("–", |level| &level.value)
}

/// The shade of a partition: the more critical, the darker, from 0 to 4.
pub(crate) fn shade(system: &System, id: PartitionId) -> usize {
    let level = system.partitions.get(id.index()).and_then(|partition| partition.level);
    level.map_or(0, |level| shade_of_level(system, level.value))
}

/// The shade of a level of the scale.
pub(super) fn shade_of_level(system: &System, level: usize) -> usize {
    let top = system.levels.len().saturating_sub(1).max(1);
    (level.min(top) * 4).div_ceil(top)
}

pub(super) fn port_end(system: &System, end: PortEnd) -> String {
    match end {
        PortEnd::Task(id) if id.index() < system.tasks.len() => system.task_label(id),
        PortEnd::Partition(id) => partition(system, id).to_owned(),
        PortEnd::Device(id) => system.board.devices.get(id.index()).map_or("?", |device| &device.name.value).to_owned(),
        PortEnd::Task(_) => "?".to_owned(),
    }
}

pub(super) fn placed(system: &System, what: &Placed) -> String {
    match what {
        Placed::Partition(id) => partition(system, *id).to_owned(),
        Placed::Region(at) => system.regions.get(*at).map_or("?", |region| &region.name.value).to_owned(),
    }
}

pub(super) fn core(system: &System, id: quantity::CoreId) -> String {
    system.board.cores.get(id.index()).map_or_else(|| "core ?".to_owned(), |core| format!("core {}", core.name.value))
}

pub(super) fn way_holder(system: &System, holder: WayHolder) -> String {
    match holder {
        WayHolder::Core(id) => core(system, id),
        WayHolder::Partition(id) => partition(system, id).to_owned(),
    }
}

pub(super) fn growth_subject(system: &System, subject: GrowthSubject) -> String {
    match subject {
        GrowthSubject::Cores => "every core".to_owned(),
        GrowthSubject::Ram => "RAM".to_owned(),
        GrowthSubject::Partition(id) => partition(system, id).to_owned(),
        GrowthSubject::Partitions => "every partition".to_owned(),
        GrowthSubject::Bandwidth => "bandwidth".to_owned(),
        GrowthSubject::Ports => "every queue".to_owned(),
    }
}

/// A table as wide as the page; numbers are told by a leading `#` in the head.
pub(super) fn table(caption: &str, head: &[&str], rows: Markup) -> Markup {
    table_of("wide", caption, head, rows)
}

/// A table no wider than what it holds.
pub(super) fn compact_table(caption: &str, head: &[&str], rows: Markup) -> Markup {
    table_of("compact", caption, head, rows)
}

/// A table with its columns' widths left to the style sheet's class.
pub(super) fn table_of(class: &str, caption: &str, head: &[&str], rows: Markup) -> Markup {
    html! {
        div class="scroll" {
            table class=(class) {
                @if !caption.is_empty() { caption { (caption) } }
                thead { tr { @for title in head { (head_cell(title)) } } }
                tbody { (rows) }
            }
        }
    }
}

fn head_cell(title: &str) -> Markup {
    match title.strip_prefix('#') {
        _ if title.is_empty() => html! { td {} },
        Some(title) => html! { th scope="col" class="n" { (title) } },
        None => html! { th scope="col" { (title) } },
    }
}

/// A clause as a sentence: a capital first, a stop last, and what stands in backticks set as code.
pub(super) fn sentence(clause: &str) -> Markup {
    let text = capital(clause);
    html! { (coded(&text)) @if !text.ends_with('.') { "." } }
}

/// What stands in backticks set as code.
pub(super) fn coded(text: &str) -> Markup {
    html! { @for (place, part) in text.split('`').enumerate() { @if place % 2 == 1 { code { (part) } } @else { (part) } } }
}

/// The head of a row: a name and what it stands for.
pub(super) fn head(name: &str, title: Option<&str>) -> Markup {
    html! {
        th scope="row" {
            strong { (name) }
            @if let Some(title) = title { span class="why" { (title) } }
        }
    }
}

/// A fault as the command line takes it, which may be broken before its instant and behind each of its values.
pub(super) fn fault(text: &str) -> Markup {
    html! {
        code {
            @for piece in text.split_inclusive(',') {
                @for (at, part) in piece.split('@').enumerate() { @if at > 0 { wbr; "@" } (part) }
                wbr;
            }
        }
    }
}

/// An id that may be broken where one of its parts ends: behind a stroke, a point or an at sign.
pub(super) fn breakable(id: &str) -> Markup {
    html! {
        @for piece in id.split_inclusive('/') {
            @for (at, part) in piece.split_inclusive(['.', '@']).enumerate() { @if at > 0 { wbr; } (part) }
            wbr;
        }
    }
}

/// A remark in small print.
pub(super) fn note(words: &str) -> Markup {
    html! { p class="note" { (coded(words)) } }
}
