//! What runs have seen, as tables: the largest values beside the bounds.

use super::layout::{Align, Page};
use crate::run::{CAUTION, Observation, Observed};
use crate::show::count;
use claim::Unit;

/// A row's cells.
type Cells = Vec<String>;

/// The tables of everything seen.
pub(super) fn tables(page: &mut Page, observed: &Observed) {
    tasks(page, observed);
    ports(page, observed);
    chains(page, observed);
    boots(page, observed);
    outcome(page, observed);
}

/// The caution that goes with every run.
pub(super) fn caution(page: &mut Page) {
    page.hanging(0, 2, &format!("Caution: {CAUTION}"));
}

fn tasks(page: &mut Page, observed: &Observed) {
    if observed.tasks.is_empty() {
        return;
    }
    page.heading("Tasks");
    let mut rows = vec![head(&["task", "jobs", "largest response", "bound", "deadline", "missed", "dropped", ""])];
    rows.extend(observed.tasks.iter().map(|task| {
        let [seen, bound, limit, flag] = cells(&task.response, Unit::Nanoseconds);
        let (missed, dropped) = (task.missed.to_string(), task.dropped.to_string());
        vec![task.label.clone(), task.jobs.to_string(), seen, bound, limit, missed, dropped, flag]
    }));
    table(page, &rows);
}

fn ports(page: &mut Page, observed: &Observed) {
    if observed.ports.is_empty() {
        return;
    }
    page.heading("Ports");
    let names =
        ["port", "messages", "greatest age", "bound", "refresh", "stale", "lost", "most held", "bound", "depth", ""];
    let mut rows = vec![head(&names)];
    rows.extend(observed.ports.iter().map(|port| {
        let [age, age_bound, refresh, older] = cells(&port.age, Unit::Nanoseconds);
        let [held, held_bound, depth, fuller] = cells(&port.held, Unit::Count);
        let flag = if older.is_empty() { fuller } else { older };
        let (stale, lost) = if port.queues {
            ("–".to_owned(), port.lost.to_string())
        } else {
            (port.stale.to_string(), "–".to_owned())
        };
        let name = format!("{} to {}", port.channel, port.reader);
        vec![name, port.messages.to_string(), age, age_bound, refresh, stale, lost, held, held_bound, depth, flag]
    }));
    table(page, &rows);
}

fn chains(page: &mut Page, observed: &Observed) {
    if observed.chains.is_empty() {
        return;
    }
    page.heading("Chains");
    let mut rows =
        vec![head(&["chain", "longest reaction", "bound", "need", "greatest data age", "bound", "need", ""])];
    rows.extend(observed.chains.iter().map(|chain| {
        let [reaction, reaction_bound, reaction_need, longer] = cells(&chain.reaction, Unit::Nanoseconds);
        let [age, age_bound, age_need, older] = cells(&chain.age, Unit::Nanoseconds);
        let flag = if longer.is_empty() { older } else { longer };
        vec![chain.name.clone(), reaction, reaction_bound, reaction_need, age, age_bound, age_need, flag]
    }));
    table(page, &rows);
}

fn boots(page: &mut Page, observed: &Observed) {
    if observed.boots.is_empty() {
        return;
    }
    page.heading("Operational, from reset where that is declared");
    let mut rows = vec![head(&["partition", "latest", "bound", "need", ""])];
    rows.extend(observed.boots.iter().map(|(name, boot)| {
        let [seen, bound, need, flag] = cells(boot, Unit::Nanoseconds);
        vec![name.clone(), seen, bound, need, flag]
    }));
    table(page, &rows);
}

/// What was not as it should be, counted.
fn outcome(page: &mut Page, observed: &Observed) {
    page.heading(&format!("In {}: {}", how_many(observed), outcome_words(observed)));
    for above in observed.above_bound() {
        page.paragraph(2, &format!("above its bound: {}", above.claim));
    }
}

/// How many runs, in words.
pub(super) fn how_many(observed: &Observed) -> String {
    count(usize::try_from(observed.runs).unwrap_or(usize::MAX), "run")
}

/// The counts of what was not as it should be, and of what was seen above its bound.
pub(super) fn outcome_words(observed: &Observed) -> String {
    let sum = |counts: &mut dyn Iterator<Item = u64>| counts.fold(0, u64::saturating_add);
    let missed = sum(&mut observed.tasks.iter().map(|task| task.missed));
    let stale = sum(&mut observed.ports.iter().map(|port| port.stale));
    let lost = sum(&mut observed.ports.iter().map(|port| port.lost));
    let above = observed.above_bound().len();
    format!("{missed} deadlines missed, {stale} stale reads, {lost} messages lost, {above} values above a bound")
}

fn head(names: &[&str]) -> Cells {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// What was seen, the bound, the limit, and a word where one is passed.
fn cells(one: &Observation, unit: Unit) -> [String; 4] {
    let word = match one.seen {
        Some(_) if one.is_above() => "above its bound",
        Some(seen) if one.limit.is_some_and(|limit| seen > limit) => "past its limit",
        _ => "",
    };
    let amount = |value| crate::show::amount_or(value, unit, "–");
    [amount(one.seen), amount(one.bound), amount(one.limit), word.to_owned()]
}

fn table(page: &mut Page, rows: &[Cells]) {
    let columns = rows.first().map_or(0, Vec::len);
    let mut aligns = vec![Align::Right; columns];
    for at in [0, columns.saturating_sub(1)] {
        aligns[at] = Align::Left;
    }
    page.table(2, &aligns, rows);
}
