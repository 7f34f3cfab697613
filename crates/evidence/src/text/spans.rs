//! Before, during and after a fault, and what measured times say as samples: for people at a terminal.

use super::layout::{Align, Page};
use crate::recording::{
    Compared, Measured, Spread, Victims, level_words, nearness_words, sentences, shift_words, shifts_word,
};
use quantity::Duration;

/// The three spans beside each other, and the largest differences that the data still allow.
pub(super) fn victims(page: &mut Page, victims: &Victims) {
    page.heading(&sentences::fault(victims));
    if victims.rows.is_empty() {
        page.paragraph(2, "Nothing was measured of anybody else once the fault had begun.");
        return;
    }
    let mut rows = vec![["of whom", "before", "during", "after"].map(str::to_owned).to_vec()];
    rows.extend(victims.rows.iter().map(|row| {
        let most = row.spreads.map(|spread| spread.map_or_else(|| "–".to_owned(), most_words));
        [vec![row.name.clone()], most.to_vec()].concat()
    }));
    page.paragraph(2, "The most of each span, and of how many:");
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right], &rows);
    differences(page, victims);
}

fn most_words(spread: Spread) -> String {
    format!("{} of {}", Duration::from_ns(spread.most), spread.values)
}

fn differences(page: &mut Page, victims: &Victims) {
    page.paragraph(2, &sentences::differences(victims));
    let mut rows = vec![["of whom", "span", "median", "nine tenths", ""].map(str::to_owned).to_vec()];
    for row in &victims.rows {
        rows.extend(pairs(row));
    }
    page.table(2, &[Align::Left, Align::Left, Align::Right, Align::Right, Align::Left], &rows);
    sentences::needed(victims).iter().for_each(|said| page.paragraph(2, said));
}

fn pairs(row: &Compared) -> impl Iterator<Item = Vec<String>> + '_ {
    let spans = ["during", "after"].into_iter().zip(&row.pairs);
    spans.filter(|(_, pair)| pair.comparison.values[1] > 0).map(|(span, pair)| {
        let shifts = &pair.comparison.shifts;
        let cell = |index: usize| shifts.get(index).map(shift_words).unwrap_or_default();
        vec![row.name.clone(), span.to_owned(), cell(0), cell(1), shifts_word(shifts).to_owned()]
    })
}

/// What measured times say as samples.
pub(super) fn measured(page: &mut Page, list: &[Measured]) {
    if list.is_empty() {
        return;
    }
    page.heading("Measured times as samples, from before any fault; none of them is a worst-case time");
    let head = ["of whom", "values", "high-water mark", "limit", "99 % stay below", "one in a million passes"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    rows.extend(list.iter().map(row));
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right, Align::Right, Align::Left], &rows);
    sentences::not_fitted(list).iter().for_each(|said| page.paragraph(2, said));
    page.paragraph(2, sentences::SAMPLES);
}

fn row(one: &Measured) -> Vec<String> {
    let claimed = one.claimed_ns.map_or_else(|| "–".to_owned(), |claimed| limit_with_mark(one.high_water_ns, claimed));
    let high_water = Duration::from_ns(one.high_water_ns).to_string();
    let rare = one.rare_ns.map_or_else(|| "–".to_owned(), level_words);
    vec![one.name.clone(), one.values.to_string(), high_water, claimed, one.tolerance_words(), rare]
}

fn limit_with_mark(seen: u64, claimed: u64) -> String {
    format!("{} {}", Duration::from_ns(claimed), nearness_words(seen, claimed)).trim_end().to_owned()
}
