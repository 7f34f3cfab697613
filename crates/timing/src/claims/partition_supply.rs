//! The supply of one virtual core of a partition: from the plan's windows, its server, its share, or a core of its own.
//!
//! Of a window its head is lost, and as much as handlers that run at once can take from a span as long as the window. That
//! much is taken off behind the head, though handlers may take it anywhere: from any instant `s`, `S(s, t) >= M(s + d, t - d)`
//! with `M` this supply and `d` the most that is taken from any window, since what handlers take of a window behind `s` is no
//! more than `d`, and every later window gives by each of its instants at least what `M` has by then. So the analyses see `M`,
//! and everything `d` later: a job released as late as that loses nothing that `M` has.
//!
//! A core without windows, and one whose window never ends, has no such begin: there the line above all that handlers take is
//! taken off, as `crate::supply::kinds` says. Of a share all of it may be taken from this partition. A server gets its budget
//! less what handlers take of the span in which it is due, as if they ran on it, and keeps its promise beside them, as if they
//! did not: either may be how a budget is counted.
//!
//! What regulation takes of a window is at its begin, and only counts where it is asked for.

use super::at_once;
use super::core_sets::{self, Promise};
use super::home::Member;
use super::scope::Scope;
use super::throttling;
use crate::handlers::Handlers;
use crate::supply::{Interval, Share, Supply, SupplyError};
use diagnostic::Located;
use model::system::{CorePolicy, CoreSet, RunGrant};
use plan::MergedWindow;
use quantity::{CoreId, Duration, PartitionId};

/// What is lost of every window, beyond the platform sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Losses {
    /// How much longer every head is than the platform sheet says.
    pub(super) more_head_ns: u64,
    /// Whether interrupts that are handled at once come; they need not.
    pub(super) interrupted: bool,
    /// Whether regulation takes the begin of windows on a core whose budget may run out; it need not.
    pub(super) stalled: bool,
}

impl Losses {
    /// As the platform sheet and the devices have it.
    pub(super) const DECLARED: Self = Self { more_head_ns: 0, interrupted: true, stalled: false };
    /// The same while no interrupt comes that is handled at once.
    pub(super) const NONE: Self = Self { interrupted: false, ..Self::DECLARED };
    /// As declared, with stalls where a budget may run out.
    pub(super) const STALLED: Self = Self { stalled: true, ..Self::DECLARED };
}

/// A supply as the analyses take it.
pub(super) struct Given {
    /// The usable parts of windows, or what a core set promises.
    pub(super) supply: Supply,
    /// How much later than by the supply its time may come, from an instant within a window.
    pub(super) late_ns: u64,
    /// Whether handlers are counted as taking from it.
    pub(super) interrupted: bool,
}

impl Given {
    /// Whether it is known of every instant what is given, and not only the least of it.
    pub(super) fn is_exact(&self) -> bool {
        self.supply.kind().is_exact() && !self.interrupted
    }

    /// The supply for what may begin at any instant.
    pub(super) fn at_any_instant(&self) -> Supply {
        self.supply.clone().later_by(self.late_ns)
    }
}

/// The supply as the analyses take it.
///
/// # Errors
/// Why there is no such supply, or which datum it lacks.
pub(super) fn supply(
    scope: &Scope<'_>,
    partition: PartitionId,
    virtual_core: u32,
    losses: Losses,
) -> Result<Given, String> {
    let home = scope.home_set(partition, virtual_core);
    let name = scope.partition_name(partition);
    match (home.map(|set| &set.policy), scope.grant(partition)) {
        (None | Some(CorePolicy::WindowTable { .. }), None | Some(RunGrant::Windows { .. })) => {
            of_windows(scope, partition, virtual_core, losses)
        }
        (Some(CorePolicy::BudgetServer | CorePolicy::ProportionalShare { .. }), Some(_))
        | (Some(CorePolicy::Dedicated), _) => of_set(scope, partition, virtual_core, losses),
        (Some(CorePolicy::BudgetServer), None) => Err(format!("`server` of `{name}` is not given")),
        (Some(CorePolicy::ProportionalShare { .. }), None) => Err(format!("`share` of `{name}` is not given")),
        (None, Some(_)) => Err(format!("the core set of `{name}` is not given")),
        (Some(CorePolicy::WindowTable { .. }), Some(_)) => {
            Err(format!("`{name}` asks for time in a way that its core set does not give"))
        }
    }
}

/// The supply that a core set without a window table gives, where it keeps its promise.
fn of_set(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32, losses: Losses) -> Result<Given, String> {
    if losses.stalled {
        return Err("what regulation takes is followed in window tables only".to_owned());
    }
    let Some(set) = scope.home_set(partition, virtual_core) else {
        return Err(format!("the core set of `{}` is not given", scope.partition_name(partition)));
    };
    match core_sets::promise(scope, set, losses)? {
        Promise::Broken(reason) => return Err(reason),
        Promise::NotShown(reason) if losses.more_head_ns > 0 => return Err(reason),
        Promise::Kept | Promise::NotShown(_) => {}
    }
    let handlers =
        scope.home_cores(partition, virtual_core).into_iter().map(|core| at_once::those(scope, core, losses));
    let handlers: Vec<Handlers> = handlers.collect::<Result<_, _>>()?;
    let interrupted = handlers.iter().any(|handlers| !handlers.is_empty());
    let pinned = scope.system.partition(partition).cores.get(virtual_core as usize).map(|core| core.value);
    let member = Member { partition, grant: scope.grant(partition), pinned };
    let supply = match (&set.policy, member.grant) {
        (CorePolicy::BudgetServer, Some(RunGrant::Server { budget, period, deadline })) => {
            let taken_ns = handlers
                .iter()
                .map(|handlers| handlers.most_taken_ns(deadline.value.ns()))
                .fold(0, u64::saturating_add);
            Supply::budget_server(budget.value.ns().saturating_sub(taken_ns), period.value.ns(), deadline.value.ns())
        }
        (CorePolicy::ProportionalShare { .. }, _) => {
            let (share, delay_ns) = share_of(scope, set, &member, losses.more_head_ns)??;
            let left = share.left_by(handlers.iter().map(Handlers::rate).sum(), delay_ns);
            left.and_then(|(share, delay_ns)| Supply::proportional_share(share, delay_ns))
        }
        _ if interrupted => interrupted_core(&handlers, 0),
        _ => Ok(Supply::dedicated()),
    };
    let lacks = |error| match error {
        SupplyError::Nothing if interrupted => "interrupts handled at once may take all of it".to_owned(),
        error => error.to_string(),
    };
    let supply =
        supply.map_err(|error| format!("the supply of `{}`: {}", scope.partition_name(partition), lacks(error)))?;
    Ok(Given { supply, late_ns: 0, interrupted })
}

/// A core, or what handlers leave of it.
///
/// # Errors
/// Which datum of an interrupt is missing, or that handlers may take all of the core.
pub(super) fn whole_core(scope: &Scope<'_>, core: CoreId, losses: Losses) -> Result<Supply, String> {
    let handlers = at_once::those(scope, core, losses)?;
    if handlers.is_empty() {
        return Ok(Supply::dedicated());
    }
    let name = scope.core_name(core);
    interrupted_core(&[handlers], 0).map_err(|_| format!("interrupts handled at once may take all of core {name}"))
}

/// A core of one's own, from which handlers take time, that is given `delay_ns` late.
fn interrupted_core(handlers: &[Handlers], delay_ns: u64) -> Result<Supply, SupplyError> {
    let (share, delay_ns) = Share::WHOLE.left_by(handlers.iter().map(Handlers::rate).sum(), delay_ns)?;
    Supply::interrupted_core(share, delay_ns)
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

fn of_windows(scope: &Scope<'_>, partition: PartitionId, virtual_core: u32, losses: Losses) -> Result<Given, String> {
    scope.table()?;
    let head_ns = head_ns(scope)?.saturating_add(losses.more_head_ns);
    let (mut windows, mut late_ns, mut interrupted) = (Vec::new(), 0, false);
    for table in scope.tables_of(partition, virtual_core) {
        require_sound(scope, table.core)?;
        let handlers = at_once::those(scope, table.core, losses)?;
        let stall_ns = if losses.stalled { throttling::head_ns(scope, partition, table.core)? } else { 0 };
        let merged = table.merged(partition, virtual_core, scope.system.frame.value);
        if !handlers.is_empty() && merged.iter().any(|window| fills_frame(*window, scope.frame_ns())) {
            return without_end(scope, partition, handlers, head_ns.saturating_add(stall_ns));
        }
        interrupted |= !handlers.is_empty() && !merged.is_empty();
        for window in merged {
            let taken_ns = handlers.most_taken_ns(window.length.ns());
            late_ns = late_ns.max(taken_ns);
            windows.push((window, head_ns.saturating_add(stall_ns).saturating_add(taken_ns)));
        }
    }
    let supply = supply_behind(&windows, scope.frame_ns()).map_err(|error| error.to_string())?;
    Ok(Given { supply, late_ns, interrupted })
}

/// A window that fills the frame has its head once and never ends: handlers take from it as from a core of one's own.
fn without_end(scope: &Scope<'_>, partition: PartitionId, handlers: Handlers, head_ns: u64) -> Result<Given, String> {
    let name = scope.partition_name(partition);
    let supply = interrupted_core(&[handlers], head_ns)
        .map_err(|error| format!("the supply of `{name}` behind interrupts handled at once: {error}"))?;
    Ok(Given { supply, late_ns: 0, interrupted: true })
}

/// The supply of joined windows, each without its head of `head_ns`, in frames of `frame_ns`; one joined across the
/// frame's end may run past it.
///
/// # Errors
/// A [`SupplyError`] where windows overlap, or the frame is no length.
pub fn supply_of(windows: &[MergedWindow], frame_ns: u64, head_ns: u64) -> Result<Supply, SupplyError> {
    let windows: Vec<_> = windows.iter().map(|window| (*window, head_ns)).collect();
    supply_behind(&windows, frame_ns)
}

/// The same with a head of its own for each window, in ns.
fn supply_behind(windows: &[(MergedWindow, u64)], frame_ns: u64) -> Result<Supply, SupplyError> {
    let mut usable = Vec::new();
    for &(window, head_ns) in windows {
        add_usable(&mut usable, window, head_ns, frame_ns);
    }
    usable.sort_unstable_by_key(|interval: &Interval| interval.start_ns);
    let boot_ns = windows.iter().map(|&(window, head_ns)| boot_ns(window, head_ns, frame_ns)).fold(0, u64::max);
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
