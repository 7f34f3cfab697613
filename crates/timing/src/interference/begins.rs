//! Which begins of a busy window can be worst.

use super::busy::From;
use super::{Bus, Curve, Own, Presence, ROUNDS};
use crate::arithmetic;
use crate::counted::first_in_phase_ns;
use crate::response::Bound;
use crate::supply::Supply;

/// Every interval of begins that can be worst; none where there are more than can be followed.
pub(super) fn worst(supply: &Supply, own: &Own<'_>, bus: &Bus) -> Option<Vec<From>> {
    match own.hyperperiod_ns {
        Some(hyperperiod_ns) => in_phase(own, bus, hyperperiod_ns),
        None => Some(in_any_phase(supply, bus)),
    }
}

/// The begin behind a request-driven bound; any one, where only the least supply of each span is known.
pub(super) fn of_bound(supply: &Supply, own: &Own<'_>, bound: &Bound) -> From {
    let frame_ns = if supply.has_places() { supply.frame_ns() } else { 1 };
    let round_ns = own.hyperperiod_ns.unwrap_or(frame_ns) as i64; // At most 2^53.
    From::only(bound.busy_start_ns.rem_euclid(round_ns) as u64)
}

/// In a frame or in the first of its equal parts, where arrivals know nothing of it.
///
/// From an instant without usable time the begin can be moved back to where that time ended: more is asked for, and no
/// more supplied. The same holds, towards the next edge of any curve, where nothing of another master counts. So only the ends of
/// usable windows, and intervals over which some curve rises, are left. A supply without places is the same from everywhere, and has
/// no such ends.
fn in_any_phase(supply: &Supply, bus: &Bus) -> Vec<From> {
    let curves: Vec<_> = bus.curves().collect();
    let windows = if supply.has_places() { supply.windows() } else { &[] };
    let part_ns = if supply.has_places() { supply.frame_ns() / equal_parts(supply, bus) } else { u64::MAX };
    let mut edges_ns: Vec<u64> = curves
        .iter()
        .flat_map(|curve| curve.intervals())
        .chain(windows)
        .flat_map(|interval| [interval.start_ns, interval.end_ns])
        .filter(|&edge_ns| edge_ns <= part_ns)
        .collect();
    edges_ns.sort_unstable();
    edges_ns.dedup();
    let rises = |from: From| curves.iter().any(|curve| curve.between_ns(from.earliest_ns, from.latest_ns) > 0);
    let between = edges_ns.windows(2).map(|pair| From { earliest_ns: pair[0], latest_ns: pair[1] });
    let rising = between.filter(|&from| rises(from));
    let ends = windows.iter().map(|window| From::only(window.end_ns));
    let mut begins: Vec<_> = rising.chain(ends.filter(|end| end.latest_ns <= part_ns)).collect();
    if begins.is_empty() {
        begins.push(From::only(0));
    }
    begins
}

/// Into how many equal parts the frame falls, for the own partition and everyone else.
fn equal_parts(supply: &Supply, bus: &Bus) -> u64 {
    let mut parts = supply.windows().len() as u64;
    let curves: Vec<_> = bus.curves().collect();
    let own = Curve::new(supply.frame_ns(), supply.windows().iter().copied());
    let fits = |parts: u64| {
        own.as_ref().is_some_and(|own| own.repeats(parts)) && curves.iter().all(|curve| curve.repeats(parts))
    };
    while parts > 1 && !fits(parts) {
        parts -= 1;
    }
    parts.max(1)
}

/// In a hyperperiod of tasks that keep to the frame: a busy window begins where a job of the level is released, which is nowhere before the
/// job's arrival. From any instant after one latest release up to the next one the same jobs count, and from the latter the least is
/// supplied.
fn in_phase(own: &Own<'_>, bus: &Bus, hyperperiod_ns: u64) -> Option<Vec<From>> {
    let frames = bus.curves().map(Curve::frame_ns).chain([hyperperiod_ns]);
    let round_ns = i64::try_from(arithmetic::lcm_of(frames)?).ok()?;
    let (tasks, level) = (own.tasks, own.tasks.level(own.position));
    let jobs = level.clone().map(|at| round_ns / tasks.period_ns[at]).fold(0, i64::saturating_add);
    if jobs > i64::from(ROUNDS) {
        return None;
    }
    let latest_of = |at: usize| {
        let first_ns = first_in_phase_ns(tasks, at, 0) + tasks.jitter_ns[at];
        (0..round_ns / tasks.period_ns[at]).map(move |job| first_ns + job * tasks.period_ns[at])
    };
    let mut latest_ns: Vec<i64> = level.clone().flat_map(latest_of).collect();
    latest_ns.sort_unstable();
    latest_ns.dedup();
    let mut before_ns = latest_ns.last()? - round_ns;
    let from = |latest_ns: i64| {
        let arrivals = level.clone().map(|at| first_in_phase_ns(tasks, at, latest_ns));
        let earliest_ns = arrivals.fold(latest_ns, i64::min).max(before_ns + 1);
        before_ns = latest_ns;
        // One round later everything is the same, and nothing there is below zero.
        From { earliest_ns: (earliest_ns + round_ns) as u64, latest_ns: (latest_ns + round_ns) as u64 }
    };
    Some(latest_ns.into_iter().map(from).collect())
}

impl Bus {
    fn curves(&self) -> impl Iterator<Item = &Curve> {
        let residents = self.masters.iter().flat_map(|master| match &master.presence {
            Presence::Always | Presence::Jobs(_) => &[][..],
            Presence::Windows(residents) => residents,
        });
        residents.map(|resident| &resident.overlap)
    }
}
