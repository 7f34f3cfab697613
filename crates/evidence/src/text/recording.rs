//! A recording that was judged, for people at a terminal: what it covers first, then what it breaks.

use super::layout::{Align, Page};
use crate::recording::{
    CAUTION, Judged, alarm_words, beside_words, extent_words, limit_words, sentences, unit_of, worst_words,
};
use crate::show::{amount, count};
use quantity::Duration;
use trace::judge::Extent;

/// Everything, with what is kept only where `all` is asked for.
pub(super) fn draw(page: &mut Page, judged: &Judged<'_>, all: bool) {
    page.heading("What the recording covers");
    sentences::coverage(judged).iter().for_each(|said| page.paragraph(2, said));
    sources(page, judged);
    judged.found.beside.iter().filter(|beside| beside.is_alarm()).for_each(|alarm| page.heading(&alarm_words(alarm)));
    violated(page, judged);
    not_shown(page, judged);
    not_analysed(page, judged, all);
    kept(page, judged, all);
    beside(page, judged);
    if all {
        supply(page, judged);
    }
    if let Some(victims) = &judged.found.victims {
        super::spans::victims(page, victims);
    }
    super::spans::measured(page, &judged.found.measured);
    page.hanging(0, 2, &format!("Caution: {CAUTION}"));
}

fn sources(page: &mut Page, judged: &Judged<'_>) {
    page.heading("Sources");
    for index in 0..judged.found.sources.len() {
        let (source, below) = sentences::source(judged, index);
        page.paragraph(2, &source);
        below.iter().for_each(|said| page.paragraph(4, said));
    }
    sentences::refusals(judged).iter().for_each(|said| page.paragraph(2, said));
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

/// What may be broken or not: each with why that is open.
fn not_shown(page: &mut Page, judged: &Judged<'_>) {
    let list = judged.not_shown();
    if list.is_empty() {
        return;
    }
    page.heading(&format!("Not shown: {}", count(list.len(), "rule")));
    for (found, why) in list {
        page.entry(2, &format!("{}  {}", found.id(), limit_words(found)));
        page.paragraph(4, &format!("{why}; {}", worst_words(found)));
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
    for (rule, subjects, why) in sentences::not_analysed(judged) {
        page.paragraph(2, &format!("{rule} of {subjects}: {why}"));
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

/// What each partition was given: figures without a limit.
fn supply(page: &mut Page, judged: &Judged<'_>) {
    let list = judged.supply();
    if list.is_empty() {
        return;
    }
    page.heading("What partitions were given");
    let head = ["partition", "windows", "of", "together", "executed", "switches", "of"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    rows.extend(list.into_iter().map(|(name, supply)| {
        let together = |extent: Extent| Duration::from_ns(extent.total_ns).to_string();
        vec![
            name.to_owned(),
            supply.windows.times.to_string(),
            extent_words(supply.windows),
            together(supply.windows),
            together(supply.executed),
            supply.switches.times.to_string(),
            extent_words(supply.switches),
        ]
    }));
    let right = Align::Right;
    page.table(2, &[Align::Left, right, right, right, right, right, right], &rows);
    page.paragraph(2, sentences::SUPPLY);
}

fn beside(page: &mut Page, judged: &Judged<'_>) {
    if judged.found.beside.is_empty() {
        return;
    }
    page.heading("Most seen, beside the bound of analysis");
    let mut rows = vec![["claim", "times", "most seen", "bound", ""].map(str::to_owned).to_vec()];
    rows.extend(judged.found.beside.iter().map(|one| {
        let bound = one.bound.map_or_else(|| "none".to_owned(), |bound| amount(bound, one.unit));
        vec![one.claim.clone(), one.count.to_string(), amount(one.seen, one.unit), bound, beside_words(one).to_owned()]
    }));
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right, Align::Left], &rows);
}
