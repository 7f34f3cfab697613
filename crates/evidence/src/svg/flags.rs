//! Upright lines across a drawing, each with its name in a row of its own above: limits, bounds, marks.

use super::{Px, Scale, line, text};
use maud::{Markup, html};
use quantity::Duration;

/// The height of a row.
pub(super) const ROW: i64 = 14;

/// A line with its name.
pub(super) struct Flag {
    class: &'static str,
    words: String,
    pub(super) at_ns: u64,
}

/// Those that are there, each as its class, its name and its instant, from right to left: names stand before their lines, so that
/// no line crosses a name below it.
pub(super) fn flags<const N: usize>(all: [(&'static str, &str, Option<u64>); N]) -> Vec<Flag> {
    let flag = |(class, name, at_ns): (&'static str, &str, Option<u64>)| {
        let at_ns = at_ns?;
        Some(Flag { class, words: format!("{name} {}", Duration::from_ns(at_ns)), at_ns })
    };
    let mut flags: Vec<_> = all.into_iter().filter_map(flag).collect();
    flags.sort_by_key(|flag| std::cmp::Reverse(flag.at_ns));
    flags
}

/// Rows from `top` on, lines down to `bottom`; what lies beyond the scale is only pointed at.
pub(super) fn drawn(flags: &[Flag], scale: Scale, (top, bottom): (Px, Px)) -> Markup {
    html! { @for (flag, row) in flags.iter().zip(0i64..) { (drawn_flag(flag, top + Px::whole(row * ROW), scale, bottom)) } }
}

fn drawn_flag(flag: &Flag, top: Px, scale: Scale, bottom: Px) -> Markup {
    let x = scale.at(flag.at_ns);
    html! {
        @if flag.at_ns > scale.to {
            path class="arrow" d={ "M" (x + Px::whole(2)) " " (top + Px::whole(4)) " l6 4 -6 4 z" } {}
        } @else {
            (line(flag.class, (x, top + Px::whole(2)), (x, bottom)))
        }
        (text("tick end", (x - Px::whole(4), top + Px::whole(11)), &flag.words))
    }
}
