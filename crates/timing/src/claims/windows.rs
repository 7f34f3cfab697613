//! Window tables: sound in themselves, placed as the system asks, and as long as it asks.
//!
//! Computes: for each core the faults of its table (windows outside the frame, not longer than their
//! head, overlapping, at two places at once, against pins, apart or together); for each partition
//! with a budget the least window time in any of its periods.
//! Source: partition time windows and their rules: ARINC 653 part 1 (from memory).
//! Assumptions: none beyond the file: this judges the plan itself.
//! Symbols: times in ns; faults counted.
//! Invariants and why it ends: windows come sorted by start; one pass finds neighbours that overlap, and one pass
//! over pairs of a virtual core's windows finds two places at once.
//! Differs from the source: the budget counts heads of windows in, as the supplier's sheet does.
//! Checked by: boundary tables in `tests/`.

use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::system::RunGrant;
use plan::Window;
use quantity::{CoreId, Duration, Instant, PartitionId};
use std::collections::{BTreeMap, BTreeSet};

fn basis() -> Basis {
    let source = "ARINC 653 part 1, partition time windows (from memory)";
    Basis { analysis: "windows", source, assumptions: vec![Assumption::InputsValid] }
}

pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let mut verdicts: Vec<_> = scope.table_cores().map(|core| table_verdict(scope, core)).collect();
    verdicts.extend(scope.running_partitions().flat_map(|partition| budget_verdicts(scope, partition)));
    verdicts
}

fn table_verdict(scope: &Scope<'_>, core: CoreId) -> Verdict {
    let subject = scope.core_name(core).to_owned();
    let claim = |reason| scope.claim(Kind::Window, subject, basis(), scope.system.core(core).name.span, reason);
    if let Err(reason) = scope.table() {
        return claim(reason);
    }
    let mut faults = faults(scope, core);
    faults.extend(placement_faults(scope, core));
    let base = Verdict {
        bound: Some(faults.len() as u64),
        limit: Some(0),
        unit: Unit::Count,
        relation: Relation::AtMost,
        exact: true,
        reason: None,
        ..claim(String::new())
    };
    if faults.is_empty() {
        return Verdict { status: Status::Shown, ..base };
    }
    let reason = faults.join("; ");
    Verdict { status: Status::Violated, witness: Some(Witness::of_fact(&*reason)), reason: Some(reason), ..base }
}

/// What makes the table of a core no table: then its supply means nothing.
pub(super) fn faults(scope: &Scope<'_>, core: CoreId) -> Vec<String> {
    let windows = scope.windows_on(core);
    let mut faults: Vec<_> = windows.iter().filter_map(|window| shape_fault(scope, core, window)).collect();
    for pair in windows.windows(2) {
        if pair[1].start < pair[0].end() {
            faults.push(format!("{} overlaps {}", describe(scope, &pair[1]), describe(scope, &pair[0])));
        }
    }
    faults.extend(twice_at_once(scope, core));
    faults
}

fn describe(scope: &Scope<'_>, window: &Window) -> String {
    format!("the window of `{}` at {}", scope.partition_name(window.partition), window.start)
}

fn shape_fault(scope: &Scope<'_>, core: CoreId, window: &Window) -> Option<String> {
    let what = describe(scope, window);
    if window.length.is_zero() {
        return Some(format!("{what} has no length"));
    }
    if window.end().ns() > scope.frame_ns() {
        return Some(format!("{what} ends after the frame"));
    }
    let platform = &scope.system.platform;
    let head = platform.switch.as_ref()?.value.ns().saturating_add(platform.refill.as_ref()?.value.ns());
    // A window that continues one before pays no head of its own, so only a lone one can be too short.
    let continues = touches_another(scope, core, window);
    (window.length.ns() <= head && !continues)
        .then(|| format!("{what} is not longer than its head of {}", Duration::from_ns(head)))
}

fn touches_another(scope: &Scope<'_>, core: CoreId, window: &Window) -> bool {
    let frame = Instant::from_ns(scope.frame_ns());
    let meets = |end: Instant, start: Instant| end == start || (end == frame && start == Instant::ZERO);
    let same = |other: &&Window| owner(other) == owner(window);
    let touches = |other: &Window| meets(other.end(), window.start) || meets(window.end(), other.start);
    scope.windows_on(core).iter().filter(same).any(touches)
}

fn owner(window: &Window) -> (PartitionId, u32) {
    (window.partition, window.virtual_core)
}

/// Windows of a virtual core that overlap one of its windows on another core.
fn twice_at_once(scope: &Scope<'_>, core: CoreId) -> Vec<String> {
    let here = scope.windows_on(core);
    let owners: BTreeSet<_> = here.iter().map(owner).collect();
    let mut faults = Vec::new();
    for other in scope.table_cores().filter(|&other| other != core) {
        for there in scope.windows_on(other).iter().filter(|there| owners.contains(&owner(there))) {
            let clashes = |w: &&Window| owner(w) == owner(there) && there.start < w.end() && w.start < there.end();
            for window in here.iter().filter(clashes) {
                let what = describe(scope, window);
                faults.push(format!("{what} overlaps one of the same virtual core on core {}", scope.core_name(other)));
            }
        }
    }
    faults
}

/// Windows on this core that pins, separation, co-location or the schedule forbid.
fn placement_faults(scope: &Scope<'_>, core: CoreId) -> Vec<String> {
    let windows = scope.windows_on(core);
    let mut faults = Vec::new();
    let here: BTreeSet<_> = windows.iter().map(owner).collect();
    for &(id, virtual_core) in &here {
        let partition = scope.system.partition(id);
        let name = &partition.name.value;
        let is_here = |other: PartitionId| here.iter().any(|(there, _)| *there == other);
        if partition.cores.get(virtual_core as usize).is_some_and(|pinned| pinned.value != core) {
            faults.push(format!("`{name}` has windows here and is pinned to another core"));
        }
        if scope.is_idle(id) {
            faults.push(format!("`{name}` has windows here and is idle in `{}`", scope.name()));
        }
        if virtual_core >= partition.virtual_cores.value {
            faults.push(format!("`{name}` has no virtual core {virtual_core}"));
        }
        for apart in partition.apart_from.iter().filter(|apart| is_here(apart.value)) {
            faults.push(format!("`{name}` must be apart from `{}`", scope.partition_name(apart.value)));
        }
        let missing = |other: &&diagnostic::Located<PartitionId>| !scope.is_idle(other.value) && !is_here(other.value);
        for together in partition.together_with.iter().filter(missing) {
            faults.push(format!("`{name}` must share its core with `{}`", scope.partition_name(together.value)));
        }
    }
    faults
}

/// One verdict for each core that a partition with a budget has windows on.
fn budget_verdicts(scope: &Scope<'_>, partition: PartitionId) -> Vec<Verdict> {
    let Some(RunGrant::Windows { period, budget: Some(budget) }) = scope.grant(partition) else { return Vec::new() };
    let name = scope.partition_name(partition);
    let claim = |core: &str, reason| scope.claim(Kind::Window, format!("{core}/{name}"), basis(), budget.span, reason);
    if let Err(reason) = scope.table() {
        return vec![claim(home_core(scope, partition, 0), reason)];
    }
    let least = least_by_core(scope, partition, period.value);
    let verdict = |(core, least_ns)| {
        let base = Verdict {
            limit: Some(budget.value.ns()),
            relation: Relation::AtLeast,
            exact: true,
            reason: None,
            ..claim(core, String::new())
        };
        judge_budget(scope, base, period.value, least_ns)
    };
    least.into_iter().map(verdict).collect()
}

/// Where the windows of a virtual core are, or else would belong.
fn home_core<'a>(scope: &Scope<'a>, partition: PartitionId, virtual_core: u32) -> &'a str {
    let planned = scope.tables_of(partition, virtual_core).first().map(|table| table.core);
    let pinned = scope.system.partition(partition).cores.get(virtual_core as usize).map(|core| core.value);
    planned.or(pinned).map_or("none", |core| scope.core_name(core))
}

/// The least window time in any period of the partition, by the core of its virtual cores; none where the
/// periods do not fill the frame.
fn least_by_core<'a>(scope: &Scope<'a>, partition: PartitionId, period: Duration) -> BTreeMap<&'a str, Option<u64>> {
    let mut by_core = BTreeMap::new();
    for virtual_core in 0..scope.system.partition(partition).virtual_cores.value {
        let least_ns = least_in_any_period(scope, partition, virtual_core, period.ns());
        let entry = by_core.entry(home_core(scope, partition, virtual_core)).or_insert(least_ns);
        *entry = (*entry).min(least_ns);
    }
    by_core
}

fn least_in_any_period(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32, period_ns: u64) -> Option<u64> {
    let periods = scope.frame_ns().checked_div(period_ns)?;
    if !scope.frame_ns().is_multiple_of(period_ns) {
        return None;
    }
    // Windows in order: each is counted once for each period that it reaches into.
    let mut given_ns = vec![0u64; usize::try_from(periods).ok().filter(|&count| count <= 1 << 20)?];
    let tables = scope.tables_of(partition, virtual_core);
    let mine = |window: &&Window| owner(window) == (partition, virtual_core);
    for window in tables.iter().flat_map(|table| &table.windows).filter(mine) {
        let mut at_ns = window.start.ns();
        while at_ns < window.end().ns().min(scope.frame_ns()) {
            let index = at_ns / period_ns;
            let until_ns = window.end().ns().min((index + 1) * period_ns);
            given_ns[index as usize] += until_ns - at_ns;
            at_ns = until_ns;
        }
    }
    given_ns.into_iter().min()
}

fn judge_budget(scope: &Scope<'_>, base: Verdict, period: Duration, least_ns: Option<u64>) -> Verdict {
    let budget = Duration::from_ns(base.limit.unwrap_or(0));
    let reason = match least_ns {
        Some(least_ns) if Some(least_ns) >= base.limit => {
            return Verdict { status: Status::Shown, bound: least_ns.into(), ..base };
        }
        Some(least_ns) => {
            format!("some period of {period} has {} of the {budget} asked for", Duration::from_ns(least_ns))
        }
        None => format!("the frame of {} is no multiple of the period of {period}", scope.system.frame.value),
    };
    let witness = Some(Witness::of_fact(&*reason));
    Verdict { status: Status::Violated, bound: least_ns, reason: Some(reason), witness, ..base }
}
