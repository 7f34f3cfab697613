//! Measured times counted in classes, with their high-water mark and their limit.

use super::axis::{ticks, time_axis};
use super::flags::{drawn, flags};
use super::{Px, Scale, figure, line, rect, text};
use crate::recording::{Histogram, Measured};
use maud::{Markup, html};
use quantity::Duration;

pub(super) const WIDTH: Px = Px::whole(410);
pub(super) const HEIGHT: Px = Px::whole(202);
const LEFT: Px = Px::whole(46);
pub(super) const RIGHT: Px = Px::whole(400);
pub(super) const TOP: Px = Px::whole(40);
pub(super) const BOTTOM: Px = Px::whole(176);
/// A limit further above the values than this many times what they span is only pointed at.
const FAR: u64 = 4;

/// The times that are drawn: all values, and the limit where it is near.
pub(super) fn times(measured: &Measured) -> (u64, u64) {
    let Histogram { from_ns, width_ns, counts } = &measured.shape.histogram;
    let end_ns = from_ns.saturating_add(width_ns.saturating_mul(counts.len() as u64));
    let near_ns = end_ns.saturating_add((end_ns - from_ns).saturating_mul(FAR));
    let limit = measured.claimed_ns.filter(|limit| *limit <= near_ns);
    // A tenth of room behind the last of them.
    let last_ns = limit.unwrap_or(0).max(end_ns);
    (*from_ns, last_ns.saturating_add((last_ns - from_ns) / 10).max(from_ns + 1))
}

/// How often each time was measured.
pub(crate) fn histogram(measured: &Measured) -> Markup {
    let range = times(measured);
    let Histogram { from_ns, width_ns, counts } = &measured.shape.histogram;
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let (x, y) = (Scale::new(range, (LEFT, RIGHT)), Scale::new((0, most), (BOTTOM, TOP)));
    let class = |(index, count): (u64, &u64)| {
        let begins = from_ns + index * width_ns;
        let (start, end) = (x.at(begins), x.at(begins.saturating_add(*width_ns)));
        html! {
            g {
                title { (count) " of " (Duration::from_ns(begins)) " and less than " (Duration::from_ns(*width_ns)) " more" }
                (rect("class", (start, y.at(*count)), (end - start, BOTTOM - y.at(*count))))
            }
        }
    };
    let content = html! {
        (time_axis(range, x, (TOP, BOTTOM), 5))
        @for tick in ticks((0, most), 4) {
            (line("grid", (LEFT - Px::whole(4), y.at(tick)), (RIGHT, y.at(tick))))
            (text("tick end", (LEFT - Px::whole(7), y.at(tick) + Px::whole(4)), &tick.to_string()))
        }
        @for bar in (0..).zip(counts).filter(|(_, count)| **count > 0) { (class(bar)) }
        (marks(measured, x))
    };
    let title = format!("How often which {} was measured", measured.name);
    figure(WIDTH, HEIGHT, &title, &description(measured), content)
}

/// The high-water mark and the limit as lines, named above the drawing.
pub(super) fn marks(measured: &Measured, x: Scale) -> Markup {
    let marks =
        [("high-water", "high-water mark", Some(measured.high_water_ns)), ("limit", "limit", measured.claimed_ns)];
    drawn(&flags(marks), x, (TOP - Px::whole(31), BOTTOM))
}

fn description(measured: &Measured) -> String {
    let limit =
        measured.claimed_ns.map_or_else(String::new, |limit| format!("; the limit is {}", Duration::from_ns(limit)));
    format!("{} values; the high-water mark is {}{limit}.", measured.values, Duration::from_ns(measured.high_water_ns))
}
