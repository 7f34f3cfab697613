//! The claims in time about a system under a plan: one file a claim.
//!
//! A datum that is missing makes *not analysed* of what needs it, and the reason names it.

mod alarms;
mod at_once;
mod boot;
mod bus;
mod chains;
mod charge;
mod cluster_parts;
mod core_margin;
mod core_sets;
mod curves;
mod escalation;
mod growth;
mod health;
mod home;
mod initialisation;
mod jobs_counted;
mod judged_waits;
mod load;
mod locking;
mod network;
mod network_flows;
mod network_restart;
mod opaque;
mod output_jitter;
mod overheads;
mod partition_supply;
mod ports;
mod ports_cost;
mod ports_devices;
mod ports_growth;
mod ports_refresh;
mod queues;
mod response_parts;
mod responses;
mod restart;
mod results;
mod schedule_change;
mod scope;
mod spare;
mod throttling;
mod waits;
mod windows;
mod witness;
mod workload;
mod worst;

pub use alarms::alarms;
pub use curves::{SupplyCurve, supply_curves};
pub use load::Load;
pub use partition_supply::supply_of;
pub use workload::{policy_of, tasks_of};
pub use worst::{is_never_throttled, worst_scenarios};

use chains::aligned::Aligned;
use claim::{Verdict, sort_verdicts};
use model::System;
use plan::Plan;
use quantity::ScheduleId;
use results::Results;
use scope::Scope;

/// Every claim in time about `system` under `plan`, in listing order. With several module schedules, each one's
/// claims carry its name behind.
pub fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let scopes = Scope::of_each_schedule(system, plan);
    let mut verdicts: Vec<_> = health::check(system).into_iter().collect();
    verdicts.extend(boot::check(&Scope::of(system, plan, ScheduleId::new(0))));
    verdicts.extend(chains::check_idle(system, &scopes));
    let known: Vec<_> = scopes
        .into_iter()
        .map(|scope| {
            let results = Results::of(&scope);
            (scope, results)
        })
        .collect();
    verdicts.extend(known.iter().flat_map(|(scope, results)| of_schedule(scope, results)));
    verdicts.extend(schedule_change::check(&known));
    sort_verdicts(&mut verdicts);
    verdicts
}

/// What tells whether partitions keep their time: the claims about windows and responses, and how much of what each is given it
/// asks for, schedule by schedule.
pub fn kept(system: &System, plan: &Plan) -> (Vec<Verdict>, Vec<Load>) {
    let (mut verdicts, mut loads) = (Vec::new(), Vec::new());
    for scope in Scope::of_each_schedule(system, plan) {
        let results = Results::of(&scope);
        verdicts.extend(windows::check(&scope));
        verdicts.extend(core_sets::check(&scope));
        let running = scope.running_partitions();
        verdicts.extend(running.flat_map(|partition| responses::check(&scope, partition, &results)));
        loads.extend(load::of_schedule(&scope, &results));
    }
    sort_verdicts(&mut verdicts);
    (verdicts, loads)
}

/// The claims about one module schedule.
fn of_schedule(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let mut verdicts = windows::check(scope);
    for partition in scope.running_partitions() {
        let cores = results.cores(partition);
        verdicts.extend(responses::check(scope, partition, results));
        verdicts.extend(growth::check(scope, partition, cores));
    }
    let mut aligned = Aligned::new(scope, results);
    verdicts.extend(chains::check(scope, results, &mut aligned));
    verdicts.extend(output_jitter::check(scope, results, &mut aligned));
    verdicts.extend(ports_refresh::check(scope, results));
    verdicts.extend(queues::check(scope, results));
    verdicts.extend(network::check(scope, results));
    verdicts.extend(ports_devices::check(scope));
    verdicts.extend(throttling::check(scope));
    verdicts.extend(restart::check(scope, results));
    verdicts.extend(escalation::check(scope, results));
    verdicts.extend(core_sets::check(scope));
    verdicts.extend(core_margin::check(scope));
    verdicts.extend(spare::check(scope));
    verdicts.extend(overheads::check(scope, results));
    verdicts
}
