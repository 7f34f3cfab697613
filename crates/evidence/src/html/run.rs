//! One run of the simulator, drawn.

use super::names::{compact_table, note};
use crate::dossier::Dossier;
use crate::run::{CAUTION, Told, event_words, grouped, scenario_words, times_more};
use crate::svg::run_lanes;
use maud::{Markup, html};
use quantity::Duration;

/// The events listed below a run.
const MOST_EVENTS: usize = 30;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let Some(run) = dossier.run() else { return note("No run was made: there is no plan, or none was asked for.") };
    let told = run.told();
    html! {
        p class="caution" { strong { "Caution." } " " (CAUTION) }
        (drawn("run", "The first two frames of a run at the longest execution times", &told))
        (legend())
        (left_out(&told))
        (events(&told))
    }
}

/// A run's drawing with what tells its scenario from others.
pub(super) fn drawn(id: &str, title: &str, told: &Told<'_>) -> Markup {
    html! {
        figure {
            @if let Some(drawing) = run_lanes(id, title, told) { (drawing) }
            figcaption {
                (title) ": run " (told.scenario.run) " of seed " (told.scenario.seed) ", "
                (scenario_words(told.scenario, told.machine)) "."
            }
        }
    }
}

fn legend() -> Markup {
    html! {
        ul class="legend" {
            li { span class="swatch s2" {} "window" }
            li { span class="swatch s-head" {} "head" }
            li { span class="swatch s4" {} "executes, below the windows" }
            li { "marks below: arrivals" }
        }
    }
}

fn left_out(told: &Told<'_>) -> Markup {
    html! {
        @for left in &told.machine.left_out {
            (note(&format!("{} does not run: {}.", told.partition(left.partition), left.reason)))
        }
    }
}

fn events(told: &Told<'_>) -> Markup {
    let events = &told.timeline.remarkable;
    if events.is_empty() {
        return note("No deadline was missed in it, no message was lost, and none was read past its refresh period.");
    }
    let groups = grouped(events);
    let rows = html! {
        @for (event, count) in groups.iter().take(MOST_EVENTS) {
            tr {
                td class="n" { (Duration::from_ns(event.at_ns)) }
                td { (event_words(event.what, told.machine, told.scenario)) (times_more(*count)) }
            }
        }
    };
    let more = groups.len().saturating_sub(MOST_EVENTS) as u64 + told.timeline.remarkable_left_out;
    html! {
        (compact_table("", &["#At", "What happened"], rows))
        @if more > 0 { (note(&format!("{more} more are not listed."))) }
    }
}
