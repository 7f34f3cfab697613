//! A memory map: a bar to scale, and beside it every range large enough to read.

use super::{Px, Scale, figure, hatched, hatching, line, path, rect, text, text_width};
use maud::{Markup, html};
use quantity::{Address, Bytes};

/// A range of the map.
pub(crate) struct Range {
    /// What it is.
    pub what: What,
    /// The first address.
    pub base: u64,
    /// The size in bytes.
    pub size: u64,
}

/// What a range of the map is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum What {
    /// Nobody's.
    Free,
    /// Kept free by the guards of these.
    Guard(String),
    /// Reserved by these nodes of the devicetree, and nobody's in the plan.
    Reserved(String),
    /// Somebody's.
    Placed(Owned),
}

/// Somebody's range.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Owned {
    /// Whose it is.
    pub name: String,
    /// Whether it begins before the range below it ends.
    pub overlaps: bool,
    /// Its shade, from 0 to 4.
    pub shade: usize,
    /// Whether the devicetree reserves it, in whole or in part.
    pub is_reserved: bool,
    /// The colours and banks of its pages, cache by cache and then of the memory.
    pub colours: Vec<Strip>,
}

/// Which of the colours of a cache, or of the banks of a memory, somebody has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Strip {
    /// The first and the last colour of each run.
    pub runs: Vec<(u32, u32)>,
    /// How many there are in all.
    pub number: u64,
    /// The same in words.
    pub words: String,
}

const WIDTH: Px = Px::whole(860);
const TOP: Px = Px::whole(20);
const BAR: (Px, Px) = (Px::whole(20), Px::whole(64));
const BOX: (Px, Px) = (Px::whole(170), Px::whole(730));
/// The band at the left edge of what is reserved.
const BAND: Px = Px::whole(6);
/// Where the colours of pages are drawn in a box.
const STRIP: (Px, Px) = (Px::whole(560), Px::whole(650));
const FONT: i64 = 10;

/// The ids of the patterns of one map.
struct Patterns {
    free: String,
    guard: String,
    reserved: String,
}

/// The ranges by address, lowest on top.
pub(crate) fn memory_map(id: &str, title: &str, ranges: &[Range]) -> Markup {
    let patterns = patterns(id);
    let tops = tops(ranges);
    let bottom = tops.last().copied().unwrap_or(TOP);
    let first = ranges.iter().map(|range| range.base).min().unwrap_or(0);
    let last = ranges.iter().map(end).max().unwrap_or(0);
    let scale = Scale::new((first, last), (TOP, bottom));
    let content = html! {
        (hatching(&patterns.free))
        (woven(&patterns.guard, "M2 3 h1.6"))
        (woven(&patterns.reserved, "M0 0 L6 6 M0 6 L6 0"))
        (text("tick", (BAR.0, Px::whole(12)), "to scale"))
        (text("tick", (BOX.0, Px::whole(12)), "not to scale: heights grow with the logarithm of the size"))
        @for (range, pair) in ranges.iter().zip(tops.windows(2)) {
            (in_bar(range, scale, &patterns))
            (connector(range, scale, pair[0]))
            (in_box(range, (pair[0], pair[1]), &patterns))
        }
        (line("lead", (BAR.1, bottom), (BOX.0, bottom)))
        (text("address", (BOX.1 + Px::whole(10), bottom + Px::whole(4)), &Address::new(last).to_string()))
    };
    figure(WIDTH, bottom + Px::whole(10), title, &described(ranges), content)
}

fn patterns(id: &str) -> Patterns {
    let of = |what: &str| format!("{id}-{what}");
    Patterns { free: of("hatch"), guard: of("guard"), reserved: of("reserved") }
}

/// A pattern of lines in a tile of 6 by 6.
fn woven(id: &str, lines: &str) -> Markup {
    html! {
        defs {
            pattern id=(id) width="6" height="6" patternUnits="userSpaceOnUse" {
                path class="weave" d=(lines) {}
            }
        }
    }
}

/// The map for those who do not see it.
fn described(ranges: &[Range]) -> String {
    let count = |is: fn(&What) -> bool| ranges.iter().filter(|range| is(&range.what)).count();
    let placed = count(|what| matches!(what, What::Placed(_)));
    let parts = [
        (count(|what| matches!(what, What::Free)), "free"),
        (count(|what| matches!(what, What::Guard(_))), "kept free by guards"),
        (count(|what| matches!(what, What::Reserved(_))), "reserved by the devicetree and nobody's in the plan"),
        (count(|what| matches!(what, What::Placed(of) if of.is_reserved)), "placed where the devicetree reserves"),
        (
            count(|what| matches!(what, What::Placed(of) if !of.colours.is_empty())),
            "of pages of some colours or banks only",
        ),
    ];
    let parts = parts.iter().filter(|(number, _)| *number > 0);
    let parts: String = parts.map(|(number, words)| format!(", {number} {words}")).collect();
    format!("Ranges by address, the lowest on top: {placed} placed{parts}. The tables below list them.")
}

/// The marks of the map with what they mean; only those that these maps have.
pub(crate) fn memory_key(id: &str, maps: &[Vec<Range>]) -> Markup {
    let has = |is: fn(&What) -> bool| maps.iter().flatten().any(|range| is(&range.what));
    let reserved = has(|what| matches!(what, What::Placed(of) if of.is_reserved));
    let coloured = has(|what| matches!(what, What::Placed(of) if !of.colours.is_empty()));
    let patterns = patterns(id);
    let (at, size) = ((Px::whole(1), Px::whole(1)), (Px::whole(20), Px::whole(12)));
    let swatch =
        |drawn: Markup, words: &str| html! { li { svg width="22" height="14" aria-hidden="true" { (drawn) } (words) } };
    html! {
        ul class="legend key" {
            @if has(|what| matches!(what, What::Free)) { (swatch(drawn(&What::Free, at, size, &patterns), "free")) }
            @if has(|what| matches!(what, What::Guard(_))) {
                (swatch(drawn(&What::Guard(String::new()), at, size, &patterns), "kept free by a guard"))
            }
            @if has(|what| matches!(what, What::Reserved(_))) {
                (swatch(drawn(&What::Reserved(String::new()), at, size, &patterns), "reserved by the devicetree, nobody's in the plan"))
            }
            @if reserved { (swatch(band(at, size.1), "band: the devicetree reserves what is placed there")) }
            @if coloured {
                (swatch(strip(&Strip { runs: vec![(1, 2)], number: 4, words: String::new() }, (at.0, at.0 + size.0), (Px::whole(4), Px::whole(6))),
                    "colours or banks of its pages among all"))
            }
        }
    }
}

const fn end(range: &Range) -> u64 {
    range.base.saturating_add(range.size)
}

/// The top of every box, and the bottom of the last.
fn tops(ranges: &[Range]) -> Vec<Px> {
    let mut tops = vec![TOP];
    for range in ranges {
        let doublings = (range.size >> 20).checked_ilog2().unwrap_or(0);
        let top = tops.last().copied().unwrap_or(TOP);
        tops.push(top + Px::whole(18 + 2 * i64::from(doublings)));
    }
    tops
}

fn in_bar(range: &Range, scale: Scale, patterns: &Patterns) -> Markup {
    let (top, bottom) = (scale.at(range.base), scale.at(end(range)));
    html! {
        (drawn(&range.what, (BAR.0, top), (BAR.1 - BAR.0, bottom - top), patterns))
        @if is_banded(&range.what) { (band((BAR.0, top), bottom - top)) }
    }
}

const fn is_banded(what: &What) -> bool {
    matches!(what, What::Placed(owned) if owned.is_reserved)
}

fn drawn(what: &What, at: (Px, Px), size: (Px, Px), patterns: &Patterns) -> Markup {
    let over = |class: &str, pattern: &str| html! { (rect(class, at, size)) (hatched(pattern, at, size)) };
    match what {
        What::Free => over("gap", &patterns.free),
        What::Guard(_) => over("gap", &patterns.guard),
        What::Reserved(_) => over("window reserved", &patterns.reserved),
        What::Placed(Owned { overlaps: true, .. }) => rect("window overlap", at, size),
        What::Placed(owned) => rect(&format!("window shade{}", owned.shade), at, size),
    }
}

/// What marks a placed range that the devicetree reserves.
fn band(at: (Px, Px), height: Px) -> Markup {
    rect("band", at, (BAND, height))
}

/// From the range's place on the bar to the top of its box.
fn connector(range: &Range, scale: Scale, top: Px) -> Markup {
    let start = scale.at(range.base);
    let bend = BAR.1 + Px::whole(14);
    let points = [(BAR.1, start), (bend, start), (BOX.0 - Px::whole(14), top), (BOX.0, top)];
    html! { polyline class="lead" points=(path(points)) {} }
}

fn in_box(range: &Range, (top, bottom): (Px, Px), patterns: &Patterns) -> Markup {
    let middle = top + (bottom - top).half() + Px::whole(4);
    let (words, size) = (words(&range.what), Bytes::new(range.size).to_string());
    let (left, right) = (BOX.0 + Px::whole(10), BOX.1 - Px::whole(10));
    let plate = |at: Px, words: &str| {
        let (edge, height) = (Px::whole(4), Px::whole(14));
        rect("plate", (at - edge, middle - Px::whole(11)), (text_width(words, FONT) + edge + edge, height))
    };
    html! {
        (drawn(&range.what, (BOX.0, top), (BOX.1 - BOX.0, bottom - top), patterns))
        @if is_banded(&range.what) { (band((BOX.0, top), bottom - top)) }
        @match &range.what {
            What::Placed(owned) => (strips(&owned.colours, (top, bottom))),
            _ => { (plate(left, &words)) (plate(right - text_width(&size, FONT), &size)) }
        }
        (text("name", (left, middle), &words))
        (text("name end", (right, middle), &size))
        (text("address", (BOX.1 + Px::whole(10), top + Px::whole(4)), &Address::new(range.base).to_string()))
    }
}

fn words(what: &What) -> String {
    match what {
        What::Free => "free".to_owned(),
        What::Guard(whose) => format!("guard of {whose}"),
        What::Reserved(node) => format!("reserved: {node}"),
        What::Placed(owned) => {
            let overlaps = if owned.overlaps { " (overlaps the range before)" } else { "" };
            let colours: String = owned.colours.iter().map(|strip| format!(", {}", strip.words)).collect();
            format!("{}{overlaps}{colours}", owned.name)
        }
    }
}

/// The colours of each cache, one strip above the other.
fn strips(colours: &[Strip], (top, bottom): (Px, Px)) -> Markup {
    let count = i64::try_from(colours.len()).unwrap_or(i64::MAX).max(1);
    let (first, height) = (top + Px::whole(5), (bottom - top - Px::whole(10)).split(count));
    html! {
        @for (colour, at) in colours.iter().zip(0i64..) {
            (strip(colour, STRIP, (first + height.times(at), height)))
        }
    }
}

fn strip(of: &Strip, (left, right): (Px, Px), (top, height): (Px, Px)) -> Markup {
    let scale = Scale::new((0, of.number), (left, right));
    html! {
        (rect("gap", (left, top), (right - left, height)))
        @for (first, last) in &of.runs {
            @let (from, to) = (scale.at((*first).into()), scale.at(u64::from(*last) + 1));
            (rect("own-colours", (from, top), (to - from, height)))
        }
    }
}
