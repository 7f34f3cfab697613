//! What runs have seen, as tables: the largest values beside the bounds.

use super::layout::{Align, Page};
use crate::run::{CAUTION, Observation, Observed, PortSeen};
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

/// Sampling and queuing ports apart: neither has what the other needs, and both together would be too wide for a terminal.
fn ports(page: &mut Page, observed: &Observed) {
    let of = |queues: bool| observed.ports.iter().filter(move |port| port.queues == queues).collect::<Vec<_>>();
    let names = ["port", "messages", "greatest age", "bound", "refresh", "stale", ""];
    port_table(page, "Sampling ports", &names, &of(false), |port| {
        let [age, bound, refresh, flag] = cells(&port.age, Unit::Nanoseconds);
        vec![age, bound, refresh, port.stale.to_string(), flag]
    });
    let names = ["port", "messages", "greatest age", "most held", "bound", "depth", "lost", ""];
    port_table(page, "Queuing ports", &names, &of(true), |port| {
        let [age, ..] = cells(&port.age, Unit::Nanoseconds);
        let [held, bound, depth, flag] = cells(&port.held, Unit::Count);
        vec![age, held, bound, depth, port.lost.to_string(), flag]
    });
}

/// Ports of one kind, each with its name, its messages, and what is `told` of that kind.
fn port_table(page: &mut Page, title: &str, names: &[&str], ports: &[&PortSeen], told: impl Fn(&PortSeen) -> Cells) {
    if ports.is_empty() {
        return;
    }
    page.heading(title);
    let named = |port: &&PortSeen| {
        let first = vec![format!("{} to {}", port.channel, port.reader), port.messages.to_string()];
        [first, told(port)].concat()
    };
    let rows: Vec<Cells> = std::iter::once(head(names)).chain(ports.iter().map(named)).collect();
    table(page, &rows);
}

fn chains(page: &mut Page, observed: &Observed) {
    if observed.chains.is_empty() {
        return;
    }
    page.heading("Chains");
    let mut rows = vec![head(&["chain", "largest seen", "bound", "need", ""])];
    for chain in &observed.chains {
        for (what, one) in [("reaction", &chain.reaction), ("data age", &chain.age)] {
            let [seen, bound, need, flag] = cells(one, Unit::Nanoseconds);
            rows.push(vec![format!("{} {what}", chain.name), seen, bound, need, flag]);
        }
    }
    table(page, &rows);
}

fn boots(page: &mut Page, observed: &Observed) {
    if observed.boots.is_empty() {
        return;
    }
    page.heading("Operational, counted as the need is: from reset, or from the first frame");
    let mut rows = vec![head(&["partition", "latest", "bound", "need", ""])];
    rows.extend(observed.boots.iter().map(|(name, boot)| {
        let [seen, bound, need, flag] = cells(boot, Unit::Nanoseconds);
        vec![name.clone(), seen, bound, need, flag]
    }));
    table(page, &rows);
}

/// What was not as it should be, counted.
fn outcome(page: &mut Page, observed: &Observed) {
    page.line("");
    page.hanging(0, 2, &format!("In {}: {}", how_many(observed), outcome_words(observed)));
    for claim in &observed.above {
        page.paragraph(2, &format!("above its bound: {claim}"));
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
    let count = |number: u64, noun| count(usize::try_from(number).unwrap_or(usize::MAX), noun);
    let (missed, lost) = (count(missed, "deadline"), count(lost, "message"));
    let (stale, above) = (count(stale, "stale read"), count(observed.above.len() as u64, "value"));
    format!("{missed} missed, {stale}, {lost} lost, {above} above a bound")
}

fn head(names: &[&str]) -> Cells {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// What was seen, the bound, the limit, and a word where one is passed.
fn cells(one: &Observation, unit: Unit) -> [String; 4] {
    let word = match one.seen {
        Some(_) if one.is_above => "above its bound",
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
