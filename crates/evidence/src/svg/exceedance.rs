//! How rarely which time was reached, on a scale of powers of ten, with what a fit makes of the largest.

use super::axis::time_axis;
use super::histogram::{BOTTOM, HEIGHT, RIGHT, TOP, WIDTH, marks, times};
use super::{Px, Scale, figure, line, path, text};
use crate::recording::Measured;
use maud::{Markup, html};
use quantity::Duration;

const LEFT: Px = Px::whole(82);
/// The powers of ten that are drawn at most.
const MOST_POWERS: u32 = 9;

/// How rarely each time was reached.
pub(crate) fn exceedance(measured: &Measured) -> Markup {
    let shape = &measured.shape;
    let range = range(measured);
    let rarest = shape.fitted.iter().map(|(one_in, _)| *one_in).fold(measured.values, u64::max).max(10);
    let powers = (1..=MOST_POWERS).find(|power| 10u64.pow(*power) >= rarest).unwrap_or(MOST_POWERS);
    let x = Scale::new(range, (LEFT, RIGHT));
    let y = Scale::new((0, micro_log10(10u64.pow(powers))), (TOP, BOTTOM));
    let of_all = micro_log10(measured.values);
    let point = |(level, reach): &(u64, u64)| (x.at(*level), y.at(of_all.saturating_sub(micro_log10(*reach))));
    let fitted = shape.fitted.iter().filter(|(_, level)| *level <= range.1);
    let content = html! {
        (time_axis(range, x, (TOP, BOTTOM), 5))
        @for power in 0..=powers {
            @let at = y.at(micro_log10(10u64.pow(power)));
            (line("grid", (LEFT - Px::whole(4), at), (RIGHT, at)))
            (text("tick end", (LEFT - Px::whole(7), at + Px::whole(4)), &power_words(power)))
        }
        @for (cx, cy) in shape.reached.iter().map(point) { circle class="reached" cx=(cx) cy=(cy) r="1.8" {} }
        polyline class="fitted" points=(path(fitted.map(|(one_in, level)| (x.at(*level), y.at(micro_log10(*one_in)))))) {}
        (interval(measured, x, y))
        (marks(measured, x))
    };
    let title = format!("How rarely which {} was reached", measured.name);
    let description =
        "A point says how many of all values are no less; a line, where there is one, is the fit of the largest.";
    figure(WIDTH, HEIGHT, &title, description, content)
}

/// The times of the histogram, and those of the fit with its interval where they are no further away than twice as far.
fn range(measured: &Measured) -> (u64, u64) {
    let (from, to) = times(measured);
    let far = to.saturating_add(to - from);
    let ends = measured.rare_ns.iter().flat_map(|(level, _, high)| [Some(*level), *high]).flatten();
    (from, ends.filter(|end| *end <= far).fold(to, u64::max))
}

/// Where the level that one in a million passes may lie, as far as the fit can tell.
fn interval(measured: &Measured, x: Scale, y: Scale) -> Markup {
    let Some((level, low, high)) = measured.rare_ns else { return html! {} };
    let at = y.at(micro_log10(1_000_000));
    let (start, end) = (x.at(low.unwrap_or(x.from)), x.at(high.unwrap_or(x.to)));
    let (up, down) = (at - Px::whole(4), at + Px::whole(4));
    html! {
        g {
            title { "one in a million passes " (Duration::from_ns(level)) " by the fit, with its interval" }
            (line("fit-interval", (start, at), (end, at)))
            @if low.is_some() { (line("fit-interval", (start, up), (start, down))) }
            @if high.is_some_and(|high| high <= x.to) { (line("fit-interval", (end, up), (end, down))) }
            @else { path class="arrow-of-fit" d={ "M" (end) " " (up) " l6 4 -6 4 z" } {} }
            @if level <= x.to { circle class="fit-level" cx=(x.at(level)) cy=(at) r="3" {} }
        }
    }
}

fn power_words(power: u32) -> String {
    match power {
        0 => "all".to_owned(),
        power => format!("1 in {}", grouped(10u64.pow(power))),
    }
}

/// A number with its digits in groups of three.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let groups = digits.as_bytes().rchunks(3).rev().map(String::from_utf8_lossy);
    groups.collect::<Vec<_>>().join(",")
}

/// The decimal logarithm in millionths, rounded down, by squaring in whole numbers: the same on every machine. That of 0 is 0.
fn micro_log10(number: u64) -> u64 {
    /// Bits behind the point.
    const BITS: u32 = 30;
    if number == 0 {
        return 0;
    }
    let whole = number.ilog2();
    // What is left lies between one and two, in 62 bits behind the point.
    let mut rest = if whole <= 62 { u128::from(number) << (62 - whole) } else { u128::from(number) >> 1 };
    let mut log2 = u128::from(whole);
    for _ in 0..BITS {
        rest = (rest * rest) >> 62;
        let bit = rest >> 63;
        rest >>= bit;
        log2 = (log2 << 1) | bit;
    }
    /// The decimal logarithm of two in units of 10^-15.
    const LOG10_OF_2: u128 = 301_029_995_663_981;
    // At most 64 * 2^30 * 10^15 / 2^30 / 10^9: far inside 64 bits.
    ((log2 * LOG10_OF_2) >> BITS).div_euclid(1_000_000_000) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_are_those_of_the_tables() {
        // Common logarithms to six places, as any table gives them.
        for (number, log) in [(1, 0), (2, 301_029), (3, 477_121), (7, 845_098), (10, 1_000_000), (1_000_000, 6_000_000)]
        {
            assert!(micro_log10(number).abs_diff(log) <= 1, "{number}: {}", micro_log10(number));
        }
        assert_eq!((micro_log10(0), micro_log10(u64::MAX)), (0, 19_265_919));
        assert!((1..5000u64).all(|n| micro_log10(n) <= micro_log10(n + 1)));
    }
}
