//! Core sets without a window table: whether what they promise their partitions can be kept.
//!
//! Computes: for each set of budget servers whether every server gets its budget within its deadline, charged two heads in
//! each period, on what interrupts handled at once leave of the core; for each set of proportional shares whether every partition has
//! a share left behind the heads of its turns; for each dedicated set whether every virtual core has a core alone.
//! Source: processor demand of earliest deadline first: Baruah, Rosier & Howell 1990; on several cores the density test:
//! Goossens, Funk & Baruah 2003 (Priority-driven scheduling of periodic task systems on multiprocessors, Real-Time Systems
//! 25). From memory.
//! Assumptions: servers are chosen by earliest deadline, each virtual core's as one of its own; one that is pinned stays.
//! Symbols: `Q` budget, `P` period, `D` deadline of a server, `h` a head (switch and refill), in ns; `m` cores.
//! On one core, or pinned to each: demand of jobs `(Q + 2 h, P, D)` within every span. On several: with
//! `lambda = (Q + 2 h + I) / min(D, P)`, `sum of lambda <= m - (m - 1) max lambda`, with `I` what handlers of all cores take in `D`.
//! Invariants and why it ends: `crate::demand_bound`, and exact fractions. *Violated* only without any head: if the budgets
//! alone pass the core within a span that all begin together, or the cores in the long run.
//! Differs from the source: heads and handlers.
//! Checked by: boundary tables in `tests/`; servers on any of two cores beside handlers, tick by tick.

use super::at_once;
use super::home::Member;
use super::partition_supply::{Losses, head_ns, share_of, whole_core};
use super::scope::Scope;
use crate::demand_bound::{UnderSupply, under_supply};
use crate::multiprocessor::{Density, density_of};
use crate::supply::{Supply, SupplyKind};
use crate::task_set::{Policy, Release, Task, TaskSet};
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::system::{CorePolicy, CoreSet, RunGrant};
use quantity::{CoreId, Duration};
use std::collections::BTreeMap;

/// What is known of a set's promise.
pub(super) enum Promise {
    Kept,
    /// Not excluded to be broken, for this reason.
    NotShown(String),
    /// Broken.
    Broken(String),
}

/// One verdict for each core set that has no window table.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let others = scope.system.core_sets.iter().filter(|set| !matches!(set.policy, CorePolicy::WindowTable { .. }));
    others.map(|set| verdict(scope, set)).collect()
}

fn verdict(scope: &Scope<'_>, set: &CoreSet) -> Verdict {
    let base = Verdict {
        limit: Some(0),
        unit: Unit::Count,
        relation: Relation::AtMost,
        ..scope.claim(Kind::Window, format!("set/{}", set.name.value), basis(set), set.name.span, String::new())
    };
    match promise(scope, set, Losses::DECLARED) {
        Err(reason) => Verdict { reason: Some(reason), ..base },
        Ok(Promise::Kept) => Verdict { status: Status::Shown, bound: Some(0), exact: true, reason: None, ..base },
        Ok(Promise::NotShown(reason)) => {
            Verdict { status: Status::NotShown, bound: Some(1), reason: Some(reason), ..base }
        }
        Ok(Promise::Broken(reason)) => {
            let witness = Some(Witness::of_fact(&*reason));
            Verdict { status: Status::Violated, bound: Some(1), exact: true, reason: Some(reason), witness, ..base }
        }
    }
}

fn basis(set: &CoreSet) -> Basis {
    let (source, assumption) = match set.policy {
        CorePolicy::BudgetServer => (
            "Baruah, Rosier and Howell, Real-Time Systems 2, 1990; Goossens, Funk and Baruah, Real-Time Systems 25, 2003 (from memory)",
            None,
        ),
        CorePolicy::ProportionalShare { .. } => {
            ("Stoica, Abdel-Wahab and others, RTSS 1996 (from memory)", Some(Assumption::ShareWithinQuantum))
        }
        CorePolicy::Dedicated | CorePolicy::WindowTable { .. } => ("common practice, no source", None),
    };
    Basis {
        analysis: "core-sets",
        source,
        assumptions: [Assumption::InputsValid].into_iter().chain(assumption).collect(),
    }
}

/// Whether a set keeps its promise with those losses.
///
/// # Errors
/// Which datum is missing.
pub(super) fn promise(scope: &Scope<'_>, set: &CoreSet, losses: Losses) -> Result<Promise, String> {
    let members = scope.members(set);
    if members.is_empty() {
        return Ok(Promise::Kept); // Nobody is promised anything, as where a schedule idles a whole set.
    }
    match set.policy {
        CorePolicy::WindowTable { .. } => Ok(Promise::Kept),
        CorePolicy::BudgetServer => servers(scope, set, &members, losses),
        CorePolicy::ProportionalShare { .. } => shares(scope, set, &members, losses.more_head_ns),
        CorePolicy::Dedicated => Ok(dedicated(scope, set, &members)),
    }
}

fn servers(scope: &Scope<'_>, set: &CoreSet, members: &[Member<'_>], losses: Losses) -> Result<Promise, String> {
    let heads_ns = head_ns(scope)?.saturating_add(losses.more_head_ns).saturating_mul(2);
    let servers = members.iter().map(|member| server(scope, member)).collect::<Result<Vec<_>, _>>()?;
    let charged: Vec<Task> =
        servers.iter().map(|s| Task { charged_ns: s.charged_ns.saturating_add(heads_ns), ..*s }).collect();
    let mut by_core: BTreeMap<Option<CoreId>, Vec<usize>> = BTreeMap::new();
    for (k, member) in members.iter().enumerate() {
        let only = (set.cores.len() == 1).then(|| set.cores[0]);
        by_core.entry(only.or(member.pinned)).or_default().push(k);
    }
    if by_core.contains_key(&None) {
        return if by_core.len() == 1 {
            on_several_cores(set, &servers, &charged, &with_handlers(scope, set, &charged, losses)?)
        } else {
            Ok(Promise::NotShown("some servers are pinned to a core and some are not".to_owned()))
        };
    }
    for (core, here) in by_core.into_iter().filter_map(|(core, here)| Some((core?, here))) {
        let pick = |all: &[Task]| here.iter().map(|&k| all[k]).collect::<Vec<_>>();
        let given = whole_core(scope, core, losses)?;
        let found = on_one_core(scope.core_name(core), &pick(&servers), &given, &pick(&charged))?;
        if !matches!(found, Promise::Kept) {
            return Ok(found);
        }
    }
    Ok(Promise::Kept)
}

/// Servers that may run on any core of a set, with what handlers may take from each of their jobs before it is due: those of
/// every core, since the job may be there when they come, and move to where the next ones come. A handler on a core takes time from
/// the one job that runs there, so jobs that are that much longer, on cores without handlers, run at the same instants.
///
/// # Errors
/// Which datum of an interrupt is missing.
fn with_handlers(scope: &Scope<'_>, set: &CoreSet, servers: &[Task], losses: Losses) -> Result<Vec<Task>, String> {
    let handlers = set.cores.iter().map(|&core| at_once::those(scope, core, losses)).collect::<Result<Vec<_>, _>>()?;
    let taken_ns = |span_ns| handlers.iter().map(|of| of.most_taken_ns(span_ns)).fold(0, u64::saturating_add);
    let longer = |server: &Task| server.charged_ns.saturating_add(taken_ns(server.deadline_ns));
    Ok(servers.iter().map(|server| Task { charged_ns: longer(server), ..*server }).collect())
}

/// A server as a task whose job in each period is its budget.
fn server(scope: &Scope<'_>, member: &Member<'_>) -> Result<Task, String> {
    let Some(RunGrant::Server { budget, period, deadline }) = member.grant else {
        return Err(format!("`server` of `{}` is not given", scope.partition_name(member.partition)));
    };
    Ok(Task {
        priority: 0,
        period_ns: period.value.ns(),
        deadline_ns: deadline.value.ns(),
        charged_ns: budget.value.ns(),
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    })
}

/// Servers on the whole core alone, and charged with what they cost on what is given of it.
fn on_one_core(core: &str, servers: &[Task], given: &Supply, charged: &[Task]) -> Result<Promise, String> {
    let judge = |supply: &Supply, tasks: &[Task]| {
        let set = TaskSet::with_policy(tasks, Policy::EarliestDeadline).map_err(|error| error.to_string())?;
        Ok::<_, String>(under_supply(supply, &set))
    };
    let charges = match given.kind() {
        SupplyKind::InterruptedCore => ", two heads in each period and interrupts handled at once included,",
        _ => ", two heads in each period included,",
    };
    let what = |found: &UnderSupply, with: &str| match found {
        UnderSupply::Passed { span_ns } => {
            let span = Duration::from_ns(*span_ns);
            format!(
                "within {span} that all begin a period together, the servers of core {core} are due more{with} than fits"
            )
        }
        _ => format!("the servers of core {core} ask for more{with} than the core"),
    };
    let alone = judge(&Supply::dedicated(), servers)?;
    if matches!(alone, UnderSupply::Passed { .. } | UnderSupply::Overloaded(_)) {
        return Ok(Promise::Broken(what(&alone, "")));
    }
    match judge(given, charged)? {
        UnderSupply::Borne => Ok(Promise::Kept),
        UnderSupply::GaveUp => Err(format!("the servers of core {core} have too many deadlines to look at")),
        found => Ok(Promise::NotShown(what(&found, charges))),
    }
}

/// Servers alone, charged with heads, and with handlers beside these.
fn on_several_cores(
    set: &CoreSet,
    servers: &[Task],
    charged: &[Task],
    interrupted: &[Task],
) -> Result<Promise, String> {
    let cores = set.cores.len() as u64;
    let parts = |tasks: &[Task], within: fn(&Task) -> u64| -> Vec<(u64, u64)> {
        tasks.iter().map(|task| (task.charged_ns, within(task))).collect()
    };
    let name = &set.name.value;
    if density_of(&parts(servers, |task| task.period_ns), cores) == Density::Overloaded {
        return Ok(Promise::Broken(format!("the servers of core set `{name}` ask for more than its {cores} cores")));
    }
    let handlers = if interrupted == charged { "" } else { " and interrupts handled at once" };
    Ok(match density_of(&parts(interrupted, |task| task.period_ns.min(task.deadline_ns)), cores) {
        Density::Borne => Promise::Kept,
        Density::Open | Density::Overloaded => Promise::NotShown(format!(
            "the densities of the servers of core set `{name}`, two heads in each period{handlers} included, pass what its {cores} \
             cores surely bear"
        )),
    })
}

fn shares(scope: &Scope<'_>, set: &CoreSet, members: &[Member<'_>], more_ns: u64) -> Result<Promise, String> {
    for member in members {
        if let Err(reason) = share_of(scope, set, member, more_ns)? {
            return Ok(Promise::Broken(reason));
        }
    }
    Ok(Promise::Kept)
}

fn dedicated(scope: &Scope<'_>, set: &CoreSet, members: &[Member<'_>]) -> Promise {
    let mut owners: BTreeMap<CoreId, &Member<'_>> = BTreeMap::new();
    for member in members {
        let Some(core) = member.pinned else { continue };
        if let Some(other) = owners.insert(core, member) {
            let names = [other.partition, member.partition].map(|partition| scope.partition_name(partition));
            let core = scope.core_name(core);
            return Promise::Broken(format!(
                "the dedicated core {core} is given to `{}` and to `{}`",
                names[0], names[1]
            ));
        }
    }
    let (virtual_cores, cores) = (members.len(), set.cores.len());
    if virtual_cores > cores {
        return Promise::Broken(format!(
            "{virtual_cores} virtual cores run in the dedicated core set `{}`, which has {cores} cores",
            set.name.value
        ));
    }
    Promise::Kept
}
