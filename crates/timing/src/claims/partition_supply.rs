//! The supply of one virtual core of a partition: from the plan's windows, its server, its share, or a core of its own.

use super::core_sets::{self, Promise};
use super::home::Member;
use super::scope::Scope;
use crate::supply::{Interval, Share, Supply, SupplyError};
use diagnostic::Located;
use model::system::{CorePolicy, CoreSet, InterruptPolicy, RunGrant};
use plan::MergedWindow;
use quantity::{CoreId, Duration, PartitionId};

/// The supply as the analyses take it: of windows the usable parts.
///
/// # Errors
/// Why there is no such supply, or which datum it lacks.
pub(super) fn supply(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32) -> Result<Supply, String> {
    supply_with_more_head(scope, partition, virtual_core, 0)
}

/// The same with every window's head `more_ns` longer than the platform sheet says.
///
/// # Errors
/// As [`supply`].
pub(super) fn supply_with_more_head(
    scope: &Scope<'_>,
    partition: PartitionId,
    virtual_core: u32,
    more_ns: u64,
) -> Result<Supply, String> {
    let home = scope.home_set(partition, virtual_core);
    let name = scope.partition_name(partition);
    match (home.map(|set| &set.policy), scope.grant(partition)) {
        (None | Some(CorePolicy::WindowTable { .. }), None | Some(RunGrant::Windows { .. })) => {
            of_windows(scope, partition, virtual_core, more_ns)
        }
        (Some(CorePolicy::BudgetServer | CorePolicy::ProportionalShare { .. }), Some(_))
        | (Some(CorePolicy::Dedicated), _) => of_set(scope, partition, virtual_core, more_ns),
        (Some(CorePolicy::BudgetServer), None) => Err(format!("`server` of `{name}` is not given")),
        (Some(CorePolicy::ProportionalShare { .. }), None) => Err(format!("`share` of `{name}` is not given")),
        (None, Some(_)) => Err(format!("the core set of `{name}` is not given")),
        (Some(CorePolicy::WindowTable { .. }), Some(_)) => {
            Err(format!("`{name}` asks for time in a way that its core set does not give"))
        }
    }
}

/// The supply that a core set without a window table gives, where it keeps its promise.
fn of_set(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32, more_ns: u64) -> Result<Supply, String> {
    let Some(set) = scope.home_set(partition, virtual_core) else {
        return Err(format!("the core set of `{}` is not given", scope.partition_name(partition)));
    };
    for core in scope.home_cores(partition, virtual_core) {
        require_quiet(scope, core)?;
    }
    match core_sets::promise(scope, set, more_ns)? {
        Promise::Broken(reason) => return Err(reason),
        Promise::NotShown(reason) if more_ns > 0 => return Err(reason),
        Promise::Kept | Promise::NotShown(_) => {}
    }
    let pinned = scope.system.partition(partition).cores.get(virtual_core as usize).map(|core| core.value);
    let member = Member { partition, grant: scope.grant(partition), pinned };
    let supply = match (&set.policy, member.grant) {
        (CorePolicy::BudgetServer, Some(RunGrant::Server { budget, period, deadline })) => {
            Supply::budget_server(budget.value.ns(), period.value.ns(), deadline.value.ns())
        }
        (CorePolicy::ProportionalShare { .. }, _) => {
            let (share, delay_ns) = share_of(scope, set, &member, more_ns)??;
            Supply::proportional_share(share, delay_ns)
        }
        _ => Ok(Supply::dedicated()),
    };
    supply.map_err(|error| format!("the supply of `{}`: {error}", scope.partition_name(partition)))
}

/// The share of a core that a member of a set surely has behind the heads of its turns, and how late it comes, in ns; or why
/// there is none.
///
/// Against the weights of all members on the same cores, at most the whole core and at most its ceiling; of each turn of a
/// quantum the head is lost. Sharing may be a quantum ahead of the share at the begin of a span and a quantum behind at its
/// end, which is late by two quanta divided by the share.
///
/// # Errors
/// Which datum is missing.
pub(super) fn share_of(
    scope: &Scope<'_>,
    set: &CoreSet,
    member: &Member<'_>,
    more_ns: u64,
) -> Result<Result<(Share, u64), String>, String> {
    let name = scope.partition_name(member.partition);
    let (CorePolicy::ProportionalShare { quantum }, Some(RunGrant::Share { share, ceiling })) =
        (&set.policy, member.grant)
    else {
        return Err(format!("`share` of `{name}` is not given"));
    };
    let others = scope.members(set);
    if others.iter().any(|other| other.pinned.is_some() != member.pinned.is_some()) {
        return Err(format!("some partitions of core set `{}` are pinned to a core and some are not", set.name.value));
    }
    let cores = if member.pinned.is_some() { 1 } else { set.cores.len() as u128 };
    let weight = |other: &Member<'_>| match other.grant {
        Some(RunGrant::Share { share, .. }) => u128::from(share.value),
        _ => 0,
    };
    let total: u128 = others.iter().filter(|other| other.pinned == member.pinned).map(weight).sum();
    let head_ns = head_ns(scope)?.saturating_add(more_ns);
    let Some(left_ns) = quantum.ns().checked_sub(head_ns).filter(|&left_ns| left_ns > 0) else {
        let (quantum, head) = (*quantum, Duration::from_ns(head_ns));
        return Ok(Err(format!("a quantum of {quantum} is not longer than the head of {head} in it")));
    };
    let whole = ceiling.as_ref().map_or(1_000_000, |ceiling| u128::from(ceiling.value.get()).min(1_000_000));
    let by_weight = (u128::from(share.value) * cores, total);
    let (numerator, denominator) =
        if by_weight.0 * 1_000_000 <= whole * by_weight.1 { by_weight } else { (whole, 1_000_000) };
    match Share::new(numerator * u128::from(left_ns), denominator * u128::from(quantum.ns())) {
        Ok(share) => Ok(Ok((share, share.span_for_ns(quantum.ns().saturating_mul(2))))),
        Err(_) => Ok(Err(format!("`{name}` has no share left of core set `{}`", set.name.value))),
    }
}

fn of_windows(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32, more_ns: u64) -> Result<Supply, String> {
    scope.table()?;
    let head_ns = head_ns(scope)?.saturating_add(more_ns);
    let mut windows = Vec::new();
    for table in scope.tables_of(partition, virtual_core) {
        require_sound(scope, table.core)?;
        require_quiet(scope, table.core)?;
        windows.extend(table.merged(partition, virtual_core, scope.system.frame.value));
    }
    supply_of(&windows, scope.frame_ns(), head_ns).map_err(|error| error.to_string())
}

/// The supply of joined windows, each without its head of `head_ns`, in frames of `frame_ns`; one joined across the
/// frame's end may run past it.
///
/// # Errors
/// A [`SupplyError`] where windows overlap, or the frame is no length.
pub fn supply_of(windows: &[MergedWindow], frame_ns: u64, head_ns: u64) -> Result<Supply, SupplyError> {
    let mut usable = Vec::new();
    for window in windows {
        add_usable(&mut usable, *window, head_ns, frame_ns);
    }
    usable.sort_unstable_by_key(|interval: &Interval| interval.start_ns);
    let boot_ns = windows.iter().map(|window| boot_ns(*window, head_ns, frame_ns)).fold(0, u64::max);
    Ok(Supply::new(frame_ns, &usable)?.with_boot_until(boot_ns))
}

/// Up to when a window that continues across the frame's begin pays its head in the first frame; 0 for any other.
fn boot_ns(window: MergedWindow, head_ns: u64, frame_ns: u64) -> u64 {
    if fills_frame(window, frame_ns) { head_ns } else { head_ns.min(window.end().ns().saturating_sub(frame_ns)) }
}

/// Such a window never ends.
fn fills_frame(window: MergedWindow, frame_ns: u64) -> bool {
    window.length.ns() >= frame_ns
}

/// The part of every window that its head takes: switch, refill, and every slip in full.
pub(super) fn head_ns(scope: &Scope<'_>) -> Result<u64, String> {
    let platform = &scope.system.platform;
    let given = |value: &Option<Located<Duration>>, name: &str| {
        value.as_ref().map(|given| given.value.ns()).ok_or_else(|| format!("`platform.{name}` is not given"))
    };
    let slip_ns = platform.boundary_slip.as_ref().map_or(0, |slip| slip.value.ns());
    let head_ns = given(&platform.switch, "switch")?.saturating_add(given(&platform.refill, "refill")?);
    Ok(head_ns.saturating_add(slip_ns))
}

fn require_windows(policy: &CorePolicy, whose: impl Fn() -> String) -> Result<(), String> {
    match policy {
        CorePolicy::WindowTable { .. } => Ok(()),
        _ => Err(format!("{} is not scheduled by a window table, and this version analyses no other", whose())),
    }
}

fn require_sound(scope: &Scope<'_>, core: CoreId) -> Result<(), String> {
    let name = scope.core_name(core);
    match scope.policy(core) {
        Some(policy) => require_windows(policy, || format!("core {name}"))?,
        None => return Err(format!("core {name} is not active")),
    }
    match scope.table_faults(core).first() {
        Some(fault) => Err(format!("the window table of core {name} is not sound: {fault}")),
        None => Ok(()),
    }
}

/// Interrupts that take time from whoever runs would take it from the windows.
fn require_quiet(scope: &Scope<'_>, core: CoreId) -> Result<(), String> {
    let interrupts = scope.system.board.devices.iter().flat_map(|device| &device.interrupts);
    let here = interrupts.filter(|interrupt| interrupt.core.as_ref().is_none_or(|routed| routed.value == core));
    for interrupt in here {
        let line = &interrupt.line.value;
        match interrupt.policy.as_ref().map(|policy| policy.value) {
            Some(InterruptPolicy::Pended) => {}
            Some(InterruptPolicy::Immediate) => {
                return Err(format!(
                    "interrupt `{line}` takes time from whoever runs, which this version does not analyse"
                ));
            }
            None => return Err(format!("what happens to interrupt `{line}` outside its owner's windows is not given")),
        }
    }
    Ok(())
}

/// Adds what the head leaves of a window, cut at the frame's end. A window that fills the frame pays its head
/// in the first frame only.
fn add_usable(usable: &mut Vec<Interval>, window: MergedWindow, head_ns: u64, frame_ns: u64) {
    let start_ns =
        if fills_frame(window, frame_ns) { window.start.ns() } else { window.start.ns().saturating_add(head_ns) };
    let end_ns = window.end().ns();
    let mut add = |start_ns: u64, end_ns: u64| {
        if start_ns < end_ns {
            usable.push(Interval { start_ns, end_ns });
        }
    };
    add(start_ns, end_ns.min(frame_ns));
    if end_ns > frame_ns {
        add(start_ns.saturating_sub(frame_ns), end_ns - frame_ns);
    }
}
