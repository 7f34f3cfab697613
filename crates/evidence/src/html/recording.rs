//! Recordings that were judged: what they cover and break, what they show beside bounds, and what was measured.

mod samples;
mod spans;

use super::names::{breakable, coded, compact_table, note, table};
use crate::dossier::Dossier;
use crate::recording::{
    Beside, CAUTION, Judged, REHEARSAL, alarm_words, beside_words, extent_words, limit_words, sentences, unit_of,
    worst_words,
};
use crate::show::{amount, amount_or, count};
use crate::svg::bar;
use claim::Status;
use maud::{Markup, html};
use quantity::Duration;
use trace::judge::{Extent, Finding, Relation, Rule};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let Some(judged) = dossier.recording() else {
        return note("No recording was given. `report --recording TRACE` takes up what `trace` judges.");
    };
    html! {
        p class="caution" { strong { "Caution." } " " (CAUTION) }
        @if judged.found.is_rehearsal { p class="caution" { strong { "A rehearsal." } " " (REHEARSAL) } }
        h3 { "What the recording covers" }
        (list(&sentences::coverage(&judged)))
        (sources(&judged))
        (not_shown(&judged))
        (not_analysed(&judged))
        @for alarm in judged.found.beside.iter().filter(|beside| beside.is_alarm()) { p class="alert" { (alarm_words(alarm)) } }
        (violated(&judged))
        (kept(&judged))
        (beside(&judged))
        (supply(&judged))
        @if let Some(victims) = &judged.found.victims { (spans::victims(victims)) }
        (samples::measured(&judged.found.measured))
    }
}

fn list(said: &[String]) -> Markup {
    html! { ul { @for sentence in said { li { (sentence) } } } }
}

fn sources(judged: &Judged<'_>) -> Markup {
    html! {
        h3 { "Sources" }
        ul {
            @for (source, below) in (0..judged.found.sources.len()).map(|index| sentences::source(judged, index)) {
                li { (source) @if !below.is_empty() { (list(&below)) } }
            }
        }
        @for refusal in sentences::refusals(judged) { p class="alert" { (refusal) } }
    }
}

fn not_analysed(judged: &Judged<'_>) -> Markup {
    let open = sentences::not_analysed(judged);
    if open.is_empty() {
        return html! {};
    }
    let rows = html! {
        @for (rule, subjects, why) in &open { tr { th scope="row" { (rule) } td { (subjects) } td { (coded(why)) } } }
    };
    html! {
        h3 { "Not analysed: " (count(judged.not_analysed().len(), "rule")) }
        (table("", &["Rule", "Of whom", "Why the recording says nothing of it"], rows))
    }
}

/// What may be broken or not.
fn not_shown(judged: &Judged<'_>) -> Markup {
    let list = judged.not_shown();
    if list.is_empty() {
        return html! {};
    }
    let rows = html! {
        @for (found, why) in &list {
            tr {
                th scope="row" { (breakable(&found.id())) span class="why" { (limit_words(found)) } }
                td { (why) span class="why" { (worst_words(found)) } }
            }
        }
    };
    html! {
        h3 { "Not shown: " (count(list.len(), "rule")) }
        (table("", &["Rule", "Why it is open whether it was kept"], rows))
    }
}

fn violated(judged: &Judged<'_>) -> Markup {
    let list = judged.violated();
    if list.is_empty() {
        return html! {};
    }
    let rows = html! {
        @for found in &list {
            tr {
                th scope="row" { (breakable(&found.id())) span class="why" { (limit_words(found)) } }
                td class="n" { (found.broken) " of " (found.seen) }
                td {
                    @if let Some(first) = &found.first { (Duration::from_ns(first.at_ns)) ": " (first.what) }
                    span class="why" { (worst_words(found)) }
                }
            }
        }
    };
    html! {
        h3 { "Violated: " (count(list.len(), "rule")) }
        (table("", &["Rule", "#How often", "First seen"], rows))
    }
}

/// By rule: how much of it was judged, and whoever came nearest to the limit. Every finding stands in `recording.json`.
fn kept(judged: &Judged<'_>) -> Markup {
    let list = judged.kept();
    let mut rules: Vec<Rule> = list.iter().map(|found| found.rule).collect();
    rules.sort_unstable();
    rules.dedup();
    let of = |rule: Rule| list.iter().copied().filter(move |found| found.rule == rule);
    let rows = html! {
        @for rule in rules {
            tr {
                th scope="row" { (rule.word()) }
                td class="n" { (of(rule).count()) }
                td class="n" { (of(rule).map(|found| found.seen).sum::<u64>()) }
                td class="n" { (of(rule).map(|found| found.in_gaps).sum::<u64>()) }
                td { (nearest_words(of(rule))) }
            }
        }
    };
    let head = ["Rule", "#Of so many", "#Times", "#In gaps", "Nearest to its limit"];
    html! {
        h3 { "Kept in this recording: " (count(list.len(), "rule")) }
        @if !list.is_empty() { (compact_table("", &head, rows)) (note("`recording.json` lists each.")) }
    }
}

fn nearest_words<'a>(list: impl Iterator<Item = &'a Finding>) -> String {
    let share = |found: &&Finding| match (found.worst, found.limit, found.rule.relation()) {
        (Some(worst), Some(limit), Relation::AtMost) => u128::from(worst) * 1_000_000 / u128::from(limit.max(1)),
        (Some(worst), Some(limit), Relation::AtLeast) => u128::from(limit) * 1_000_000 / u128::from(worst.max(1)),
        _ => 0,
    };
    // Of several that are as near, the first.
    let nearest = list.fold(None, |nearest: Option<&Finding>, found| match nearest {
        Some(nearest) if share(&nearest) >= share(&found) => Some(nearest),
        _ => Some(found),
    });
    let words = |found: &Finding| match (found.worst, found.limit) {
        (Some(worst), Some(limit)) => {
            format!("{}: {} of {}", found.subject, amount(worst, unit_of(found)), amount(limit, unit_of(found)))
        }
        _ => "–".to_owned(),
    };
    nearest.map(words).unwrap_or_default()
}

/// What each partition was given: figures without a limit.
fn supply(judged: &Judged<'_>) -> Markup {
    let list = judged.supply();
    let together = |extent: Extent| Duration::from_ns(extent.total_ns);
    let rows = html! {
        @for (name, supply) in &list {
            tr {
                th scope="row" { (name) }
                td class="n" { (supply.windows.times) }
                td class="n" { (extent_words(supply.windows)) }
                td class="n" { (together(supply.windows)) }
                td class="n" { (together(supply.executed)) }
                td class="n" { (supply.switches.times) }
                td class="n" { (extent_words(supply.switches)) }
            }
        }
    };
    let head = ["Partition", "#Windows", "#Of", "#Together", "#Executed", "#Switches", "#Of"];
    html! {
        @if !list.is_empty() {
            h3 { "What partitions were given" }
            (table("", &head, rows))
            (note(sentences::SUPPLY))
        }
    }
}

fn beside(judged: &Judged<'_>) -> Markup {
    if judged.found.beside.is_empty() {
        return html! {};
    }
    let rows = html! {
        @for one in &judged.found.beside {
            tr {
                th scope="row" { (breakable(&one.claim)) }
                td class="n" { (one.count) }
                td class="n" { (amount(one.seen, one.unit)) }
                td class="n" { (amount_or(one.bound, one.unit, "none")) }
                td { (share(one)) }
                td { (beside_words(one)) }
            }
        }
    };
    html! {
        h3 { "Most seen, beside the bound of analysis" }
        (table("", &["Claim", "#Times", "#Most seen", "#Bound", "Of the bound", ""], rows))
    }
}

/// How much of its bound was seen.
fn share(one: &Beside) -> Markup {
    let Some(bound) = one.bound.filter(|bound| *bound > 0) else { return html! {} };
    let permille = u64::try_from(u128::from(one.seen) * 1000 / u128::from(bound)).unwrap_or(u64::MAX);
    bar(permille, if one.is_alarm() { Status::Violated } else { Status::Shown }, "bound")
}
