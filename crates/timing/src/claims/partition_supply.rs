//! The supply of one virtual core of a partition, from the plan's windows.

use super::scope::Scope;
use super::windows;
use crate::supply::{Interval, Supply, SupplyError};
use diagnostic::Located;
use model::system::{CorePolicy, InterruptPolicy, RunGrant};
use plan::MergedWindow;
use quantity::{CoreId, Duration, PartitionId};

/// The usable parts of the windows, as the analyses take them.
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
    match scope.grant(partition) {
        Some(RunGrant::Server { .. }) => return Err("a budget server is not analysed by this version".to_owned()),
        Some(RunGrant::Share { .. }) => return Err("a proportional share is not analysed by this version".to_owned()),
        Some(RunGrant::Windows { .. }) | None => {}
    }
    scope.table()?;
    if let Some(policy) = scope.home_policy(partition, virtual_core) {
        require_windows(policy, || format!("the core of `{}`", scope.partition_name(partition)))?;
    }
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
fn head_ns(scope: &Scope<'_>) -> Result<u64, String> {
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
    match windows::faults(scope, core).first() {
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
