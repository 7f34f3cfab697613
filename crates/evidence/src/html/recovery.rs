//! Boot and restarts: what each is made of against its need.

use super::claims::of_kinds;
use super::names::{note, table};
use crate::dossier::Dossier;
use crate::svg::{Frame, part_key, part_lanes};
use claim::{Kind, PartKind, Verdict};
use maud::{Markup, html};
use model::system::{Boot, BootStage};
use std::collections::BTreeMap;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let claims = |kind| dossier.of_kind(kind).collect::<Vec<&Verdict>>();
    let (boot, restart) = (claims(Kind::Boot), claims(Kind::Restart));
    let kinds: Vec<_> =
        PartKind::ALL.into_iter().filter(|kind| any_has(&boot, *kind) || any_has(&restart, *kind)).collect();
    html! {
        @if !kinds.is_empty() { (part_key(&kinds)) }
        h3 { "Boot" }
        (boot_charts(&boot))
        @if let Some(boot) = dossier.system().and_then(|system| system.boot.as_ref()) { (stages(boot)) }
        @if boot.is_empty() { (note("There is no claim about boot.")) }
        (of_kinds(dossier, &[Kind::Boot]))
        h3 { "Restarts" }
        (restart_charts(&restart))
        @if restart.is_empty() { (note("There is no claim about a restart.")) }
        (of_kinds(dossier, &[Kind::Restart]))
    }
}

fn any_has(verdicts: &[&Verdict], kind: PartKind) -> bool {
    verdicts.iter().any(|verdict| verdict.parts.iter().any(|part| part.kind == kind && part.ns > 0))
}

/// Claims that count from reset begin with the stages of boot; the others count from the first frame.
fn boot_charts(verdicts: &[&Verdict]) -> Markup {
    let from_reset = |verdict: &&Verdict| verdict.parts.first().is_some_and(|part| part.kind == PartKind::Stage);
    let (reset, frame): (Vec<_>, Vec<_>) = verdicts.iter().copied().partition(from_reset);
    html! {
        (boot_chart(&reset, "reset"))
        (boot_chart(&frame, "the first frame"))
    }
}

fn boot_chart(verdicts: &[&Verdict], from: &str) -> Markup {
    let frame = Frame { width: 860, left: 132, heading: None, name: partition, stages: true };
    let drawing = part_lanes(&format!("Boot, counted from {from}"), &frame, verdicts);
    html! {
        @if let Some(drawing) = drawing {
            figure {
                (drawing)
                figcaption { "From " (from) " until each partition is operational. The dashed line in a lane is its need." }
            }
        }
    }
}

fn stages(boot: &Boot) -> Markup {
    if boot.stages.is_empty() {
        return note("No stage of boot is declared.");
    }
    let rows = html! { @for stage in &boot.stages { (stage_row(boot, stage)) } };
    table("Stages of boot as declared", &["Stage", "#Fixed time", "#Loads", "#At", "After"], rows)
}

fn stage_row(boot: &Boot, stage: &BootStage) -> Markup {
    let dash = || "–".to_owned();
    let name = |at: usize| boot.stages.get(at).map_or("?", |before| &before.name.value);
    let after: Vec<_> = stage.after.iter().map(|before| name(before.value)).collect();
    html! {
        tr {
            th scope="row" { (stage.name.value) }
            td class="n" { (stage.time.as_ref().map_or_else(dash, |time| time.value.to_string())) }
            td class="n" { (stage.load.as_ref().map_or_else(dash, |(size, _)| size.value.to_string())) }
            td class="n" { (stage.load.as_ref().map_or_else(dash, |(_, rate)| rate.value.to_string())) }
            td { @if after.is_empty() { "–" } @else { (after.join(", ")) } }
        }
    }
}

/// A small drawing for each partition in each module schedule: its kinds of restart below each other.
fn restart_charts(verdicts: &[&Verdict]) -> Markup {
    let mut groups: BTreeMap<String, Vec<&Verdict>> = BTreeMap::new();
    for verdict in verdicts {
        groups.entry(whose(verdict)).or_default().push(verdict);
    }
    let charts: Vec<_> = groups.into_iter().filter_map(|(whose, verdicts)| restart_chart(whose, &verdicts)).collect();
    html! {
        @if !charts.is_empty() {
            div class="pairs-of-figures" { @for chart in &charts { figure { (chart) } } }
            (note("Each drawing has its own scale. The dashed line in a lane is the longest outage allowed; an arrow points to one \
                   that lies far beyond."))
        }
    }
}

fn restart_chart(whose: String, verdicts: &[&Verdict]) -> Option<Markup> {
    let title = format!("Outages of {whose}");
    part_lanes(&title, &Frame { width: 416, left: 46, heading: Some(whose), name: start, stages: false }, verdicts)
}

/// The partition that boots.
fn partition(verdict: &Verdict) -> &str {
    &verdict.subject
}

/// The partition that restarts, with the module schedule where there are several.
fn whose(verdict: &Verdict) -> String {
    let partition = verdict.subject.rsplit_once('/').map_or(verdict.subject.as_str(), |(partition, _)| partition);
    match verdict.id.strip_prefix("restart/").and_then(|rest| rest.strip_prefix(verdict.subject.as_str())) {
        Some(schedule) if !schedule.is_empty() => format!("{partition} {schedule}"),
        _ => partition.to_owned(),
    }
}

/// The kind of restart.
fn start(verdict: &Verdict) -> &str {
    verdict.subject.rsplit_once('/').map_or("restart", |(_, start)| start)
}
