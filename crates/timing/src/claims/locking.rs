//! How long a task is blocked: as declared, by the platform's section that cannot be preempted, by named resources.

use super::scope::Scope;
use crate::blocking::{Protocol, User, longest_ns};
use crate::response::Inexact;
use crate::task_set::Policy;
use model::system::Locking;
use quantity::{Duration, TaskId};
use std::collections::BTreeSet;

/// The blocking of one task.
pub(super) struct Blocking {
    pub(super) ns: u64,
    /// Which bound it is, where named resources are in it.
    pub(super) bound: Option<Inexact>,
}

const NONE: Blocking = Blocking { ns: 0, bound: None };

/// The blocking of the task at `k` of those that run together, `ids`, where the platform's section that cannot be preempted
/// takes `nonpreemptable`.
///
/// Under an immediate ceiling a job waits for one section of either kind; under inheritance for both.
///
/// # Errors
/// Which datum is missing.
pub(super) fn blocking(
    scope: &Scope<'_>,
    policy: Policy,
    ids: &[TaskId],
    k: usize,
    nonpreemptable: Option<Duration>,
) -> Result<Blocking, String> {
    let levels: Vec<(i64, i64)> = ids.iter().map(|&id| levels(scope, policy, id)).collect();
    let suffers = |b: usize| b != k && levels[b].1 > levels[k].0;
    if policy == Policy::Cooperative || !(0..ids.len()).any(suffers) {
        return Ok(NONE);
    }
    if let Some(declared) = &scope.system.task(ids[k]).blocking {
        return Ok(Blocking { ns: declared.value.ns(), bound: None });
    }
    let section = nonpreemptable.map(Duration::ns).ok_or_else(|| {
        let label = scope.system.task_label(ids[k]);
        format!("neither `blocking` of `{label}` nor `platform.nonpreemptable` is given")
    });
    let Some(protocol) = protocol(scope, ids)? else { return Ok(Blocking { ns: section?, bound: None }) };
    let held_ns = longest_ns(&users(scope, ids, &levels), protocol)[k];
    let (ns, bound) = match protocol {
        Protocol::Ceiling => (held_ns.max(section?), Inexact::CeilingBlocking),
        Protocol::Inheritance => (held_ns.saturating_add(section?), Inexact::InheritanceBlocking),
    };
    Ok(Blocking { ns, bound: (held_ns > 0).then_some(bound) })
}

/// The level at which a task suffers and the one at which it blocks, the smaller the more urgent.
fn levels(scope: &Scope<'_>, policy: Policy, id: TaskId) -> (i64, i64) {
    let task = scope.system.task(id);
    if policy == Policy::EarliestDeadline {
        // Both times are below 2^53 ns wherever a response is computed.
        let whole = |duration: Duration| i64::try_from(duration.ns()).unwrap_or(i64::MAX);
        let deadline_ns = whole(task.deadline.value);
        return (deadline_ns - scope.system.jitter(id).map_or(0, whole), deadline_ns);
    }
    let level = -i64::from(task.priority.as_ref().map_or(0, |priority| priority.value));
    (level, level)
}

/// How the partition's resources are protected; none where its tasks here name none.
fn protocol(scope: &Scope<'_>, ids: &[TaskId]) -> Result<Option<Protocol>, String> {
    let resources_of = |id: &TaskId| scope.system.task(*id).sections.iter().map(|section| &*section.resource.value);
    let here: BTreeSet<&str> = ids.iter().flat_map(resources_of).collect();
    let Some(first) = ids.first().filter(|_| !here.is_empty()) else { return Ok(None) };
    let partition = scope.system.task(*first).partition;
    let elsewhere = scope.tasks(partition).iter().filter(|id| !ids.contains(id)).flat_map(resources_of);
    if let Some(shared) = elsewhere.into_iter().find(|resource| here.contains(resource)) {
        return Err(format!(
            "resource `{shared}` is used on several virtual cores, which is not analysed by this version"
        ));
    }
    match scope.system.partition(partition).locking.as_ref().map(|locking| locking.value) {
        Some(Locking::Ceiling) => Ok(Some(Protocol::Ceiling)),
        Some(Locking::Inheritance) => Ok(Some(Protocol::Inheritance)),
        None => {
            let name = scope.partition_name(partition);
            Err(format!("`locking` of `{name}` is not given, and its tasks name resources"))
        }
    }
}

fn users(scope: &Scope<'_>, ids: &[TaskId], levels: &[(i64, i64)]) -> Vec<User> {
    let sections = |id: &TaskId| &scope.system.task(*id).sections;
    let names: BTreeSet<&str> = ids.iter().flat_map(sections).map(|section| &*section.resource.value).collect();
    let number = |name: &str| names.iter().take_while(|other| **other != name).count();
    let user = |(id, &(suffers, blocks)): (&TaskId, &(i64, i64))| User {
        suffers,
        blocks,
        sections: sections(id).iter().map(|s| (number(&s.resource.value), s.length.value.ns())).collect(),
    };
    ids.iter().zip(levels).map(user).collect()
}
