//! A recording that was judged, for people at a terminal: what it covers first, then what it breaks.

use super::layout::{Align, Page};
use crate::recording::{Beside, CAUTION, Judged, matter_words, place_words};
use crate::show::{amount, count};
use claim::Unit;
use quantity::Duration;
use trace::clock::Fit;
use trace::judge::{Finding, Relation, Rule};

/// So many are listed of what is not mapped, and of what is said in a row.
const MOST_LISTED: usize = 12;

/// Everything, with what is kept only where `all` is asked for.
pub(super) fn draw(page: &mut Page, judged: &Judged<'_>, all: bool) {
    coverage(page, judged);
    intake(page, judged);
    alarms(page, judged);
    violated(page, judged);
    not_analysed(page, judged, all);
    kept(page, judged, all);
    beside(page, judged);
    if let Some(victims) = judged.victims {
        super::spans::victims(page, victims);
    }
    super::spans::measured(page, judged.measured);
    page.hanging(0, 2, &format!("Caution: {CAUTION}"));
}

fn coverage(page: &mut Page, judged: &Judged<'_>) {
    let coverage = &judged.judgement.coverage;
    page.heading("What the recording covers");
    let Some((from, to)) = coverage.span_ns else {
        page.paragraph(2, "Nothing was seen that is of this system.");
        return;
    };
    let span = Duration::from_ns(to - from);
    let gaps = if coverage.gaps == 0 { "no gap".to_owned() } else { counted(coverage.gaps, "gap") };
    page.paragraph(2, &format!("{span}, {} events of this system, {gaps}.", coverage.seen));
    let frame = judged.system.frame.value;
    page.paragraph(
        2,
        &format!("{} of {frame}, from the first window seen to the last.", counted(coverage.frames, "frame")),
    );
    schedules(page, judged);
    let windows: u64 = coverage.windows.iter().map(|(all, _)| all).sum();
    let jobs: u64 = coverage.tasks.iter().map(|task| task.whole).sum();
    let (writes, reads): (u64, u64) = (coverage.writes.iter().sum(), coverage.reads.iter().sum());
    page.paragraph(
        2,
        &format!(
            "{}, {} seen from arrival to completion, {} written and {} read.",
            counted(windows, "window"),
            counted(jobs, "job"),
            counted(writes, "message"),
            counted(reads, "time")
        ),
    );
    let unseen = judged.unseen_tasks();
    if !unseen.is_empty() {
        page.paragraph(2, &format!("No whole job was seen of {}: {}.", count(unseen.len(), "task"), some_of(&unseen)));
    }
}

fn schedules(page: &mut Page, judged: &Judged<'_>) {
    let seen = judged.judgement.coverage.schedules.iter().zip(&judged.system.schedules);
    let (mut in_force, mut never) = (Vec::new(), Vec::new());
    for (times, schedule) in seen {
        let list = if *times > 0 { &mut in_force } else { &mut never };
        list.push(schedule.name.value.clone());
    }
    if !never.is_empty() {
        let text = format!("Module schedules seen: {}. Not seen: {}.", some_of(&in_force), some_of(&never));
        page.paragraph(2, &text);
    }
}

fn intake(page: &mut Page, judged: &Judged<'_>) {
    page.heading("Sources");
    let taking = judged.taking;
    for (index, (name, format)) in judged.sources.iter().enumerate() {
        let events = taking.events.get(index).copied().unwrap_or_default();
        let clock = taking.fits.get(index).map_or_else(String::new, |fit| clock_words(fit, index));
        page.paragraph(2, &format!("{name}: {format}, {}{clock}.", counted(events, "event")));
        let mine = taking.matters.iter().filter(|matter| usize::from(matter.source) == index);
        for found in mine {
            let words = matter_words(found.matter, found.count, taking.names.get(index));
            page.paragraph(4, &format!("{words}; first at {}", place_words(found.first, judged.sources)));
        }
        unmapped(page, judged, index);
    }
    for refusal in &taking.refusals {
        let place = place_words(refusal.place, judged.sources);
        page.paragraph(
            2,
            &format!("not read on from {place}: {}. {}.", refusal.why, crate::show::capital(&refusal.remedy)),
        );
    }
}

fn clock_words(fit: &Fit, index: usize) -> String {
    if index == 0 || fit.pairs == 0 {
        return String::new();
    }
    let (offset, drift, error) = (fit.offset_ns, fit.drift_ppb(), Duration::from_ns(fit.error_ns));
    format!(
        "; its clock reads {offset} ns less than that of the first source, which gains {drift} ppb on it: fitted to {} common \
         marks, off by {error} at most",
        fit.pairs
    )
}

fn unmapped(page: &mut Page, judged: &Judged<'_>, index: usize) {
    let Some(list) = judged.taking.unmapped.get(index).filter(|list| !list.is_empty()) else { return };
    let names: Vec<String> = list.iter().map(|one| format!("{} {} ({})", one.kind, one.name, one.events)).collect();
    page.paragraph(4, &format!("{} not mapped, with their events: {}", names.len(), some_of(&names)));
}

fn alarms(page: &mut Page, judged: &Judged<'_>) {
    for alarm in judged.beside.iter().filter(|beside| beside.is_alarm()) {
        let (seen, bound) =
            (amount(alarm.seen, alarm.unit), alarm.bound.map_or_else(String::new, |b| amount(b, alarm.unit)));
        let text = format!(
            "ALARM: {} was seen at {seen}, above its bound {bound}, at {} of the recording. Either an input of the analysis is \
             wrong, or the analysis is: no verdict that rests on it holds until that is known.",
            alarm.claim,
            Duration::from_ns(alarm.at_ns)
        );
        page.heading(&text);
    }
}

fn violated(page: &mut Page, judged: &Judged<'_>) {
    let list = judged.violated();
    if list.is_empty() {
        return;
    }
    page.heading(&format!("Violated: {}", count(list.len(), "rule")));
    for found in list {
        let Some(first) = &found.first else { continue };
        let often = format!("{} of {} times", found.broken, found.seen);
        page.entry(2, &format!("{}  {}", found.id(), limit_words(found)));
        page.paragraph(4, &format!("first at {}: {}", Duration::from_ns(first.at_ns), first.what));
        page.paragraph(4, &format!("{often}; {}", worst_words(found)));
    }
}

fn not_analysed(page: &mut Page, judged: &Judged<'_>, all: bool) {
    let list = judged.not_analysed();
    if list.is_empty() {
        return;
    }
    page.heading(&format!("Not analysed: {}", count(list.len(), "rule")));
    if all {
        for (found, why) in list {
            let worst = found.worst.map_or_else(String::new, |_| format!(" ({})", worst_words(found)));
            page.paragraph(2, &format!("{}: {why}{worst}", found.id()));
        }
        return;
    }
    let mut reasons: Vec<(Rule, &str, Vec<String>)> = Vec::new();
    for (found, why) in list {
        match reasons.iter_mut().find(|(rule, reason, _)| *rule == found.rule && *reason == why) {
            Some((_, _, subjects)) => subjects.push(found.subject.clone()),
            None => reasons.push((found.rule, why, vec![found.subject.clone()])),
        }
    }
    for (rule, why, subjects) in reasons {
        page.paragraph(2, &format!("{} of {}: {why}", rule.word(), some_of(&subjects)));
    }
}

fn kept(page: &mut Page, judged: &Judged<'_>, all: bool) {
    let list = judged.kept();
    page.heading(&format!("Kept in this recording: {}", count(list.len(), "rule")));
    if !all {
        page.paragraph(2, "--all lists them.");
        return;
    }
    let mut rows = vec![["rule", "times", "in gaps", "most or least", "limit"].map(str::to_owned).to_vec()];
    rows.extend(list.iter().map(|found| {
        let value = |value: Option<u64>| value.map_or_else(|| "–".to_owned(), |value| amount(value, unit_of(found)));
        vec![found.id(), found.seen.to_string(), found.in_gaps.to_string(), value(found.worst), value(found.limit)]
    }));
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right, Align::Right], &rows);
}

fn beside(page: &mut Page, judged: &Judged<'_>) {
    if judged.beside.is_empty() {
        return;
    }
    page.heading("Most seen, beside the bound of analysis");
    let mut rows = vec![["claim", "times", "most seen", "bound", ""].map(str::to_owned).to_vec()];
    rows.extend(judged.beside.iter().map(|one| {
        let bound = one.bound.map_or_else(|| "none".to_owned(), |bound| amount(bound, one.unit));
        vec![one.claim.clone(), one.count.to_string(), amount(one.seen, one.unit), bound, word_of(one).to_owned()]
    }));
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right, Align::Left], &rows);
}

fn word_of(beside: &Beside) -> &'static str {
    match beside.bound {
        Some(bound) if beside.seen > bound && beside.is_claimed => "ABOVE ITS BOUND",
        Some(bound) if beside.seen > bound => "above: the bound does not speak of a fault",
        _ => "",
    }
}

fn unit_of(found: &Finding) -> Unit {
    if found.rule.unit() == "ns" { Unit::Nanoseconds } else { Unit::Count }
}

fn limit_words(found: &Finding) -> String {
    let side = match found.rule.relation() {
        Relation::AtMost => "at most",
        Relation::AtLeast => "at least",
    };
    found.limit.map_or_else(String::new, |limit| format!("{side} {}", amount(limit, unit_of(found))))
}

fn worst_words(found: &Finding) -> String {
    let side = match found.rule.relation() {
        Relation::AtMost => "most",
        Relation::AtLeast => "least",
    };
    match (found.worst, found.worst_at_ns) {
        (Some(worst), Some(at_ns)) => {
            format!("the {side} was {}, at {}", amount(worst, unit_of(found)), Duration::from_ns(at_ns))
        }
        _ => "nothing was measured".to_owned(),
    }
}

fn counted(n: u64, noun: &str) -> String {
    count(usize::try_from(n).unwrap_or(usize::MAX), noun)
}

fn some_of(names: &[String]) -> String {
    let shown = names.iter().take(MOST_LISTED).map(String::as_str).collect::<Vec<_>>().join(", ");
    match names.len().saturating_sub(MOST_LISTED) {
        0 => shown,
        more => format!("{shown}, and {more} more"),
    }
}
