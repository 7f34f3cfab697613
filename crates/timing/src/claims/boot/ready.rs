//! When each partition is operational, counted from the first frame's begin.

use crate::claims::initialisation::{self, Place, Start};
use crate::claims::scope::Scope;
use claim::{Part, PartKind};
use quantity::PartitionId;

/// A partition whose initialisation is done.
#[derive(Clone, Debug)]
pub(super) struct Ready {
    /// When, in ns from the first frame's begin.
    pub(super) at_ns: u64,
    /// What passes until then; adds up to it.
    pub(super) parts: Vec<Part>,
    /// Why it may be earlier, however long everything takes.
    pub(super) caution: Option<&'static str>,
}

/// Every partition, operational or why that is not known.
pub(super) struct Readiness {
    partitions: Vec<Option<Result<Ready, String>>>,
}

impl Readiness {
    /// Follows every partition in the schedule after boot.
    pub(super) fn of(scope: &Scope<'_>) -> Self {
        let mut all = Self { partitions: vec![None; scope.system.partitions.len()] };
        scope.system.partition_ids().for_each(|partition| all.follow(scope, partition));
        all
    }

    pub(super) fn of_partition(&self, partition: PartitionId) -> &Result<Ready, String> {
        let found = self.partitions[partition.index()].as_ref();
        found.expect("every partition was followed when this was made")
    }

    /// Follows a partition after those that build it, directly or through others.
    fn follow(&mut self, scope: &Scope<'_>, partition: PartitionId) {
        let mut open = vec![partition];
        while let Some(&next) = open.last() {
            let builder = scope.system.partition(next).built_by.as_ref().map(|by| by.value);
            let unknown = builder.filter(|by| self.partitions[by.index()].is_none());
            if let Some(by) = unknown.filter(|by| !open.contains(by)) {
                open.push(by);
                continue;
            }
            let started = match (builder, unknown) {
                (None, _) => Ok(Ready { at_ns: 0, parts: Vec::new(), caution: None }),
                (Some(by), Some(_)) => Err(format!("`{}` builds itself", scope.partition_name(by))),
                (Some(by), None) => built(scope, by, self.of_partition(by), next),
            };
            self.partitions[next.index()] = Some(started.and_then(|start| initialised(scope, next, start)));
            open.pop();
        }
    }
}

/// A partition that exists from `start` on, initialised.
fn initialised(scope: &Scope<'_>, partition: PartitionId, start: Ready) -> Result<Ready, String> {
    let work_ns = initialisation::work_ns(scope, partition, Start::Cold)?;
    let done = Place::of(scope, partition)?.done(start.at_ns, work_ns);
    let done = done.ok_or_else(|| initialisation::never(scope, partition))?;
    let mut parts = start.parts;
    parts.extend(initialisation::parts(scope, partition, done.at_ns - start.at_ns, work_ns));
    Ok(Ready { at_ns: done.at_ns, parts, caution: start.caution.or(done.caution) })
}

/// A partition, built: after its operational builder has built those before it in the file, and then it.
fn built(
    scope: &Scope<'_>,
    builder: PartitionId,
    ready: &Result<Ready, String>,
    partition: PartitionId,
) -> Result<Ready, String> {
    let name = scope.partition_name(builder);
    let ready = ready.as_ref().map_err(|why| format!("it is not known when `{name}` begins to build it: {why}"))?;
    let mut work_ns = 0u64;
    for other in scope.system.partition_ids().take_while(|other| *other <= partition) {
        if scope.system.partition(other).built_by.as_ref().is_some_and(|by| by.value == builder) {
            work_ns = work_ns.saturating_add(build_time_ns(scope, other)?);
        }
    }
    let done = Place::of(scope, builder)?.done(ready.at_ns, work_ns);
    let done = done.ok_or_else(|| initialisation::never(scope, builder))?;
    let span_ns = done.at_ns - ready.at_ns;
    let mut parts = ready.parts.clone();
    parts.push(Part::new(name, PartKind::Blackout, span_ns - work_ns));
    parts.push(Part::new(format!("{name} builds"), PartKind::Executing, work_ns));
    Ok(Ready { at_ns: done.at_ns, parts, caution: ready.caution.or(done.caution) })
}

/// The execution time that a partition's builder needs for it.
fn build_time_ns(scope: &Scope<'_>, partition: PartitionId) -> Result<u64, String> {
    let given = scope.system.partition(partition).build_time.as_ref();
    given.map(|time| time.value.ns()).ok_or_else(|| initialisation::missing(scope, "build_time", partition))
}
