//! The page colours of a cache, or the banks of a memory: a row for everybody who has some.

use super::{Px, Scale, figure, hatched, hatching, line, rect, text};
use maud::{Markup, html};

const LEFT: Px = Px::whole(110);
const RIGHT: Px = Px::whole(640);
const WIDTH: Px = Px::whole(860);
const TOP: i64 = 18;
const PITCH: i64 = 24;
const HEIGHT: Px = Px::whole(18);
/// Numbers above the rows, at most.
const TICKS: u64 = 16;

/// Runs of colours or banks: the first and the last of each.
pub(crate) type Runs = Vec<(u64, u64)>;

/// What somebody has of the colours of a cache or of the banks of a memory.
pub(crate) struct Row {
    /// Whose they are.
    pub name: String,
    /// Those that its pages have.
    pub held: Runs,
    /// Those that it was given and no page of its own has.
    pub lost: Runs,
    /// The same in words.
    pub words: String,
}

/// One row for each holder; colours that two rows fill stand above each other.
pub(crate) fn colours(id: &str, title: &str, number: u64, rows: &[Row]) -> Markup {
    let hatch = format!("{id}-lost");
    let scale = Scale::new((0, number), (LEFT, RIGHT));
    let bottom = Px::whole(TOP + PITCH * i64::try_from(rows.len()).unwrap_or(0));
    let step = number.div_ceil(TICKS).max(1).checked_next_power_of_two().unwrap_or(number);
    let content = html! {
        @if has_lost(rows) { (hatching(&hatch)) }
        @for (row, place) in rows.iter().zip(0i64..) { (drawn(row, Px::whole(TOP + place * PITCH), scale, &hatch)) }
        @for at in (0..number).step_by(usize::try_from(step).unwrap_or(usize::MAX)) {
            (line("grid", (scale.at(at), Px::whole(TOP - 4)), (scale.at(at), bottom)))
            (text("tick", (scale.at(at) + Px::whole(2), Px::whole(12)), &at.to_string()))
        }
    };
    let described = "A row for each holder, filled where its own pages are; what it has is said at the right.";
    figure(WIDTH, bottom + Px::whole(2), title, described, content)
}

fn drawn(row: &Row, top: Px, scale: Scale, hatch: &str) -> Markup {
    let baseline = top + Px::whole(13);
    html! {
        (text("label end", (LEFT - Px::whole(8), baseline), &row.name))
        (rect("spare", (LEFT, top), (RIGHT - LEFT, HEIGHT)))
        @for run in &row.held {
            @let (at, width) = place(*run, scale);
            (rect("window shade3", (at, top), (width, HEIGHT)))
        }
        @for run in &row.lost {
            @let (at, width) = place(*run, scale);
            (hatched(hatch, (at, top), (width, HEIGHT)))
        }
        (text("name", (RIGHT + Px::whole(10), baseline), &row.words))
    }
}

fn place((first, last): (u64, u64), scale: Scale) -> (Px, Px) {
    let (from, to) = (scale.at(first), scale.at(last.saturating_add(1)));
    (from, to - from)
}

fn has_lost(rows: &[Row]) -> bool {
    rows.iter().any(|row| !row.lost.is_empty())
}

/// The marks of such a drawing with what they mean; only those that it has.
pub(crate) fn colour_key(id: &str, noun: &str, rows: &[Row]) -> Markup {
    let hatch = format!("{id}-lost");
    let (at, size) = ((Px::whole(1), Px::whole(1)), (Px::whole(20), Px::whole(12)));
    let entry =
        |drawn: Markup, words: &str| html! { li { svg width="22" height="14" aria-hidden="true" { (drawn) } (words) } };
    html! {
        ul class="legend key" {
            (entry(rect("window shade3", at, size), &format!("{noun}s of the holder's pages")))
            @if has_lost(rows) {
                (entry(html! { (rect("spare", at, size)) (hatched(&hatch, at, size)) },
                    "given, and no page has them beside what else the holder is given"))
            }
            (entry(rect("spare", at, size), "not the holder's"))
        }
    }
}
