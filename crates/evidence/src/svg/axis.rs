//! Axes with round numbers.

use super::{Px, Scale, line, text};
use crate::show::round_step;
use maud::{Markup, html};
use quantity::Duration;

/// Round numbers in `[from, to]`, one or two or five times a power of ten apart, at most `most` of them.
pub(super) fn ticks((from, to): (u64, u64), most: u64) -> Vec<u64> {
    let step = round_step(to.saturating_sub(from), most);
    let first = from.div_ceil(step);
    (0..=most).filter_map(|n| first.checked_add(n)?.checked_mul(step)).take_while(|tick| *tick <= to).collect()
}

/// A time axis below a drawing: ticks, their times, and faint lines up to `top`.
pub(super) fn time_axis(range: (u64, u64), scale: Scale, (top, bottom): (Px, Px), most: u64) -> Markup {
    html! {
        @for tick in ticks(range, most) {
            (line("grid", (scale.at(tick), top), (scale.at(tick), bottom + Px::whole(4))))
            (text("tick middle", (scale.at(tick), bottom + Px::whole(16)), &tick_words(tick)))
        }
    }
}

/// A time at a tick; zero needs no unit.
pub(super) fn tick_words(ns: u64) -> String {
    if ns == 0 { "0".to_owned() } else { Duration::from_ns(ns).to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(ticks((0, 100), 11), [0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100]);
        assert_eq!(ticks((0, 36_080_000), 5), [0, 10_000_000, 20_000_000, 30_000_000]);
        assert_eq!(ticks((15, 29), 3), [15, 20, 25]);
        assert_eq!(ticks((0, 0), 4), [0]);
        for span in [1, 7, 99, 12_345, u64::MAX] {
            assert!(ticks((0, span), 6).len() <= 6, "{span}");
        }
    }
}
