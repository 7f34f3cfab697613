//! Drawings in whole tenths of a pixel: no rounding that differs from machine to machine.
//!
//! Colours come from the style sheet of the page through classes; shapes, hatching and words carry the meaning
//! without them. Every text stays text.

mod axis;
mod bar;
mod colours;
mod exceedance;
mod flags;
mod gantt;
mod headroom;
mod histogram;
mod lanes;
mod mark;
mod memory;
mod parts;
mod run;
mod spreads;
mod steps;
mod timeline;
mod waterfall;
mod ways;

pub(crate) use bar::bar;
pub(crate) use colours::{Row as ColourRow, Runs, colour_key, colours};
pub(crate) use exceedance::exceedance;
pub(crate) use gantt::{Lane, Piece, gantt};
pub(crate) use headroom::headroom_bar;
pub(crate) use histogram::histogram;
pub(crate) use lanes::{Frame, part_lanes};
pub(crate) use mark::mark;
pub(crate) use memory::{Owned, Range, Strip, What, memory_key, memory_map};
pub(crate) use parts::{part_key, part_patterns};
pub(crate) use run::run_lanes;
pub(crate) use spreads::three_spans;
pub(crate) use steps::supply_and_demand;
pub(crate) use timeline::witness_timeline;
pub(crate) use waterfall::waterfall;
pub(crate) use ways::ways;

use maud::{Markup, html};
use quantity::Duration;
use std::fmt;
use std::ops::{Add, Sub};

/// A length or position in tenths of a pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Px(i64);

impl Px {
    /// Whole pixels.
    pub(crate) const fn whole(px: i64) -> Self {
        Self(px * 10)
    }

    /// Half of the length, rounded down.
    pub(crate) const fn half(self) -> Self {
        self.split(2)
    }

    /// One of so many equal parts, rounded down.
    const fn split(self, parts: i64) -> Self {
        Self(self.0 / parts)
    }

    /// So many times the length.
    const fn times(self, number: i64) -> Self {
        Self(self.0.saturating_mul(number))
    }
}

impl Add for Px {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Px {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl fmt::Display for Px {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let (whole, tenth) = (self.0.unsigned_abs() / 10, self.0.unsigned_abs() % 10);
        if tenth == 0 { write!(f, "{sign}{whole}") } else { write!(f, "{sign}{whole}.{tenth}") }
    }
}

/// A map from a range of numbers to a stretch of the drawing.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    from: u64,
    to: u64,
    start: Px,
    end: Px,
}

impl Scale {
    /// Maps `from` to `start` and `to` to `end`; `end` may lie before `start`.
    pub(crate) const fn new((from, to): (u64, u64), (start, end): (Px, Px)) -> Self {
        Self { from, to, start, end }
    }

    /// Where a number lies; numbers outside the range go to its nearer end.
    pub(crate) fn at(self, value: u64) -> Px {
        let span = i128::from(self.to.saturating_sub(self.from)).max(1);
        let part = i128::from(value.clamp(self.from, self.to.max(self.from)) - self.from);
        let length = i128::from(self.end.0 - self.start.0);
        // The quotient is no longer than `length`, which is an i64.
        Px(self.start.0 + i64::try_from(part * length / span).unwrap_or(0))
    }
}

/// About how wide a text runs at a font size in pixels: a sans-serif capital takes two thirds of its size.
pub(crate) fn text_width(text: &str, size: i64) -> Px {
    let count = i64::try_from(text.chars().count()).unwrap_or(i64::MAX / 1000);
    Px(count * size * 66 / 10)
}

/// A drawing with its title and description for those who do not see it.
pub(crate) fn figure(width: Px, height: Px, title: &str, description: &str, content: Markup) -> Markup {
    html! {
        svg class="drawing" viewBox={ "0 0 " (width) " " (height) } width=(width) height=(height) role="img" {
            title { (title) }
            @if !description.is_empty() { desc { (description) } }
            (content)
        }
    }
}

/// A rectangle; negative sizes become none.
fn rect(class: &str, (x, y): (Px, Px), (width, height): (Px, Px)) -> Markup {
    let (width, height) = (width.max(Px(0)), height.max(Px(0)));
    html! { rect class=(class) x=(x) y=(y) width=(width) height=(height) {} }
}

/// A straight line.
fn line(class: &str, (x1, y1): (Px, Px), (x2, y2): (Px, Px)) -> Markup {
    html! { line class=(class) x1=(x1) y1=(y1) x2=(x2) y2=(y2) {} }
}

/// A text; the class decides its anchor.
fn text(class: &str, (x, y): (Px, Px), words: &str) -> Markup {
    html! { text class=(class) x=(x) y=(y) { (words) } }
}

/// What a part of a drawing is, for whoever points at it.
fn tip(what: &str, (from, to): (u64, u64)) -> Markup {
    html! { title { (what) ", " (Duration::from_ns(from)) " to " (Duration::from_ns(to)) } }
}

/// The points of a line through several places.
fn path(points: impl IntoIterator<Item = (Px, Px)>) -> String {
    points.into_iter().map(|(x, y)| format!("{x},{y}")).collect::<Vec<_>>().join(" ")
}

/// A hatched rectangle over whatever is there.
fn hatched(id: &str, (x, y): (Px, Px), (width, height): (Px, Px)) -> Markup {
    html! { rect class="head" fill={ "url(#" (id) ")" } x=(x) y=(y) width=(width) height=(height) {} }
}

/// The hatching that marks time or memory that nobody can use; once in every drawing that needs it.
fn hatching(id: &str) -> Markup {
    html! {
        defs {
            pattern id=(id) width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line class="hatch" x1="0" y1="0" x2="0" y2="4" {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_keeps_its_ends_and_never_leaves_them() {
        let scale = Scale::new((10, 30), (Px::whole(100), Px::whole(0)));
        assert_eq!(scale.at(10), Px::whole(100));
        assert_eq!(scale.at(20), Px::whole(50));
        assert_eq!(scale.at(30), Px::whole(0));
        assert_eq!(scale.at(u64::MAX), Px::whole(0));
        assert_eq!(Scale::new((5, 5), (Px(0), Px(100))).at(7), Px(0));
        assert_eq!(Scale::new((0, u64::MAX), (Px(0), Px(100))).at(u64::MAX), Px(100));
    }

    #[test]
    fn lengths_are_written_with_at_most_one_decimal() {
        assert_eq!(Px(125).to_string(), "12.5");
        assert_eq!(Px(-5).to_string(), "-0.5");
        assert_eq!(Px::whole(7).to_string(), "7");
    }
}
