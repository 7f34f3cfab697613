//! The timeline of a witness.

use super::axis::time_axis;
use super::{Px, Scale, figure, line, rect, text, tip};
use claim::{Segment, Unit, Verdict, Witness};
use maud::{Markup, html};
use quantity::Duration;

const WIDTH: Px = Px::whole(860);
const LEFT: Px = Px::whole(132);
const RIGHT: Px = Px::whole(836);
const TOP: Px = Px::whole(20);
const PITCH: i64 = 24;
const LANE: Px = Px::whole(16);

/// One lane for everything that appears in the scenario, its releases, and the limit where it can be placed.
pub(crate) fn witness_timeline(verdict: &Verdict, witness: &Witness) -> Option<Markup> {
    let lanes = lanes(witness);
    let limit = limit_at(verdict, witness);
    let ends = witness.timeline.iter().map(|segment| segment.end_ns);
    let end = ends.chain(witness.completes_ns).chain(limit).max().filter(|end| *end > 0)?;
    let scale = Scale::new((0, end), (LEFT, RIGHT));
    let bottom = TOP + Px::whole(i64::try_from(lanes.len()).unwrap_or(0) * PITCH);
    let content = html! {
        (time_axis((0, end), scale, (TOP, bottom), 9))
        @for (lane, place) in lanes.iter().zip(0i64..) {
            (drawn_lane(lane, witness, TOP + Px::whole(place * PITCH), scale))
        }
        @if let Some(limit) = limit { (flag("limit", "limit", limit, scale, bottom)) }
        @if let Some(completes) = witness.completes_ns { (flag("completes", "completes", completes, scale, bottom)) }
    };
    let title = format!("Timeline of the witness of {}", verdict.id);
    Some(figure(WIDTH, bottom + Px::whole(22), &title, &witness.summary, content))
}

/// What appears in the scenario: first what has the core, in order of appearance, then what is only released.
fn lanes(witness: &Witness) -> Vec<&str> {
    let mut lanes: Vec<&str> = Vec::new();
    let running = witness.timeline.iter().map(|segment| segment.what.as_str());
    for lane in running.chain(witness.releases.iter().map(|release| release.task.as_str())) {
        if !lanes.contains(&lane) {
            lanes.push(lane);
        }
    }
    lanes
}

/// Where the limit falls: after the arrival of the job whose completion makes the bound.
fn limit_at(verdict: &Verdict, witness: &Witness) -> Option<u64> {
    let (bound, limit) = (verdict.bound?, verdict.limit?);
    let completes = i128::from(witness.completes_ns?);
    let makes_bound = |arrival: i64| completes - i128::from(arrival) == i128::from(bound);
    let mut arrivals = witness.releases.iter().map(|release| release.arrival_ns);
    let arrival = arrivals.find(|arrival| verdict.unit == Unit::Nanoseconds && makes_bound(*arrival))?;
    u64::try_from(i128::from(arrival) + i128::from(limit)).ok()
}

fn drawn_lane(lane: &str, witness: &Witness, top: Px, scale: Scale) -> Markup {
    let segments = || witness.timeline.iter().filter(|segment| segment.what == lane);
    let releases = witness.releases.iter().filter(|release| release.task == lane);
    let base = top + LANE;
    html! {
        (text("label end", (LEFT - Px::whole(8), top + Px::whole(12)), &short(lane)))
        (line("lane", (LEFT, base), (RIGHT, base)))
        @for segment in segments() { (drawn_segment(segment, top, scale)) }
        @for at in releases.filter_map(|release| u64::try_from(release.release_ns).ok()) {
            path class="release" d={ "M" (scale.at(at)) " " (base) " v-15 m-3 4 l3 -4 l3 4" } {}
        }
    }
}

fn drawn_segment(segment: &Segment, top: Px, scale: Scale) -> Markup {
    let (start, end) = (scale.at(segment.start_ns), scale.at(segment.end_ns));
    let class = match segment.what.as_str() {
        "blackout" => "seg-blackout",
        "blocking" => "seg-blocking",
        "idle" => "seg-idle",
        _ => "seg-task",
    };
    html! {
        g {
            (tip(&segment.what, (segment.start_ns, segment.end_ns)))
            (rect(class, (start, top + Px::whole(3)), ((end - start).max(Px(5)), LANE - Px::whole(3))))
        }
    }
}

/// A line across all lanes with its name on top: before the line, where there is room, else behind it.
fn flag(class: &str, words: &str, at: u64, scale: Scale, bottom: Px) -> Markup {
    let x = scale.at(at);
    let words = format!("{words} {}", Duration::from_ns(at));
    let left = x - LEFT >= super::text_width(&words, 11);
    let (anchor, shift) = if class == "limit" && left { ("end", Px::whole(-3)) } else { ("", Px::whole(3)) };
    let (anchor, shift) = if class == "completes" && RIGHT - x < super::text_width(&words, 11) {
        ("end", Px::whole(-3))
    } else {
        (anchor, shift)
    };
    html! {
        (line(class, (x, Px::whole(4)), (x, bottom)))
        (text(&format!("tick {anchor}"), (x + shift, Px::whole(12)), &words))
    }
}

/// A name cut to what fits beside its lane.
fn short(name: &str) -> String {
    const MOST: usize = 18;
    if name.chars().count() <= MOST {
        return name.to_owned();
    }
    name.chars().take(MOST - 1).chain(['…']).collect()
}
