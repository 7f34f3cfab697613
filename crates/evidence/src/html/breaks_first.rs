//! What breaks first: everything whose growth is known, by how little of it is left.

use super::claims::{link, status};
use super::names::{note, table};
use crate::dossier::Dossier;
use crate::headroom::Headroom;
use crate::show::{amount, signed_percent};
use crate::svg::headroom_bar;
use claim::{Unit, Verdict};
use maud::{Markup, html};

/// As many rows are shown.
const MOST: usize = 20;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let ranked = dossier.what_breaks_first();
    if ranked.is_empty() {
        return note("Not analysed: of nothing is it known how far it may grow.");
    }
    let not_ranked = dossier.not_ranked();
    let shown = &ranked[..ranked.len().min(MOST)];
    let longest = shown.iter().map(|headroom| headroom.ppm).max().unwrap_or(0);
    let rows = html! { @for (headroom, rank) in shown.iter().zip(1..) { (row(headroom, rank, longest)) } };
    html! {
        p {
            "How far each execution time, all execution times of a partition together, or an overhead of the platform may \
             grow before a deadline is missed, everything else as it is. What has the least room stands first."
        }
        (table("", &["#", "What grows", "", "#Now", "#Holds up to", "#Room", "", "Status"], rows))
        @if ranked.len() > MOST { (note(&format!("{} more are in the JSON answer.", ranked.len() - MOST))) }
        @if let Some(words) = not_ranked { p { (words) } }
        (note("Bars are in proportion to the longest of these. The status is that of the claim that a row comes from."))
    }
}

fn row(headroom: &Headroom<'_>, rank: usize, longest: i64) -> Markup {
    let verdict = headroom.verdict;
    let (now, most) = now_and_most(verdict);
    html! {
        tr {
            td class="n" { (rank) }
            th scope="row" { (link(&verdict.id)) }
            td { (headroom.grows.word()) }
            td class="n" { (now) }
            td class="n" { (most) }
            td class="n" { strong { (signed_percent(headroom.ppm)) } }
            td { (headroom_bar(headroom.ppm, longest, verdict.status)) }
            td { (status(verdict.status)) }
        }
    }
}

/// The present value and the largest that holds, in words.
fn now_and_most(verdict: &Verdict) -> (String, String) {
    if let Some(growth) = verdict.growth {
        return (amount(growth.charged_ns, Unit::Nanoseconds), amount(growth.largest_charged_ns, Unit::Nanoseconds));
    }
    let most = crate::show::amount_or(verdict.bound, verdict.unit, "–");
    let now = match (verdict.unit, verdict.limit) {
        (Unit::Ppm, _) | (_, None) => "100 %".to_owned(),
        (unit, Some(limit)) => amount(limit, unit),
    };
    (now, most)
}
