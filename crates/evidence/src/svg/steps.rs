//! Least supply against demand.

use super::axis::{tick_words, ticks, time_axis};
use super::{Px, Scale, figure, line, path, rect, text};
use maud::{Markup, html};
use quantity::Duration;
use timing::claims::SupplyCurve;

const WIDTH: Px = Px::whole(276);
const HEIGHT: Px = Px::whole(196);
const LEFT: Px = Px::whole(46);
const RIGHT: Px = Px::whole(268);
const TOP: Px = Px::whole(34);
const BOTTOM: Px = Px::whole(172);

/// The curves of one partition in a small drawing of their own.
pub(crate) fn supply_and_demand(curve: &SupplyCurve) -> Markup {
    let points = || curve.least_supply.iter().chain(&curve.demand);
    let horizon = points().map(|point| point.0).max().unwrap_or(0).max(1);
    let most = points().map(|point| point.1).max().unwrap_or(0).max(1);
    let x = Scale::new((0, horizon), (LEFT, RIGHT));
    let y = Scale::new((0, most), (BOTTOM, TOP));
    let content = html! {
        (text("label", (Px::whole(0), Px::whole(11)), &curve.partition))
        (text("tick", (Px::whole(0), Px::whole(25)), &format!("demand of {}", curve.level)))
        (text("tick end", (RIGHT, Px::whole(11)), &format!("blackout {}", Duration::from_ns(curve.blackout_ns))))
        (rect("blackout", (LEFT, TOP), (x.at(curve.blackout_ns) - LEFT, BOTTOM - TOP)))
        (time_axis((0, horizon), x, (TOP, BOTTOM), 6))
        @for tick in ticks((0, most), 5) {
            (line("grid", (LEFT - Px::whole(4), y.at(tick)), (RIGHT, y.at(tick))))
            (text("tick end", (LEFT - Px::whole(7), y.at(tick) + Px::whole(4)), &tick_words(tick)))
        }
        (line("blackout-edge", (x.at(curve.blackout_ns), TOP), (x.at(curve.blackout_ns), BOTTOM)))
        polyline class="demand" points=(staircase(&curve.demand, horizon, x, y)) {}
        polyline class="supply" points=(corners(&curve.least_supply, x, y)) {}
        @if let Some(at) = curve.meets_ns { (meeting(curve, at, x, y)) }
    };
    figure(WIDTH, HEIGHT, &format!("Least supply and demand of {}", curve.partition), &description(curve), content)
}

fn description(curve: &SupplyCurve) -> String {
    let blackout = Duration::from_ns(curve.blackout_ns);
    match curve.meets_ns {
        Some(at) => format!(
            "The longest interval without supply is {blackout}. Supply meets the demand of {} after {}.",
            curve.level,
            Duration::from_ns(at)
        ),
        None => format!(
            "The longest interval without supply is {blackout}. Supply does not meet the demand of {}.",
            curve.level
        ),
    }
}

fn meeting(curve: &SupplyCurve, at: u64, x: Scale, y: Scale) -> Markup {
    let demand = curve.demand.iter().take_while(|point| point.0 <= at).last().map_or(0, |point| point.1);
    html! { circle class="meets" cx=(x.at(at)) cy=(y.at(demand)) r="3.5" {} }
}

fn corners(points: &[(u64, u64)], x: Scale, y: Scale) -> String {
    path(points.iter().map(|point| (x.at(point.0), y.at(point.1))))
}

/// Flat from each step to the next, the last up to the horizon.
fn staircase(steps: &[(u64, u64)], horizon: u64, x: Scale, y: Scale) -> String {
    let ends = steps.iter().skip(1).map(|step| step.0).chain([horizon]);
    let flat = |(step, end): (&(u64, u64), u64)| [(step.0, step.1), (end, step.1)];
    corners(&steps.iter().zip(ends).flat_map(flat).collect::<Vec<_>>(), x, y)
}
