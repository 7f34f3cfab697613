//! Chains at the terminal: their largest parts in a line, or every part as a waterfall.

use super::Detail;
use super::layout::{Align, Page};
use super::timeline::cells;
use crate::caution::{CAUTIONS, SYNCHRONISED};
use crate::dossier::Dossier;
use crate::show::{amount_or, count, limit};
use crate::stretch::part_words;
use claim::{Kind, Part, Segment, Verdict, sum_of_parts};
use quantity::Duration;

/// As many parts are named in a line.
const LARGEST: usize = 3;
/// The cells of a waterfall.
const WIDTH: usize = 32;

/// Every chain whose bound is known by its parts.
pub(super) fn waterfalls(page: &mut Page, dossier: &Dossier, detail: Detail) {
    let chains = dossier.of_kind(Kind::Reaction).chain(dossier.of_kind(Kind::DataAge));
    let chains: Vec<_> = chains.filter(|verdict| sum_of_parts(&verdict.parts) > 0).collect();
    if chains.is_empty() {
        return;
    }
    page.heading("What the bounds of chains are made of");
    for verdict in chains {
        page.hanging(2, 4, &numbers(verdict));
        match detail {
            Detail::All => steps(page, verdict),
            _ => page.hanging(4, 6, &largest(&verdict.parts)),
        }
    }
    page.paragraph(2, &format!("Caution {}: {}.", SYNCHRONISED + 1, CAUTIONS[SYNCHRONISED].short));
}

/// Both bounds, the one that decides marked.
fn numbers(verdict: &Verdict) -> String {
    let bound = |name: &str, value: Option<u64>| {
        let decides = if value.is_some() && value == verdict.bound { " (decides)" } else { "" };
        format!("{name} {}{decides}", amount_or(value, verdict.unit, "none"))
    };
    let (generic, aware) = (bound("generic", verdict.generic), bound("table-aware", verdict.table_aware));
    format!("{}: limit {}; {generic}, {aware}", verdict.id, limit(verdict))
}

/// The largest parts, the longest first; equals in the order of time.
fn largest(parts: &[Part]) -> String {
    let mut ranked: Vec<&Part> = parts.iter().filter(|part| part.ns > 0).collect();
    ranked.sort_by_key(|part| std::cmp::Reverse(part.ns));
    let words: Vec<_> = ranked.iter().take(LARGEST).map(|part| format!("{} {}", part.what, part_words(part))).collect();
    let rest = &ranked[ranked.len().min(LARGEST)..];
    if rest.is_empty() {
        return format!("{}.", words.join(", "));
    }
    let rest_ns = rest.iter().fold(0u64, |sum, part| sum.saturating_add(part.ns));
    format!("{}, {} {} in all.", words.join(", "), count(rest.len(), "other part"), Duration::from_ns(rest_ns))
}

/// A row for each part, drawn where its time lies.
fn steps(page: &mut Page, verdict: &Verdict) {
    let whole_ns = sum_of_parts(&verdict.parts);
    let mut at_ns = 0u64;
    let mut rows = Vec::new();
    for part in verdict.parts.iter().filter(|part| part.ns > 0) {
        let end_ns = at_ns.saturating_add(part.ns);
        let segment = Segment { what: part.what.clone(), start_ns: at_ns, end_ns };
        let bar = cells(&[&segment], WIDTH, whole_ns, page.style.unicode);
        let length = Duration::from_ns(part.ns).to_string();
        rows.push(vec![part.what.clone(), part.kind.word().to_owned(), bar, length]);
        at_ns = end_ns;
    }
    page.table(4, &[Align::Left, Align::Left, Align::Left, Align::Right], &rows);
}
