//! Before, during and after a fault, and what measured times say as samples: for people at a terminal.

use super::layout::{Align, Page};
use crate::recording::{Compared, Level, Measured, Victims};
use quantity::Duration;
use statistics::two_samples::{Shift, Within};
use trace::judge::Most;

/// The three spans beside each other, and the largest differences that the data still allow.
pub(super) fn victims(page: &mut Page, victims: &Victims) {
    let to = victims.to_ns.map_or_else(|| "the end".to_owned(), |to| Duration::from_ns(to).to_string());
    let from = Duration::from_ns(victims.from_ns);
    page.heading(&format!("Before, during and after the fault, which lasted from {from} to {to}"));
    if victims.rows.is_empty() {
        page.paragraph(2, "Nothing was measured of anybody else once the fault had begun.");
        return;
    }
    let mut rows = vec![["of whom", "before", "during", "after"].map(str::to_owned).to_vec()];
    rows.extend(victims.rows.iter().map(|row| {
        let most = row.most.map(|most| most.map_or_else(|| "–".to_owned(), most_words));
        [vec![row.name.clone()], most.to_vec()].concat()
    }));
    page.paragraph(2, "The most of each span, and of how many:");
    page.table(2, &[Align::Left, Align::Right, Align::Right, Align::Right], &rows);
    differences(page, victims);
}

fn most_words(most: Most) -> String {
    format!("{} of {}", Duration::from_ns(most.value), most.seen)
}

/// "No difference found" is no evidence: what is told is how large one may be.
fn differences(page: &mut Page, victims: &Victims) {
    let confidence = 100 - 100 / victims.one_in.max(1);
    let asked = victims.tolerance_ns.map_or_else(
        || "no tolerance was given (--shift)".to_owned(),
        |tolerance| format!("held against a tolerance of {}", Duration::from_ns(tolerance)),
    );
    page.paragraph(
        2,
        &format!(
            "The largest shift that the data still allow of the median and of the value that nine in ten stay below, {asked}. All \
             of it at once with {confidence} % confidence, whatever the distribution, as long as values are independent of each \
             other (Bonferroni's correction for {} comparisons):",
            2 * victims.rows.len()
        ),
    );
    let mut rows = vec![["of whom", "span", "median", "nine tenths", ""].map(str::to_owned).to_vec()];
    for row in &victims.rows {
        rows.extend(pairs(row));
    }
    page.table(2, &[Align::Left, Align::Left, Align::Right, Align::Right, Align::Left], &rows);
    needed(page, victims);
}

fn pairs(row: &Compared) -> impl Iterator<Item = Vec<String>> + '_ {
    let spans = ["during", "after"].into_iter().zip(&row.pairs);
    spans.filter(|(_, pair)| pair.comparison.values[1] > 0).map(|(span, pair)| {
        let shifts = &pair.comparison.shifts;
        let cell = |index: usize| shifts.get(index).map(shift_words).unwrap_or_default();
        let word = worst(shifts);
        vec![row.name.clone(), span.to_owned(), cell(0), cell(1), word.to_owned()]
    })
}

fn shift_words(shift: &Shift) -> String {
    match (shift.least, shift.most) {
        (Some(least), Some(most)) => format!("{} to {}", signed(least), signed(most)),
        _ => "any: too few values".to_owned(),
    }
}

fn signed(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "+" };
    format!("{sign}{}", Duration::from_ns(ns.unsigned_abs()))
}

/// The word for all shifts of a pair.
fn worst(shifts: &[Shift]) -> &'static str {
    let has = |within: Within| shifts.iter().any(|shift| shift.within == within);
    match () {
        () if has(Within::Violated) => "violated",
        () if has(Within::NotShown) => "not shown",
        () if has(Within::Shown) => "shown",
        () => "",
    }
}

/// How many values would do, where there are too few.
fn needed(page: &mut Page, victims: &Victims) {
    let shifts = || victims.rows.iter().flat_map(|row| &row.pairs).flat_map(|pair| &pair.comparison.shifts);
    let unbound = shifts().filter(|shift| shift.least.is_none() || shift.most.is_none());
    if let Some(most) = unbound.filter_map(|shift| shift.needed_for_a_bound).max() {
        page.paragraph(2, &format!("Each span needs {most} values of a victim before any shift can be bounded."));
    }
    let not_shown = shifts().filter(|shift| shift.within == Within::NotShown);
    if let Some(most) = not_shown.filter_map(|shift| shift.needed_for_tolerance).max() {
        let text =
            format!("To show the tolerance, about {most} values a span would be needed, if more came as these did.");
        page.paragraph(2, &text);
    }
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
    let mut reasons: Vec<&str> = list.iter().filter_map(|one| one.no_fit.as_deref()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    for why in reasons {
        let of = list.iter().filter(|one| one.no_fit.as_deref() == Some(why)).count();
        page.paragraph(2, &format!("No rare level of {of}: {why}."));
    }
    page.paragraph(
        2,
        "The limit of an execution is the claimed time with two context switches and the declared waits for memory, that of a \
         response the deadline. The 99 % limit holds with 95 % confidence, whatever the distribution, for values independent of each other (Wilks). The \
         rare level is a fit of the largest twentieth by peaks over a threshold with its 95 % interval, and only made where \
         tests of independence and of stationarity do not speak against it. A high-water mark never raises or lowers a claim \
         by itself.",
    );
}

fn row(one: &Measured) -> Vec<String> {
    let claimed = one.claimed_ns.map_or_else(|| "–".to_owned(), |claimed| claim_words(one.high_water_ns, claimed));
    let limit = match (&one.tolerance, one.needed) {
        (Some(limit), _) => Duration::from_ns(limit.value.unsigned_abs()).to_string(),
        (None, Some(needed)) => format!("needs {needed} values"),
        (None, None) => "–".to_owned(),
    };
    let rare = one.rare_ns.map_or_else(|| "–".to_owned(), level_words);
    let high_water = Duration::from_ns(one.high_water_ns).to_string();
    vec![one.name.clone(), one.values.to_string(), high_water, claimed, limit, rare]
}

/// A mark above four fifths of its limit is worth a look.
fn claim_words(seen: u64, claimed: u64) -> String {
    let mark = match () {
        () if seen > claimed => " PASSED",
        () if u128::from(seen) * 5 > u128::from(claimed) * 4 => " near",
        () => "",
    };
    format!("{}{mark}", Duration::from_ns(claimed))
}

fn level_words((value, low, high): Level) -> String {
    let shown = |ns: u64| Duration::from_ns(ns).to_string();
    let end = |end: Option<u64>| end.map_or_else(|| "no bound".to_owned(), shown);
    format!("{} ({} to {})", shown(value), end(low), end(high))
}
