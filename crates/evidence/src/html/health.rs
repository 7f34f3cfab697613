//! The health monitor's tables, and changes between module schedules.

use super::claims::{anchor, of_kinds, status};
use super::names::{note, partition, table};
use crate::dossier::Dossier;
use claim::{Kind, Verdict};
use diagnostic::Located;
use maud::{Markup, html};
use model::System;
use model::system::{Escalation, Health, HealthAction, HealthEntry, HealthError, HealthLevel, ModuleSchedule};
use quantity::PartitionId;

pub(super) fn monitor(dossier: &Dossier) -> Markup {
    let health = dossier.system().and_then(|system| Some((system, system.health.as_ref()?)));
    html! {
        @match health {
            Some((system, health)) => { (entries(system, health)) (escalations(system, health)) }
            None => (note("No health-monitor table is declared.")),
        }
        (of_kinds(dossier, &[Kind::Health]))
    }
}

fn entries(system: &System, health: &Health) -> Markup {
    let row = |entry: &HealthEntry| {
        html! {
            tr {
                th scope="row" { (error_words(entry.error.value)) }
                td { (level_words(entry.level.value)) }
                td { (action_words(entry.action.value)) }
                td { (whom(system, &entry.partitions, "all that no other row names")) }
            }
        }
    };
    html! {
        @if health.entries.is_empty() { (note("The table has no entry.")) } @else {
            (table("Errors, levels and actions", &["Error", "Level", "Action", "Partitions"], html! {
                @for entry in &health.entries { (row(entry)) }
            }))
        }
    }
}

fn escalations(system: &System, health: &Health) -> Markup {
    let row = |escalation: &Escalation| {
        html! {
            tr {
                th scope="row" { (escalation.from.value) }
                td class="n" { (escalation.count.value) }
                td class="n" { (escalation.window.value) }
                td { (action_words(escalation.to.value)) }
                td class="n" { (escalation.safe_within.as_ref().map_or_else(|| "–".to_owned(), |within| within.value.to_string())) }
                td { (whom(system, &escalation.partitions, "all")) }
            }
        }
    };
    html! {
        @if health.escalations.is_empty() { (note("Nothing escalates.")) } @else {
            (table("Escalations", &["Counted", "#Times", "#Within", "Then", "#Safe within", "Partitions"], html! {
                @for escalation in &health.escalations { (row(escalation)) }
            }))
        }
    }
}

fn whom(system: &System, partitions: &[Located<PartitionId>], where_none: &str) -> String {
    if partitions.is_empty() {
        return where_none.to_owned();
    }
    partitions.iter().map(|id| partition(system, id.value)).collect::<Vec<_>>().join(", ")
}

const fn error_words(error: HealthError) -> &'static str {
    match error {
        HealthError::DeadlineMissed => "deadline missed",
        HealthError::ApplicationError => "application error",
        HealthError::NumericError => "numeric error",
        HealthError::IllegalRequest => "illegal request",
        HealthError::StackOverflow => "stack overflow",
        HealthError::MemoryViolation => "memory violation",
        HealthError::HardwareFault => "hardware fault",
        HealthError::PowerFail => "power fail",
    }
}

const fn level_words(level: HealthLevel) -> &'static str {
    match level {
        HealthLevel::Process => "process",
        HealthLevel::Partition => "partition",
        HealthLevel::Module => "module",
    }
}

const fn action_words(action: HealthAction) -> &'static str {
    match action {
        HealthAction::Ignore => "ignore",
        HealthAction::Handler => "handler",
        HealthAction::RestartProcess => "restart process",
        HealthAction::WarmStart => "warm start",
        HealthAction::ColdStart => "cold start",
        HealthAction::Stop => "stop",
        HealthAction::ModuleReset => "module reset",
        HealthAction::ModuleShutdown => "module shutdown",
    }
}

/// Changes of the module schedule: from each row's to each column's.
pub(super) fn changes(dossier: &Dossier) -> Markup {
    let schedules = dossier.system().map(|system| system.schedules.as_slice()).unwrap_or_default();
    html! {
        @if schedules.len() < 2 { (note("There is one module schedule, so nothing changes.")) } @else { (matrix(dossier, schedules)) }
        (of_kinds(dossier, &[Kind::ScheduleChange]))
    }
}

fn matrix(dossier: &Dossier, schedules: &[ModuleSchedule]) -> Markup {
    let titles: Vec<_> = schedules.iter().map(|to| format!("to {}", to.name.value)).collect();
    let head: Vec<&str> = std::iter::once("From").chain(titles.iter().map(String::as_str)).collect();
    let rows = html! {
        @for from in schedules {
            tr {
                th scope="row" { strong { (from.name.value) } @if let Some(title) = &from.title { span class="why" { (title) } } }
                @for to in schedules { td { (change(dossier, from, to)) } }
            }
        }
    };
    table("Changes of the module schedule", &head, rows)
}

fn change(dossier: &Dossier, from: &ModuleSchedule, to: &ModuleSchedule) -> Markup {
    if from.name.value == to.name.value {
        return html! { "–" };
    }
    let pair = format!("{}/{}", from.name.value, to.name.value);
    let about = |verdict: &&Verdict| {
        let rest = verdict.subject.strip_prefix(&pair);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    let about: Vec<_> = dossier.of_kind(Kind::ScheduleChange).filter(about).collect();
    let permitted = from.may_follow.is_empty() || from.may_follow.iter().any(|name| name.value == to.name.value);
    html! {
        @for verdict in &about {
            div {
                a href={ "#" (anchor(&verdict.id)) } { (status(verdict.status)) }
                @if let Some(rest) = verdict.subject.strip_prefix(&pair).filter(|rest| !rest.is_empty()) { " " (&rest[1..]) }
                @if let Some(bound) = verdict.bound { ", " (crate::show::amount(bound, verdict.unit)) }
            }
        }
        @if about.is_empty() { @if permitted { "no claim" } @else { "must not follow" } }
    }
}
