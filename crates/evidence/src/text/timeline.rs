//! The timeline of a witness in characters.

use super::layout::{Page, columns};
use claim::{Segment, Witness};
use quantity::Duration;

/// The cells of a row: where the lane has the whole of a cell, a part of it, or nothing.
struct Glyphs {
    whole: char,
    part: char,
    none: char,
}

/// One row for every lane, in the order of first appearance, over a time axis.
pub(super) fn draw(page: &mut Page, indent: usize, witness: &Witness) {
    let end = witness.timeline.iter().map(|s| s.end_ns).chain(witness.completes_ns).max().unwrap_or(0);
    let lanes = lanes(&witness.timeline);
    let label = lanes.iter().map(|lane| columns(lane)).max().unwrap_or(0).min(28);
    if end == 0 || lanes.is_empty() {
        return;
    }
    let width = page.style.width - indent - label - 2;
    for lane in &lanes {
        let mine: Vec<_> = witness.timeline.iter().filter(|s| s.what == *lane).collect();
        let cells = cells(&mine, width, end, page.style.unicode);
        let short: String = lane.chars().take(label).collect();
        page.line(&format!("{}{short:<label$}  {cells}", " ".repeat(indent)));
    }
    page.line(&format!("{}{}", " ".repeat(indent + label + 2), axis(width, (0, end))));
}

/// `width` cells for `[0, end)`, filled where one of the segments is.
pub(super) fn cells(segments: &[&Segment], width: usize, end: u64, unicode: bool) -> String {
    let glyphs = glyphs(unicode);
    (0..width).map(|cell| glyph(segments, span(cell, width, end), &glyphs)).collect()
}

fn glyphs(unicode: bool) -> Glyphs {
    if unicode { Glyphs { whole: '█', part: '▒', none: '·' } } else { Glyphs { whole: '#', part: '+', none: '.' } }
}

/// What appears in the timeline, each once.
fn lanes(timeline: &[Segment]) -> Vec<&str> {
    let mut lanes: Vec<&str> = Vec::new();
    for segment in timeline {
        if !lanes.contains(&segment.what.as_str()) {
            lanes.push(&segment.what);
        }
    }
    lanes
}

/// The time that a cell stands for: together the cells cover `[0, end)` without gap.
fn span(cell: usize, width: usize, end: u64) -> (u64, u64) {
    let at = |cell: usize| (u128::from(end) * cell as u128 / width as u128) as u64;
    (at(cell), at(cell + 1))
}

fn glyph(segments: &[&Segment], (start, end): (u64, u64), glyphs: &Glyphs) -> char {
    let overlap = |s: &&Segment| s.end_ns.min(end).saturating_sub(s.start_ns.max(start));
    let covered: u64 = segments.iter().map(overlap).fold(0, u64::saturating_add);
    let touched = segments.iter().any(|s| s.start_ns <= start && start < s.end_ns);
    match covered {
        0 if end == start && touched => glyphs.part,
        0 => glyphs.none,
        covered if covered == end - start => glyphs.whole,
        _ => glyphs.part,
    }
}

/// The first and the last instant, and the middle where there is room and it is a whole nanosecond.
pub(super) fn axis(width: usize, (from, to): (u64, u64)) -> String {
    let span = to.saturating_sub(from);
    let [first, middle, last] = [from, from + span / 2, to].map(|ns| Duration::from_ns(ns).to_string());
    let room = width.saturating_sub(columns(&first) + columns(&last));
    let before = (width / 2).saturating_sub(columns(&first));
    let after = room.saturating_sub(before + columns(&middle));
    if room < columns(&middle) + 8 || !span.is_multiple_of(2) {
        return format!("{first}{}{last}", " ".repeat(room.max(1)));
    }
    format!("{first}{}{middle}{}{last}", " ".repeat(before), " ".repeat(after))
}
