//! Module schedules: each partition once, in one way, with tasks of its own, never idle where it never stops; time
//! that can be given; and every schedule within reach.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::partition::{BUDGET_ABOVE_PERIOD, FRAME_NOT_MULTIPLE, GRANT_AND_POLICY};
use diagnostic::codes::policy::{ACTIVE_ELSEWHERE, NEVER_REACHED, NEVER_STOPS_IDLE, SCHEDULED_TWICE};
use diagnostic::codes::shape::{KEY_ALONE, KEYS_CLASH};
use diagnostic::{Diagnostic, Span};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let partitions: Vec<_> = doc.root.tables("partition").collect();
    for schedule in doc.root.tables("schedule") {
        report_twice(schedule, cx);
        for change in schedule.tables("partition") {
            let index = change.text("name").and_then(|name| doc.names.partitions.get(&name.value));
            let Some((index, partition)) = index.and_then(|index| Some((index, *partitions.get(index)?))) else {
                continue;
            };
            let time = [idle_and_more(change), never_stops(schedule, change, partition), other_way(change, partition)];
            time.into_iter().flatten().for_each(|fault| cx.report(fault));
            length(doc, change, partition).into_iter().for_each(|fault| cx.report(fault));
            report_elsewhere(doc, change, index, cx);
        }
    }
    report_unreached(doc, cx);
}

fn report_twice(schedule: &Fields, cx: &mut Context) {
    let mut first: BTreeMap<String, Span> = BTreeMap::new();
    for partition in schedule.tables("partition").filter_map(|change| change.text("name")) {
        let Some(before) = first.get(&partition.value) else {
            first.insert(partition.value, partition.span);
            continue;
        };
        let message = format!("schedule {} speaks of partition `{}` twice", name(schedule), partition.value);
        let fault = Diagnostic::new(&SCHEDULED_TWICE, partition.span, message).also(*before, "first here");
        cx.report(fault.help("say in one place all that the schedule changes"));
    }
}

fn idle_and_more(change: &Fields) -> Option<Diagnostic> {
    let idle = change.flag("idle").filter(|idle| idle.value)?;
    let key = ["budget", "period", "active_tasks"].into_iter().find(|key| change.has(key))?;
    let place = change.key_span(key)?;
    let message = format!("partition {} is idle here and has a `{key}`", name(change));
    let fault = Diagnostic::new(&KEYS_CLASH, place, message).also(idle.span, "idle here");
    Some(fault.help(format!("leave out `idle`, or `{key}`")))
}

fn never_stops(schedule: &Fields, change: &Fields, partition: &Fields) -> Option<Diagnostic> {
    let idle = change.flag("idle").filter(|idle| idle.value)?;
    let never = partition.flag("never_stops").filter(|never| never.value)?;
    let message = format!("partition {} never stops and is idle in schedule {}", name(change), name(schedule));
    let fault = Diagnostic::new(&NEVER_STOPS_IDLE, idle.span, message).also(never.span, "it never stops");
    Some(fault.help("give it time in every schedule, or leave out `never_stops`"))
}

/// A schedule changes windows; a partition that asks for time in another way has none.
fn other_way(change: &Fields, partition: &Fields) -> Option<Diagnostic> {
    let key = ["budget", "period"].into_iter().find(|key| change.has(key))?;
    if let Some((way, place)) = ["server", "share"].iter().find_map(|way| Some((way, partition.key_span(way)?))) {
        let message = format!("partition {} asks for time by `{way}`, and here by `{key}`", name(change));
        let fault = Diagnostic::new(&GRANT_AND_POLICY, change.key_span(key)?, message).also(place, "the way it asks");
        return Some(fault.help(format!("leave out `{key}`: a schedule changes windows only")));
    }
    let alone = key == "budget" && !change.has("period") && !partition.has("period");
    let message = format!("partition {} has a `budget` here and no `period` anywhere", name(change));
    let fault = || Diagnostic::new(&KEY_ALONE, change.key_span(key).unwrap_or(change.span), message);
    alone.then(|| fault().help("add the period in which the budget is given, such as period = \"20 ms\""))
}

/// Windows that no table of the frame can hold.
fn length(doc: &Document, change: &Fields, partition: &Fields) -> Option<Diagnostic> {
    let own = change.time("period");
    let period = if change.has("period") { own? } else { partition.time("period")? };
    if let Some(budget) = change.time("budget").filter(|budget| budget.value > period.value) {
        let message =
            format!("partition {}: the budget, {}, passes the period, {}", name(change), budget.value, period.value);
        let fault = Diagnostic::new(&BUDGET_ABOVE_PERIOD, budget.span, message).also(period.span, "the period");
        return Some(fault.help(format!("lower the budget to {} or less", period.value)));
    }
    let frame = doc.root.table("system")?.time("frame")?;
    if own.is_none() || frame.ns().is_multiple_of(period.ns()) {
        return None;
    }
    let message = format!(
        "the frame, {}, is no multiple of the period that partition {} has here, {}",
        frame.value,
        name(change),
        period.value
    );
    let fault = Diagnostic::new(&FRAME_NOT_MULTIPLE, period.span, message).also(frame.span, "the frame");
    Some(fault.help("choose a period that divides the frame"))
}

fn report_elsewhere(doc: &Document, change: &Fields, partition: usize, cx: &mut Context) {
    for task in change.texts("active_tasks") {
        let of = doc.names.tasks.get(&task.value).and_then(|index| doc.tasks.get(index));
        if of.is_none_or(|of| of.partition == partition) {
            continue;
        }
        let message = format!("`{}` is active in partition {}, of which it is no task", task.value, name(change));
        let fault = Diagnostic::new(&ACTIVE_ELSEWHERE, task.span, message);
        let place = change.text("name").map(|name| name.span);
        let fault = place.into_iter().fold(fault, |fault, place| fault.also(place, "the partition"));
        cx.report(fault.help("name tasks of this partition; a task of another one is changed there"));
    }
}

/// Schedules to which no way leads from the first one.
fn report_unreached(doc: &Document, cx: &mut Context) {
    let schedules: Vec<_> = doc.root.tables("schedule").collect();
    let (mut reached, mut open) = (BTreeSet::from([0]), vec![0]);
    while let Some(schedule) = open.pop() {
        let Some(fields) = schedules.get(schedule) else { continue };
        let next = fields.texts("may_follow");
        if next.is_empty() {
            return;
        }
        open.extend(
            next.iter().filter_map(|name| doc.names.schedules.get(&name.value)).filter(|next| reached.insert(*next)),
        );
    }
    for (_, schedule) in schedules.iter().enumerate().filter(|(index, _)| !reached.contains(index)) {
        let place = schedule.text("name").map_or(schedule.span, |name| name.span);
        let message = format!("no way leads from schedule {} to schedule {}", name(schedules[0]), name(schedule));
        let fault = Diagnostic::new(&NEVER_REACHED, place, message);
        cx.report(
            fault.help("name it in `may_follow` of one that is reached; the first schedule is current after boot"),
        );
    }
}
