//! What a chain's bound is made of: one bar, and below it a step for everybody whose time it is.

use super::axis::time_axis;
use super::flags::{ROW, drawn, flags};
use super::parts::{segments, steps, timed};
use super::{Px, Scale, figure, text};
use claim::{Unit, Verdict, sum_of_parts};
use maud::{Markup, html};
use quantity::Duration;

const WIDTH: Px = Px::whole(860);
const LEFT: Px = Px::whole(166);
const RIGHT: Px = Px::whole(776);
/// Where the lengths end.
const LENGTHS: Px = Px::whole(856);
const BAR: i64 = 24;
const PITCH: i64 = 18;
/// A need further away than this many times everything else is only pointed at.
const FAR: u64 = 4;

/// The waterfall of a verdict with parts, its need and its two bounds as lines.
pub(crate) fn waterfall(verdict: &Verdict) -> Option<Markup> {
    let sum_ns = sum_of_parts(&verdict.parts);
    if verdict.unit != Unit::Nanoseconds || sum_ns == 0 {
        return None;
    }
    let flags = flags([
        ("limit", "need", verdict.limit),
        ("mark-generic", "generic bound", verdict.generic),
        ("mark-aware", "table-aware bound", verdict.table_aware),
    ]);
    let near_ns = [verdict.generic, verdict.table_aware].into_iter().flatten().fold(sum_ns, u64::max);
    let near = |at_ns: &u64| *at_ns <= near_ns.saturating_mul(FAR);
    let end_ns = flags.iter().map(|flag| flag.at_ns).filter(near).fold(near_ns, u64::max);
    let scale = Scale::new((0, end_ns), (LEFT, RIGHT));
    let lines: Vec<Px> = flags.iter().filter(|flag| flag.at_ns <= end_ns).map(|flag| scale.at(flag.at_ns)).collect();
    let count = |n: usize| i64::try_from(n).unwrap_or(0);
    let bar = Px::whole(4 + count(flags.len()) * ROW);
    let first = bar + Px::whole(BAR + 8);
    let bottom = first + Px::whole(count(timed(&verdict.parts).len()) * PITCH);
    let content = html! {
        (time_axis((0, end_ns), scale, (bar, bottom), 9))
        (text("label end", (LEFT - Px::whole(8), bar + Px::whole(16)), "in all"))
        (segments(&verdict.parts, 0, (bar, Px::whole(BAR)), scale, &lines))
        (text("tick end", (LENGTHS, bar + Px::whole(16)), &Duration::from_ns(sum_ns).to_string()))
        (steps(&verdict.parts, (first, PITCH), (LEFT, LENGTHS), scale, &lines))
        (drawn(&flags, scale, (Px::whole(0), bottom)))
    };
    let title = format!("What the bound of {} is made of", verdict.id);
    let description = "A bar of all parts in the order of time, and a step for everybody whose time it is; the table below lists them.";
    Some(figure(WIDTH, bottom + Px::whole(22), &title, description, content))
}
