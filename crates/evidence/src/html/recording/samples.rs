//! Measured times as samples: a table of all, and the shapes of those nearest to their limits.

use crate::html::names::{note, table};
use crate::recording::{Measured, level_words, nearness_words, sentences};
use crate::show::amount_or;
use crate::svg::{exceedance, histogram};
use claim::Unit;
use maud::{Markup, html};
use quantity::Duration;
use std::cmp::Reverse;

/// So many samples are drawn.
const MOST_DRAWN: usize = 10;
/// The shape of fewer values than this says nothing.
const FEWEST_DRAWN: u64 = 5;

pub(super) fn measured(list: &[Measured]) -> Markup {
    if list.is_empty() {
        return html! {};
    }
    html! {
        h3 { "Measured times as samples, from before any fault; none of them is a worst-case time" }
        (rows(list))
        @for said in sentences::not_fitted(list) { (note(&said)) }
        (note(sentences::SAMPLES))
        (drawn(list))
    }
}

fn rows(list: &[Measured]) -> Markup {
    let test = |passed: Option<bool>| match passed {
        Some(true) => "not denied",
        Some(false) => "denied",
        None => "not tested",
    };
    let rows = html! {
        @for one in list {
            tr {
                th scope="row" class="keep" { (one.name) }
                td class="n" { (one.values) }
                td class="n" { (Duration::from_ns(one.high_water_ns)) }
                td class="n" {
                    (amount_or(one.claimed_ns, Unit::Nanoseconds, "–"))
                    @if let Some(limit) = one.claimed_ns { span class="why" { (nearness_words(one.high_water_ns, limit)) } }
                }
                td class="n" { (one.tolerance_words()) }
                td class="keep" { (test(one.is_independent)) ", " (test(one.is_stationary)) }
                td { @if let Some(level) = one.rare_ns { (level_words(level)) } @else { "–" } }
            }
        }
    };
    let head = [
        "Of whom",
        "#Values",
        "#High-water mark",
        "#Limit",
        "#99 % stay below",
        "Independent, stationary",
        "One in a million passes",
    ];
    table("", &head, rows)
}

/// Those that use most of their limit first, then those without one.
fn worth_drawing(list: &[Measured]) -> Vec<&Measured> {
    let mut worth: Vec<&Measured> = list.iter().filter(|one| one.values >= FEWEST_DRAWN).collect();
    worth.sort_by_key(|one| {
        let limit = one.claimed_ns.filter(|limit| *limit > 0);
        Reverse(limit.map(|limit| u128::from(one.high_water_ns) * 1_000_000 / u128::from(limit)))
    });
    worth.truncate(MOST_DRAWN);
    worth
}

fn drawn(list: &[Measured]) -> Markup {
    let worth = worth_drawing(list);
    let others = list.len() - worth.len();
    html! {
        @if !worth.is_empty() {
            p {
                "Those nearest to their limits. On the left how often each time was measured; on the right how rarely it was \
                 reached: a point is the share of all values that are no less, the line the fit of the largest, the stroke at \
                 one in a million the interval of that fit."
            }
        }
        @for one in &worth {
            h4 { (one.name) ": " (one.values) " values" }
            div class="pairs-of-figures" { figure { (histogram(one)) } figure { (exceedance(one)) } }
        }
        @if others > 0 && !worth.is_empty() { (note(&format!("{others} more are not drawn."))) }
    }
}
