//! The largest new partition that a core still takes.
//!
//! Computes: for each core with a window table, and each period that some partition has or the frame itself, the largest
//! budget (heads of windows included) that the free time of every period holds and the growth rule for cores leaves;
//! beside it the longest stretch without a window.
//! Source: spare capacity at a milestone: NASA software engineering handbook 9.12, table after GSFC 3.07-1.
//! Assumptions: the table is sound; the new partition brings no further master to the interconnect.
//! Symbols: times in ns; the share that must stay free is rounded up.
//! Invariants and why it ends: the windows come sorted and apart, so one pass gives the free stretches, and each period
//! of the frame is looked at once.
//! Differs from the source: budgets and periods instead of one share.
//! Checked by: the survey vessel, where 5 ms in 100 ms fit core 2 exactly and 6 ms fit none.

use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Relation, Status, Verdict};
use model::system::{GrowthSubject, RunGrant};
use quantity::{CoreId, Duration};
use std::collections::BTreeSet;

/// A half-open stretch `[start, end)` of the frame that no window has, in ns.
type Stretch = (u64, u64);

/// One verdict for each core in use that has a window table.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let in_use = |core: &CoreId| scope.system.core(*core).active;
    scope.table_cores().filter(in_use).map(|core| verdict(scope, core)).collect()
}

fn verdict(scope: &Scope<'_>, core: CoreId) -> Verdict {
    let basis = Basis {
        analysis: "new-partition",
        source: "NASA software engineering handbook 9.12, table after GSFC 3.07-1",
        assumptions: vec![Assumption::WindowsEnforced],
    };
    let place = scope.system.core(core).name.span;
    let subject = format!("new_partition/{}", scope.core_name(core));
    let base =
        Verdict { relation: Relation::AtLeast, ..scope.claim(Kind::Margin, subject, basis, place, String::new()) };
    if let Err(reason) = scope.table() {
        return Verdict { reason: Some(reason), ..base };
    }
    if let Some(fault) = scope.table_faults(core).first() {
        let reason = format!("the window table of core {} is not sound: {fault}", scope.core_name(core));
        return Verdict { reason: Some(reason), ..base };
    }
    let free = free_stretches(scope, core);
    let budgets = budgets(scope, &free);
    let whole_frame_ns = budgets.last().map_or(0, |&(_, budget_ns)| budget_ns);
    let reason = describe(&budgets, &free);
    Verdict { status: Status::Shown, bound: Some(whole_frame_ns), exact: true, reason: Some(reason), ..base }
}

/// The largest budget for each period, shortest period first; the frame is the last.
fn budgets(scope: &Scope<'_>, free: &[Stretch]) -> Vec<(u64, u64)> {
    let left_ns = left_by_rule_ns(scope, free);
    let frame_ns = scope.frame_ns();
    let of_period = |period_ns: u64| {
        let periods = frame_ns / period_ns;
        let least_ns = (0..periods).map(|k| free_within(free, k * period_ns, (k + 1) * period_ns)).min().unwrap_or(0);
        (period_ns, least_ns.min(left_ns / periods))
    };
    periods(scope).into_iter().map(of_period).collect()
}

/// The periods of the partitions that divide the frame, and the frame.
fn periods(scope: &Scope<'_>) -> BTreeSet<u64> {
    let of_grant = |grant: &RunGrant| match grant {
        RunGrant::Windows { period, .. } => Some(period.value.ns()),
        _ => None,
    };
    let frame_ns = scope.frame_ns();
    let asked = scope.running_partitions().filter_map(|partition| scope.grant(partition).and_then(of_grant));
    asked.filter(|&period_ns| frame_ns.is_multiple_of(period_ns)).chain([frame_ns]).collect()
}

/// What the growth rule leaves of the free time of a frame.
fn left_by_rule_ns(scope: &Scope<'_>, free: &[Stretch]) -> u64 {
    let kept_ppm = scope.system.growth_rule(GrowthSubject::Cores).map_or(0, |rule| rule.at_least.value.get());
    let kept_ns = (u128::from(scope.frame_ns()) * u128::from(kept_ppm)).div_ceil(1_000_000);
    let free_ns = u128::from(free_within(free, 0, scope.frame_ns()));
    free_ns.saturating_sub(kept_ns) as u64 // At most a frame.
}

/// The stretches of a frame that no window has; the table is sound.
fn free_stretches(scope: &Scope<'_>, core: CoreId) -> Vec<Stretch> {
    let mut free = Vec::new();
    let mut taken_to_ns = 0;
    for window in scope.windows_on(core) {
        if taken_to_ns < window.start.ns() {
            free.push((taken_to_ns, window.start.ns()));
        }
        taken_to_ns = window.end().ns();
    }
    if taken_to_ns < scope.frame_ns() {
        free.push((taken_to_ns, scope.frame_ns()));
    }
    free
}

/// The free time within `[start, end)`.
fn free_within(free: &[Stretch], start_ns: u64, end_ns: u64) -> u64 {
    let first = free.partition_point(|stretch| stretch.1 <= start_ns);
    let inside = free[first..].iter().take_while(|stretch| stretch.0 < end_ns);
    inside.map(|stretch| stretch.1.min(end_ns) - stretch.0.max(start_ns)).sum()
}

fn describe(budgets: &[(u64, u64)], free: &[Stretch]) -> String {
    let longest_ns = free.iter().map(|stretch| stretch.1 - stretch.0).max().unwrap_or(0);
    let longest = format!("the longest stretch without a window is {}", Duration::from_ns(longest_ns));
    let fits = budgets.iter().filter(|(_, budget_ns)| *budget_ns > 0);
    let budget = |&(period_ns, budget_ns): &(u64, u64)| {
        format!("{} in each {}", Duration::from_ns(budget_ns), Duration::from_ns(period_ns))
    };
    let fits: Vec<_> = fits.map(budget).collect();
    if fits.is_empty() {
        return format!("no new partition fits; {longest}");
    }
    format!("a new partition fits with a budget of {}; {longest}", fits.join(", or "))
}
