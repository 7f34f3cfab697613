//! Window tables to scale.

use super::axis::time_axis;
use super::{Px, Scale, figure, hatched, hatching, line, rect, text, text_width, tip};
use maud::{Markup, html};

/// One core.
pub(crate) struct Lane {
    /// Its name.
    pub name: String,
    /// A second line below the name.
    pub note: String,
    /// Its windows by start; a window joined across the frame's end comes in two pieces.
    pub pieces: Vec<Piece>,
    /// The distance of the marks below the lane, in nanoseconds; 0 for none.
    pub period_ns: u64,
}

/// A window, or the part of it that lies in the frame.
pub(crate) struct Piece {
    /// The partition.
    pub name: String,
    /// Its shade, from 0 to 4.
    pub shade: usize,
    /// Its start and end in nanoseconds.
    pub span: (u64, u64),
    /// The head that the window begins with, in nanoseconds; 0 where it begins elsewhere or is not known.
    pub head_ns: u64,
}

pub(super) const WIDTH: Px = Px::whole(860);
pub(super) const LEFT: Px = Px::whole(84);
pub(super) const RIGHT: Px = Px::whole(838);
const FIRST: Px = Px::whole(16);
pub(super) const LANE: Px = Px::whole(34);
const PITCH: i64 = 60;
const FONT: i64 = 10;
/// More marks than this below a lane would be a smear.
const MOST_MARKS: u64 = 200;
/// A head is drawn at least this wide.
const HEAD: Px = Px::whole(2);

/// Lanes over one time axis for the times `[from, to)` of the frame.
pub(crate) fn gantt(id: &str, title: &str, lanes: &[Lane], (from, to): (u64, u64)) -> Markup {
    let scale = Scale::new((from, to), (LEFT, RIGHT));
    let count = i64::try_from(lanes.len()).unwrap_or(0);
    let bottom = FIRST + Px::whole(count * PITCH - 16);
    let hatch = format!("{id}-hatch");
    let content = html! {
        (hatching(&hatch))
        (time_axis((from, to), scale, (Px::whole(0), bottom), 11))
        @for (lane, place) in lanes.iter().zip(0i64..) {
            (drawn_lane(lane, FIRST + Px::whole(place * PITCH), scale, (from, to), &hatch))
        }
    };
    figure(WIDTH, bottom + Px::whole(22), title, &description(lanes), content)
}

fn description(lanes: &[Lane]) -> String {
    let lane = |lane: &Lane| format!("{}: {}", lane.name, crate::show::count(lane.pieces.len(), "window"));
    format!(
        "One lane for each core. {}. The table below lists every window.",
        lanes.iter().map(lane).collect::<Vec<_>>().join("; ")
    )
}

fn drawn_lane(lane: &Lane, top: Px, scale: Scale, range: (u64, u64), hatch: &str) -> Markup {
    html! {
        (named_windows(lane, top, scale, range, hatch))
        @for at in marks(lane.period_ns, range) {
            (line("period", (scale.at(at), top + LANE), (scale.at(at), top + LANE + Px::whole(4))))
        }
    }
}

/// The name of a core, and its windows with theirs.
pub(super) fn named_windows(lane: &Lane, top: Px, scale: Scale, (from, to): (u64, u64), hatch: &str) -> Markup {
    let visible = || lane.pieces.iter().filter(|piece| piece.span.0 < to && piece.span.1 > from);
    html! {
        (text("label end", (LEFT - Px::whole(8), top + Px::whole(16)), &lane.name))
        (text("tick end", (LEFT - Px::whole(8), top + Px::whole(30)), &lane.note))
        (rect("spare", (LEFT, top), (RIGHT - LEFT, LANE)))
        @for piece in visible() { (window(piece, top, scale, hatch)) }
        @for (x, name) in labels_above(visible(), scale) {
            (text("tick middle", (x, top - Px::whole(3)), name))
        }
    }
}

/// The multiples of a period in a range; none where they are too many to tell apart.
fn marks(period: u64, (from, to): (u64, u64)) -> Vec<u64> {
    let count = (to - from).checked_div(period).unwrap_or(u64::MAX);
    if count > MOST_MARKS {
        return Vec::new();
    }
    (0..=count)
        .filter_map(|n| from.div_ceil(period).checked_add(n)?.checked_mul(period))
        .take_while(|at| *at < to)
        .collect()
}

fn window(piece: &Piece, top: Px, scale: Scale, hatch: &str) -> Markup {
    let (start, end) = (scale.at(piece.span.0), scale.at(piece.span.1));
    let (width, middle) = (end - start, start + (end - start).half());
    let head = scale.at(piece.span.0.saturating_add(piece.head_ns)) - start;
    html! {
        g {
            (tip(&piece.name, piece.span))
            (rect(&format!("window shade{}", piece.shade), (start, top), (width, LANE)))
            @if piece.head_ns > 0 {
                (hatched(hatch, (start, top), (head.max(HEAD).min(width), LANE)))
            }
            @match placed(piece, width) {
                Label::Along => (text("name middle", (middle, top + Px::whole(21)), &piece.name)),
                Label::Upright => {
                    @let place = format!("translate({} {}) rotate(-90)", middle + Px(35), top + LANE.half());
                    text class="name middle" transform=(place) { (piece.name) }
                }
                Label::Above => {}
            }
        }
    }
}

/// Where the name of a window stands.
#[derive(PartialEq, Eq)]
enum Label {
    Along,
    Upright,
    Above,
}

/// Along the window where it fits, else upright, else above the lane.
fn placed(piece: &Piece, width: Px) -> Label {
    let length = text_width(&piece.name, FONT);
    if length + Px::whole(6) <= width {
        Label::Along
    } else if width >= Px::whole(FONT + 1) && length <= LANE {
        Label::Upright
    } else {
        Label::Above
    }
}

/// The names that fit no window, each once, at its first window, moved to the right where the last one is in the way.
fn labels_above<'p>(pieces: impl Iterator<Item = &'p Piece>, scale: Scale) -> Vec<(Px, &'p str)> {
    let mut labels: Vec<(Px, &str)> = Vec::new();
    let mut free = LEFT;
    for piece in pieces {
        let (start, end) = (scale.at(piece.span.0), scale.at(piece.span.1));
        let width = text_width(&piece.name, FONT);
        let known = labels.iter().any(|(_, name)| *name == piece.name);
        if known || placed(piece, end - start) != Label::Above {
            continue;
        }
        let left = (start + (end - start).half() - width.half()).max(free);
        if left + width <= RIGHT {
            labels.push((left + width.half(), &piece.name));
            free = left + width + Px::whole(4);
        }
    }
    labels
}
