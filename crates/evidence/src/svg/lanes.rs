//! Several bounds on one time axis, a lane each, with what each is made of and its need.

use super::axis::time_axis;
use super::parts::{named_segments, segments, short};
use super::{Px, Scale, figure, line, text};
use claim::{Part, PartKind, Verdict, sum_of_parts};
use maud::{Markup, html};
use quantity::Duration;

/// How a drawing of lanes is laid out.
pub(crate) struct Frame {
    /// Its whole width in pixels.
    pub width: i64,
    /// Where the time axis begins.
    pub left: i64,
    /// What stands above it.
    pub heading: Option<String>,
    /// The name of the lane of a verdict.
    pub name: fn(&Verdict) -> &str,
    /// Whether the stages of boot have a lane of their own.
    pub stages: bool,
}

const TOP: Px = Px::whole(6);
const HEADING: Px = Px::whole(18);
const PITCH: i64 = 30;
const LANE: Px = Px::whole(18);
/// The lengths beside the lanes are this wide.
const LENGTHS: i64 = 92;
/// A need further away than this many times the longest bound is only pointed at.
const FAR: u64 = 2;

/// A lane for each verdict that has parts.
pub(crate) fn part_lanes(title: &str, frame: &Frame, verdicts: &[&Verdict]) -> Option<Markup> {
    let lanes: Vec<&Verdict> = verdicts.iter().copied().filter(|v| sum_of_parts(&v.parts) > 0).collect();
    let longest_ns = lanes.iter().map(|verdict| sum_of_parts(&verdict.parts)).max()?;
    let near = |limit: &u64| *limit <= longest_ns.saturating_mul(FAR);
    let end_ns = lanes.iter().filter_map(|verdict| verdict.limit).filter(near).fold(longest_ns, u64::max);
    let (left, right) = (Px::whole(frame.left), Px::whole(frame.width - LENGTHS));
    let scale = Scale::new((0, end_ns), (left, right));
    let stages = stages(&lanes).filter(|_| frame.stages);
    let top = if frame.heading.is_some() { TOP + HEADING } else { TOP };
    let first = top + Px::whole(if stages.is_some() { PITCH } else { 0 });
    let bottom = first + Px::whole(i64::try_from(lanes.len()).unwrap_or(0) * PITCH - 6);
    let ticks = u64::try_from((frame.width - LENGTHS - frame.left) / 58).unwrap_or(1);
    let content = html! {
        @if let Some(heading) = &frame.heading {
            (text("label", (Px::whole(0), Px::whole(12)), &short(heading, Px::whole(frame.width), 12)))
        }
        (time_axis((0, end_ns), scale, (top, bottom), ticks))
        @if let Some(stages) = stages {
            (text("label end", (left - Px::whole(8), top + Px::whole(13)), "boot stages"))
            (named_segments(&stages, (top, LANE), scale))
        }
        @for (verdict, place) in lanes.iter().zip(0i64..) {
            (lane(verdict, frame, first + Px::whole(place * PITCH), scale))
        }
    };
    let description =
        "A lane for each claim, its parts in the order of time, its need as a line; the table below lists them.";
    Some(figure(Px::whole(frame.width), bottom + Px::whole(22), title, description, content))
}

/// The stages of boot, where some claim counts from reset.
fn stages(lanes: &[&Verdict]) -> Option<Vec<Part>> {
    let of =
        |verdict: &&Verdict| verdict.parts.iter().take_while(|part| part.kind == PartKind::Stage).cloned().collect();
    lanes.iter().map(of).find(|stages: &Vec<Part>| !stages.is_empty())
}

fn lane(verdict: &Verdict, frame: &Frame, top: Px, scale: Scale) -> Markup {
    let name = (frame.name)(verdict);
    let left = Px::whole(frame.left);
    let bound = Duration::from_ns(sum_of_parts(&verdict.parts)).to_string();
    let lines: Vec<Px> =
        verdict.limit.into_iter().filter(|limit| *limit <= scale.to).map(|limit| scale.at(limit)).collect();
    let words = verdict.limit.map_or_else(|| "no need".to_owned(), |limit| format!("≤ {}", Duration::from_ns(limit)));
    html! {
        (text("end", (left - Px::whole(8), top + Px::whole(13)), &short(name, left - Px::whole(10), 11)))
        (segments(&verdict.parts, 0, (top, LANE), scale, &lines))
        (text("tick end", (Px::whole(frame.width - 2), top + Px::whole(8)), &bound))
        (text("tick end", (Px::whole(frame.width - 2), top + Px::whole(20)), &words))
        @if let Some(limit) = verdict.limit { (need(limit, top, scale)) }
    }
}

/// The need across its lane, or an arrow to where it lies.
fn need(limit: u64, top: Px, scale: Scale) -> Markup {
    let (x, far) = (scale.at(limit), limit > scale.to);
    html! {
        @if far {
            path class="arrow" d={ "M" (x + Px::whole(2)) " " (top + Px::whole(5)) " l6 4 -6 4 z" } {}
        } @else {
            (line("limit", (x, top - Px::whole(3)), (x, top + LANE + Px::whole(3))))
        }
    }
}
