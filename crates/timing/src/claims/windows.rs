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
use model::system::{CorePolicy, RunGrant};
use plan::Window;
use quantity::{CoreId, Duration, Instant, PartitionId};
use std::collections::{BTreeMap, BTreeSet};

fn basis() -> Basis {
    let source = "ARINC 653 part 1, partition time windows (from memory)";
    Basis { analysis: "windows", source, assumptions: vec![Assumption::InputsValid] }
}

pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let mut verdicts: Vec<_> = cores_with_table(scope).map(|core| table_verdict(scope, core)).collect();
    verdicts.extend(scope.running_partitions().flat_map(|partition| budget_verdicts(scope, partition)));
    verdicts
}

/// The cores that are scheduled by a window table, and those that are not and have windows all the same.
fn cores_with_table<'a>(scope: &'a Scope<'_>) -> impl Iterator<Item = CoreId> + 'a {
    let cores = (0..scope.system.board.cores.len()).map(CoreId::new);
    cores.filter(|&core| policy_fault(scope, core).is_none() || !scope.windows_on(core).is_empty())
}

/// Why windows on a core mean nothing to it.
fn policy_fault(scope: &Scope<'_>, core: CoreId) -> Option<String> {
    match scope.policy(core) {
        Some(CorePolicy::WindowTable { .. }) => None,
        Some(_) => Some(format!("core {} has windows and is not scheduled by a window table", scope.core_name(core))),
        None => Some(format!("core {} has windows and is not active", scope.core_name(core))),
    }
}

fn table_verdict(scope: &Scope<'_>, core: CoreId) -> Verdict {
    let subject = scope.core_name(core).to_owned();
    let claim = |reason| scope.claim(Kind::Window, subject, basis(), scope.system.core(core).name.span, reason);
    if let Err(reason) = scope.table() {
        return claim(reason);
    }
    let mut faults = scope.table_faults(core).to_vec();
    faults.extend(policy_fault(scope, core));
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

/// Faults of the table itself, as [`Scope::table_faults`] keeps them.
pub(super) fn faults(scope: &Scope<'_>, core: CoreId) -> Vec<String> {
    let windows = scope.windows_on(core);
    let mut faults: Vec<_> = windows.iter().filter_map(|window| shape_fault(scope, window)).collect();
    faults.extend(short_faults(scope, core));
    for pair in windows.windows(2) {
        if pair[1].start < pair[0].end() {
            faults.push(format!("{} overlaps {}", describe_window(scope, &pair[1]), describe_window(scope, &pair[0])));
        }
    }
    faults.extend(twice_at_once(scope, core));
    faults
}

fn describe(scope: &Scope<'_>, partition: PartitionId, start: Instant) -> String {
    format!("the window of `{}` at {start}", scope.partition_name(partition))
}

fn describe_window(scope: &Scope<'_>, window: &Window) -> String {
    describe(scope, window.partition, window.start)
}

fn shape_fault(scope: &Scope<'_>, window: &Window) -> Option<String> {
    let fault = if window.length.is_zero() {
        "has no length"
    } else if window.end().ns() > scope.frame_ns() {
        "ends after the frame"
    } else {
        return None;
    };
    Some(format!("{} {fault}", describe_window(scope, window)))
}

/// Windows that their head uses up, touching ones taken as one; one that fills the frame never ends.
fn short_faults(scope: &Scope<'_>, core: CoreId) -> Vec<String> {
    let platform = &scope.system.platform;
    let (Some(switch), Some(refill), Ok(table)) = (&platform.switch, &platform.refill, scope.table()) else {
        return Vec::new();
    };
    let head_ns = switch.value.ns().saturating_add(refill.value.ns());
    let tables = table.cores.iter().filter(|table| table.core == core);
    let owners: BTreeSet<_> = scope.windows_on(core).iter().map(owner).collect();
    let of_owner = |(partition, virtual_core)| {
        let joined = tables.clone().flat_map(move |t| t.merged(partition, virtual_core, scope.system.frame.value));
        joined.map(move |window| (partition, window))
    };
    let short = owners.into_iter().flat_map(of_owner).filter(|(_, window)| {
        let length_ns = window.length.ns();
        0 < length_ns && length_ns <= head_ns && length_ns < scope.frame_ns()
    });
    short
        .map(|(partition, window)| {
            let what = describe(scope, partition, window.start);
            format!("{what} is not longer than its head of {}", Duration::from_ns(head_ns))
        })
        .collect()
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
                let what = describe_window(scope, window);
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
        faults.extend(core_set_fault(scope, id, core));
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

fn core_set_fault(scope: &Scope<'_>, partition: PartitionId, core: CoreId) -> Option<String> {
    let set = scope.system.partition(partition).core_set.as_ref()?;
    let set = &scope.system.core_sets[set.value.index()];
    let name = scope.partition_name(partition);
    (!set.cores.contains(&core)).then(|| format!("`{name}` has windows here and runs in core set `{}`", set.name.value))
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
