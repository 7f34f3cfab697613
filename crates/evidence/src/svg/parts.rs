//! Parts of a bound as segments of a bar: each kind has a pattern, a colour and a letter of its own.

use super::{Px, Scale, line, rect, text, text_width};
use crate::stretch::{Stretch, letter, meaning, stretches};
use claim::{Part, PartKind};
use maud::{Markup, html};
use quantity::Duration;

/// A letter stands in a segment at least this wide.
const LETTER: Px = Px::whole(12);
const FONT: i64 = 10;

/// The patterns of all kinds, once on a page and in no drawing's way.
pub(crate) fn part_patterns() -> Markup {
    html! {
        svg class="patterns" width="0" height="0" aria-hidden="true" {
            defs { @for kind in PartKind::ALL { (pattern(kind)) } }
        }
    }
}

fn pattern(kind: PartKind) -> Markup {
    let word = kind.word();
    html! {
        pattern id={ "kind-" (word) } width="6" height="6" patternUnits="userSpaceOnUse" {
            rect class={ "kind-" (word) } width="6" height="6" {}
            @let weave = weave(kind);
            @if !weave.is_empty() { path class="weave" d=(weave) {} }
        }
    }
}

/// The lines of a kind's pattern in a tile of 6 by 6; they meet at its edges.
const fn weave(kind: PartKind) -> &'static str {
    match kind {
        PartKind::Device => "M0 3 H6 M3 0 V6",
        PartKind::Waiting => "M2 3 h1.4",
        PartKind::Blackout => "M-1 1 L1 -1 M0 6 L6 0 M5 7 L7 5",
        PartKind::Delay => "M5 -1 L7 1 M0 0 L6 6 M-1 5 L1 7",
        PartKind::Executing => "",
        PartKind::Port => "M0 1.5 H6 M0 4.5 H6",
        PartKind::Detection => "M3 0 V6",
        PartKind::Action => "M0 0 L6 6 M0 6 L6 0",
        PartKind::Initialisation => "M0 3 H6",
        PartKind::Stage => "M0 3 H3 M3 0 V6",
        PartKind::Alignment => "M0 1 L3 4 L6 1",
        PartKind::Interference => "M1 1 h1.4 M4 4 h1.4",
        PartKind::Blocking => "M1.5 0 V6 M4.5 0 V6",
        PartKind::Switches => "M0 5 L3 2 L6 5",
    }
}

/// What pattern, colour and letter stand for which kind.
pub(crate) fn part_key(kinds: &[PartKind]) -> Markup {
    html! {
        ul class="legend key" {
            @for kind in kinds {
                li {
                    svg width="22" height="14" aria-hidden="true" { (swatch(*kind)) }
                    b { (kind.word()) } " " (meaning(*kind))
                }
            }
        }
    }
}

fn swatch(kind: PartKind) -> Markup {
    let (at, size) = ((Px::whole(1), Px::whole(1)), (Px::whole(20), Px::whole(12)));
    html! {
        (filled(kind, at, size))
        (text("letter middle", (Px::whole(11), Px::whole(11)), letter(kind)))
    }
}

fn filled(kind: PartKind, (x, y): (Px, Px), (width, height): (Px, Px)) -> Markup {
    let fill = format!("url(#kind-{})", kind.word());
    html! { rect class="segment" fill=(fill) x=(x) y=(y) width=(width.max(Px(0))) height=(height) {} }
}

/// Segments from `start_ns` on in a lane from `top`, each with its letter where there is room beside the `lines` that
/// cross the lane.
pub(super) fn segments(parts: &[Part], start_ns: u64, (top, height): (Px, Px), scale: Scale, lines: &[Px]) -> Markup {
    let mut at_ns = start_ns;
    let mut drawn = Vec::new();
    for part in parts.iter().filter(|part| part.ns > 0) {
        let end_ns = at_ns.saturating_add(part.ns);
        drawn.push(segment(part, (scale.at(at_ns), scale.at(end_ns)), (top, height), lines));
        at_ns = end_ns;
    }
    html! { @for segment in drawn { (segment) } }
}

fn segment(part: &Part, (start, end): (Px, Px), (top, height): (Px, Px), lines: &[Px]) -> Markup {
    html! {
        g {
            title { (part.what) ": " (part.kind.word()) " " (Duration::from_ns(part.ns)) }
            (filled(part.kind, (start, top), (end - start, height)))
            @if let Some(x) = letter_at((start, end), lines) {
                (text("letter middle", (x, top + height.half() + Px(35)), letter(part.kind)))
            }
        }
    }
}

/// The middle of the segment, else a place beside the line that crosses it there; none where there is no room.
fn letter_at((start, end): (Px, Px), lines: &[Px]) -> Option<Px> {
    let (half, middle) = (LETTER.half(), start + (end - start).half());
    let clear = |x: &Px| {
        start + half <= *x && *x + half <= end && lines.iter().all(|line| *line <= *x - half || *line >= *x + half)
    };
    let beside = lines.iter().flat_map(|line| [*line - half, *line + half]);
    std::iter::once(middle).chain(beside).find(clear)
}

/// One lane for each stretch, its owner on the left, its length on the right, a thin line from one to the next.
pub(super) fn steps(
    parts: &[Part],
    (top, pitch): (Px, i64),
    (left, right): (Px, Px),
    scale: Scale,
    lines: &[Px],
) -> Markup {
    let height = Px::whole(pitch - 4);
    let drawn = |(stretch, place): (&Stretch<'_>, i64)| {
        let top = top + Px::whole(place * pitch);
        let end = scale.at(stretch.start_ns.saturating_add(stretch.length_ns()));
        html! {
            (text("end", (left - Px::whole(8), top + height.half() + Px(35)), &short(stretch.what, left - Px::whole(12), 11)))
            (segments(stretch.parts, stretch.start_ns, (top, height), scale, lines))
            (line("lead", (end, top), (end, top + Px::whole(pitch))))
            (text("tick end", (right, top + height.half() + Px(35)), &Duration::from_ns(stretch.length_ns()).to_string()))
        }
    };
    html! { @for stretch in timed(parts).iter().zip(0i64..) { (drawn(stretch)) } }
}

/// The stretches that take time.
pub(super) fn timed(parts: &[Part]) -> Vec<Stretch<'_>> {
    stretches(parts).into_iter().filter(|stretch| stretch.length_ns() > 0).collect()
}

/// A name with its middle cut out where it does not fit into a width at a font size: both ends tell names apart.
pub(super) fn short(name: &str, width: Px, font: i64) -> String {
    if text_width(name, font) <= width {
        return name.to_owned();
    }
    let letters: Vec<char> = name.chars().collect();
    let most =
        (1..letters.len()).rev().find(|n| text_width(&name.chars().take(n + 1).collect::<String>(), font) <= width);
    let most = most.unwrap_or(1);
    let (first, last) = (most.div_ceil(2), most / 2);
    letters[..first].iter().chain(&['…']).chain(&letters[letters.len() - last..]).collect()
}

/// The stages of boot by name, in a lane of their own.
pub(super) fn named_segments(parts: &[Part], (top, height): (Px, Px), scale: Scale) -> Markup {
    let mut at_ns = 0u64;
    let mut drawn = Vec::new();
    for part in parts {
        let end_ns = at_ns.saturating_add(part.ns);
        let (start, end) = (scale.at(at_ns), scale.at(end_ns));
        let fits = text_width(&part.what, FONT) + Px::whole(4) <= end - start;
        drawn.push(html! {
            (rect("stage", (start, top), (end - start, height)))
            @if fits { (text("name middle", (start + (end - start).half(), top + height.half() + Px(35)), &part.what)) }
        });
        at_ns = end_ns;
    }
    html! { @for segment in drawn { (segment) } }
}
