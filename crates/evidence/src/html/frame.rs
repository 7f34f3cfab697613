//! The window tables, drawn to scale.

use super::names::{core, level, note, partition, shade, shade_of_level, table};
use crate::dossier::Dossier;
use crate::show::{percent, permille_up};
use crate::svg::{Lane, Piece, gantt};
use maud::{Markup, html};
use model::System;
use model::system::RunGrant;
use plan::{CoreTable, ScheduleTable};
use quantity::{Duration, PartitionId};
use std::collections::{BTreeMap, BTreeSet};

/// A part of the frame is drawn larger where it is at most this share of it.
const ZOOM: u64 = 2;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let (Some(system), Some(plan)) = (dossier.system(), dossier.plan()) else {
        return note("There is no plan: nothing is drawn.");
    };
    if plan.schedules.is_empty() {
        return note("The plan holds no window.");
    }
    html! { @for (table, at) in plan.schedules.iter().zip(1..) { (schedule(system, table, at)) } }
}

fn schedule(system: &System, table: &ScheduleTable, number: usize) -> Markup {
    let frame = system.frame.ns();
    let name = system.schedules.get(table.schedule.index()).map_or("?", |schedule| &schedule.name.value);
    let lanes: Vec<_> = table.cores.iter().map(|core| lane(system, core)).collect();
    let zoom = zoom(system).filter(|zoom| frame / zoom >= ZOOM);
    html! {
        h3 { "Module schedule " (name) }
        figure {
            (gantt(&format!("frame{number}"), &format!("Window table of module schedule {name}"), &lanes, (0, frame)))
            figcaption {
                "The whole major time frame of " (system.frame.value)
                ", to scale. Marks below a lane count its shortest partition period."
            }
        }
        (legend(system))
        @if let Some(zoom) = zoom {
            figure {
                @let title = format!("The first {} of module schedule {name}", Duration::from_ns(zoom));
                (gantt(&format!("zoom{number}"), &title, &lanes, (0, zoom)))
                figcaption { "The first " (Duration::from_ns(zoom)) ", enlarged." }
            }
        }
        (windows(system, table))
    }
}

/// The commonest partition period, the longer one where two are.
fn zoom(system: &System) -> Option<u64> {
    let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
    for period in system.partitions.iter().filter_map(|p| period(p.grant.as_ref())) {
        *counts.entry(period).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(period, count)| (*count, *period)).map(|(period, _)| period)
}

fn period(grant: Option<&RunGrant>) -> Option<u64> {
    match grant? {
        RunGrant::Windows { period, .. } => Some(period.ns()).filter(|period| *period > 0),
        RunGrant::Server { .. } | RunGrant::Share { .. } => None,
    }
}

/// The partitions of a core with their virtual cores.
fn guests(table: &CoreTable) -> BTreeSet<(PartitionId, u32)> {
    table.windows.iter().map(|window| (window.partition, window.virtual_core)).collect()
}

fn lane(system: &System, table: &CoreTable) -> Lane {
    let frame = system.frame.value;
    let mut pieces: Vec<Piece> = guests(table).into_iter().flat_map(|guest| pieces(system, table, guest)).collect();
    pieces.sort_by_key(|piece| piece.span);
    let used: u64 = table.windows.iter().map(|window| window.length.ns()).fold(0, u64::saturating_add);
    // Rounded up, the used share rounds the spare one down.
    let used = permille_up(used, frame.ns()).unwrap_or(1000);
    let grants = guests(table).into_iter().filter_map(|(id, _)| system.partitions.get(id.index()));
    Lane {
        name: core(system, table.core),
        note: used
            .checked_sub(1001)
            .map_or_else(|| format!("{} spare", percent(1000 - used)), |_| "overfull".to_owned()),
        pieces,
        period_ns: grants.filter_map(|p| period(p.grant.as_ref())).min().unwrap_or(0),
    }
}

/// The windows of one guest inside the frame: one that runs across its end comes in two.
fn pieces(system: &System, table: &CoreTable, (id, virtual_core): (PartitionId, u32)) -> Vec<Piece> {
    let frame = system.frame.ns();
    let head_ns = head(system).unwrap_or(0);
    let piece =
        |span, head_ns| Piece { name: partition(system, id).to_owned(), shade: shade(system, id), span, head_ns };
    let mut pieces = Vec::new();
    for window in table.merged(id, virtual_core, system.frame.value) {
        pieces.push(piece((window.start.ns(), window.end().ns().min(frame)), head_ns));
        if window.end().ns() > frame {
            pieces.push(piece((0, window.end().ns() - frame), 0));
        }
    }
    pieces
}

/// Switch and refill; unknown where either is.
fn head(system: &System) -> Option<u64> {
    Some(system.platform.switch?.ns().saturating_add(system.platform.refill?.ns()))
}

fn legend(system: &System) -> Markup {
    let head = head(system).map_or_else(
        || "head: not known, not drawn".to_owned(),
        |head| format!("head: switch and refill, {}, drawn at least 2 pixels wide", Duration::from_ns(head)),
    );
    html! {
        ul class="legend" {
            @for (at, level) in system.levels.iter().enumerate() {
                li { span class={ "swatch s" (shade_of_level(system, at)) } {} "level " (level.value) }
            }
            li { span class="swatch s-head" {} (head) }
            li { span class="swatch s-spare" {} "spare" }
        }
    }
}

fn windows(system: &System, schedule: &ScheduleTable) -> Markup {
    let rows = html! {
        @for table in &schedule.cores { @for guest in guests(table) { (guest_row(system, table, guest)) } }
    };
    table("", &["Partition", "Core", "Level", "#Granted", "#Of the frame", "Windows: start + length"], rows)
}

fn guest_row(system: &System, table: &CoreTable, (id, virtual_core): (PartitionId, u32)) -> Markup {
    let windows = table.merged(id, virtual_core, system.frame.value);
    let granted = windows.iter().map(|window| window.length.ns()).fold(0, u64::saturating_add);
    html! {
        tr {
            th scope="row" { (partition(system, id)) @if virtual_core > 0 { " (virtual core " (virtual_core) ")" } }
            td class="keep" { (core(system, table.core)) }
            td class="keep" { (level(system, id)) }
            td class="n" { (Duration::from_ns(granted)) }
            td class="n" { (permille_up(granted, system.frame.ns()).map_or_else(String::new, percent)) }
            td { (spans(&windows)) }
        }
    }
}

/// Windows in words: equally spaced ones of equal length in short.
fn spans(windows: &[plan::MergedWindow]) -> String {
    let each = |window: &plan::MergedWindow| format!("{} + {}", window.start, window.length);
    let [first, second, ..] = windows else { return windows.iter().map(each).collect() };
    let step = second.start.ns().saturating_sub(first.start.ns());
    let regular = |pair: &[plan::MergedWindow]| {
        pair[1].start.ns().saturating_sub(pair[0].start.ns()) == step && pair[1].length == pair[0].length
    };
    if windows.len() > 2 && windows.windows(2).all(regular) {
        format!("{}, {} times, every {}", each(first), windows.len(), Duration::from_ns(step))
    } else {
        windows.iter().map(each).collect::<Vec<_>>().join(", ")
    }
}
