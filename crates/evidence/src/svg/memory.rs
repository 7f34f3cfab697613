//! A memory map: a bar to scale, and beside it every range large enough to read.

use super::{Px, Scale, figure, hatched, hatching, line, path, rect, text};
use maud::{Markup, html};
use quantity::{Address, Bytes};

/// A range of the map.
pub(crate) struct Range {
    /// Whose it is; `None` for a gap.
    pub name: Option<String>,
    /// The first address.
    pub base: u64,
    /// The size in bytes.
    pub size: u64,
    /// Whether it begins before the range below it ends.
    pub overlaps: bool,
    /// Its shade, from 0 to 4.
    pub shade: usize,
}

const WIDTH: Px = Px::whole(860);
const TOP: Px = Px::whole(20);
const BAR: (Px, Px) = (Px::whole(20), Px::whole(64));
const BOX: (Px, Px) = (Px::whole(170), Px::whole(730));

/// The ranges by address, lowest on top.
pub(crate) fn memory_map(id: &str, title: &str, ranges: &[Range]) -> Markup {
    let hatch = format!("{id}-hatch");
    let tops = tops(ranges);
    let bottom = tops.last().copied().unwrap_or(TOP);
    let first = ranges.iter().map(|range| range.base).min().unwrap_or(0);
    let last = ranges.iter().map(end).max().unwrap_or(0);
    let scale = Scale::new((first, last), (TOP, bottom));
    let content = html! {
        (hatching(&hatch))
        (text("tick", (BAR.0, Px::whole(12)), "to scale"))
        (text("tick", (BOX.0, Px::whole(12)), "not to scale: heights grow with the logarithm of the size"))
        @for (range, pair) in ranges.iter().zip(tops.windows(2)) {
            (in_bar(range, scale, &hatch))
            (connector(range, scale, pair[0]))
            (in_box(range, (pair[0], pair[1]), &hatch))
        }
        (line("lead", (BAR.1, bottom), (BOX.0, bottom)))
        (text("address", (BOX.1 + Px::whole(10), bottom + Px::whole(4)), &Address::new(last).to_string()))
    };
    figure(
        WIDTH,
        bottom + Px::whole(10),
        title,
        "Ranges by address, the lowest on top; the table below lists them.",
        content,
    )
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

fn class(range: &Range) -> String {
    match (&range.name, range.overlaps) {
        (None, _) => "gap".to_owned(),
        (Some(_), true) => "window overlap".to_owned(),
        (Some(_), false) => format!("window shade{}", range.shade),
    }
}

fn in_bar(range: &Range, scale: Scale, hatch: &str) -> Markup {
    let (top, bottom) = (scale.at(range.base), scale.at(end(range)));
    drawn(range, (BAR.0, top), (BAR.1 - BAR.0, bottom - top), hatch)
}

fn drawn(range: &Range, at: (Px, Px), size: (Px, Px), hatch: &str) -> Markup {
    html! {
        (rect(&class(range), at, size))
        @if range.name.is_none() {
            (hatched(hatch, at, size))
        }
    }
}

/// From the range's place on the bar to the top of its box.
fn connector(range: &Range, scale: Scale, top: Px) -> Markup {
    let start = scale.at(range.base);
    let bend = BAR.1 + Px::whole(14);
    let points = [(BAR.1, start), (bend, start), (BOX.0 - Px::whole(14), top), (BOX.0, top)];
    html! { polyline class="lead" points=(path(points)) {} }
}

fn in_box(range: &Range, (top, bottom): (Px, Px), hatch: &str) -> Markup {
    let name = range.name.as_deref().unwrap_or("free");
    let middle = top + (bottom - top).half() + Px::whole(4);
    let words = if range.overlaps { format!("{name} (overlaps the range before)") } else { name.to_owned() };
    html! {
        (drawn(range, (BOX.0, top), (BOX.1 - BOX.0, bottom - top), hatch))
        @if range.name.is_none() {
            (rect("plate", (BOX.0 + Px::whole(6), middle - Px::whole(11)), (Px::whole(34), Px::whole(14))))
            (rect("plate", (BOX.1 - Px::whole(82), middle - Px::whole(11)), (Px::whole(76), Px::whole(14))))
        }
        (text("name", (BOX.0 + Px::whole(10), middle), &words))
        (text("name end", (BOX.1 - Px::whole(10), middle), &Bytes::new(range.size).to_string()))
        (text("address", (BOX.1 + Px::whole(10), top + Px::whole(4)), &Address::new(range.base).to_string()))
    }
}
