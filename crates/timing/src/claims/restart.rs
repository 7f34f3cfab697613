//! Restarts: how long a partition is out after a fault.
//!
//! Computes: for a warm and a cold start of each partition the longest time from the fault to the first output of the
//! declared task: detection, action, initialisation from the worst phase of the partition's windows, the wait for the
//! task's next point where it is frame-aligned, and the task's worst response; and what others see meanwhile.
//! Source: inverse supply, `crate::startup`, and the response analyses; own derivation, common practice, no source.
//! Assumptions: a fault at any instant is noticed within the declared time; nothing goes before initialisation;
//! free-running tasks are released when it ends.
//! Symbols: times in ns.
//! Invariants and why it ends: a sum of bounds already found; the parts add up to it.
//! Differs from the source: nothing. A bound: initialisation ends inside a window, and the response counts from a
//! window's end. A limit is violated only where detection, action and initialisation pass it without the response.
//! Checked by: the survey vessel's 24 outages, tick-by-tick runs in `tests/recovery.rs`.

mod meanwhile;
mod output;

use super::initialisation::{self, Place, Start};
use super::results::Results;
use super::scope::Scope;
use super::throttling;
use claim::{Assumption, Basis, Kind, Part, PartKind, Relation, Status, Verdict, Witness, sum_of_parts};
use diagnostic::Located;
pub(super) use output::FirstOutput;
use quantity::{Duration, Instant, PartitionId};

/// One verdict for each start with a need, and for each other one about which everything is declared.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let starts = |partition| Start::BOTH.map(|start| (partition, start));
    let all = scope.running_partitions().flat_map(starts);
    all.filter_map(|(partition, start)| claim(scope, results, partition, start)).collect()
}

fn claim(scope: &Scope<'_>, results: &Results, partition: PartitionId, start: Start) -> Option<Verdict> {
    let restart = scope.system.partition(partition).restart.as_ref()?;
    let (need, init) = match start {
        Start::Warm => (restart.warm_need.as_ref(), restart.warm_init.as_ref()),
        Start::Cold => (restart.cold_need.as_ref(), restart.cold_init.as_ref()),
    };
    let told = restart.detection.is_some() && restart.action.is_some() && restart.ends_with.is_some();
    let place = need.or(init.filter(|_| told))?.span;
    let subject = format!("{}/{}", scope.partition_name(partition), start.word());
    let open = Verdict {
        limit: need.map(|need| need.value.ns()),
        relation: Relation::AtMost,
        ..scope.claim(Kind::Restart, subject, basis(scope), place, String::new())
    };
    Some(match outage(scope, results, partition, start) {
        Err(reason) => Verdict { reason: Some(reason), ..open },
        Ok(outage) => {
            let meanwhile = meanwhile::notes(scope, results, partition, &outage);
            judge(open, &outage, meanwhile)
        }
    })
}

/// A restart of a partition, followed.
pub(super) struct Outage {
    pub(super) detection_ns: u64,
    pub(super) action_ns: u64,
    /// The longest time that initialisation takes.
    pub(super) span_ns: u64,
    /// The instant in the frame from which it surely takes that long; none where that hangs on what is not given.
    from_ns: Option<u64>,
    /// The least time from the action's begin to the end of initialisation.
    pub(super) least_ns: u64,
    /// None where the outage is followed to the end of initialisation only.
    output: Option<FirstOutput>,
    /// Why initialisation may be throttled, which is in no span.
    throttled: Option<String>,
    pub(super) parts: Vec<Part>,
}

impl Outage {
    pub(super) fn bound_ns(&self) -> u64 {
        sum_of_parts(&self.parts)
    }

    /// From the fault to the end of initialisation.
    pub(super) fn until_up_ns(&self) -> u64 {
        self.detection_ns.saturating_add(self.action_ns).saturating_add(self.span_ns)
    }

    pub(super) fn caveat(&self) -> Option<&String> {
        self.output.as_ref().and_then(|output| output.caveat.as_ref()).or(self.throttled.as_ref())
    }
}

/// The outage of a partition after one start.
///
/// # Errors
/// Which datum is missing, or why the initialisation or the response is not bounded.
pub(super) fn outage(
    scope: &Scope<'_>,
    results: &Results,
    partition: PartitionId,
    start: Start,
) -> Result<Outage, String> {
    let ends_with = scope.system.partition(partition).restart.as_ref().and_then(|restart| restart.ends_with.as_ref());
    let task = ends_with.ok_or_else(|| initialisation::missing(scope, "ends_with", partition))?.value;
    let up = until_up(scope, partition, start)?;
    let output = FirstOutput::of(scope, results, task)?;
    let parts = [up.parts, output.parts()].concat();
    Ok(Outage { output: Some(output), parts, ..up })
}

/// The same, but only to the end of initialisation.
///
/// # Errors
/// As [`outage`].
pub(super) fn until_up(scope: &Scope<'_>, partition: PartitionId, start: Start) -> Result<Outage, String> {
    let restart = scope.system.partition(partition).restart.clone().unwrap_or_default();
    let given = |time: &Option<Located<Duration>>, key: &str| {
        time.map(|time| time.value.ns()).ok_or_else(|| initialisation::missing(scope, key, partition))
    };
    let work_ns = initialisation::work_ns(scope, partition, start)?;
    let detection_ns = given(&restart.detection, "detection")?;
    let action_ns = given(&restart.action, "action")?;
    let place = Place::of(scope, partition)?;
    let worst = place.longest_span(work_ns).ok_or_else(|| initialisation::never(scope, partition))?;
    let shortest_ns = place.shortest_span_ns(work_ns).unwrap_or(worst.span_ns);
    let name = scope.partition_name(partition);
    let mut parts =
        vec![Part::new(name, PartKind::Detection, detection_ns), Part::new(name, PartKind::Action, action_ns)];
    parts.extend(initialisation::parts(scope, partition, worst.span_ns, work_ns));
    Ok(Outage {
        detection_ns,
        action_ns,
        span_ns: worst.span_ns,
        from_ns: place.is_certain().then_some(worst.from_ns),
        least_ns: action_ns.saturating_add(shortest_ns),
        output: None,
        throttled: throttling::of_partition(scope, partition),
        parts,
    })
}

fn judge(open: Verdict, outage: &Outage, meanwhile: Vec<String>) -> Verdict {
    let bound_ns = outage.bound_ns();
    let output_ns = outage.output.as_ref().map_or(0, FirstOutput::latest_ns);
    assert_eq!(bound_ns, outage.until_up_ns().saturating_add(output_ns), "the parts add up to the bound");
    let base = Verdict { bound: Some(bound_ns), parts: outage.parts.clone(), ..open };
    let mut told: Vec<_> = outage.output.iter().filter_map(FirstOutput::told).collect();
    told.extend(meanwhile);
    let limit_ns = base.limit.unwrap_or(u64::MAX);
    if let Some(from_ns) = outage.from_ns.filter(|_| outage.until_up_ns() >= limit_ns) {
        return violated(base, outage, from_ns, limit_ns);
    }
    let status = if bound_ns > limit_ns {
        told.insert(0, format!("the bound passes the need by {}", Duration::from_ns(bound_ns - limit_ns)));
        Status::NotShown
    } else if let Some(why) = outage.caveat() {
        told.insert(0, why.clone());
        Status::NotShown
    } else {
        Status::Shown
    };
    Verdict { status, reason: Some(told.join("; ")).filter(|reason| !reason.is_empty()), ..base }
}

/// A fault from which initialisation takes the longest, all other times being as declared; the output comes later still.
fn violated(base: Verdict, outage: &Outage, from_ns: u64, limit_ns: u64) -> Verdict {
    let before_ns = outage.detection_ns.saturating_add(outage.action_ns);
    let reason = format!(
        "initialisation that begins {} after the fault and at {} of the frame ends {} after the fault, with no output yet, \
         and {} are allowed",
        Duration::from_ns(before_ns),
        Instant::from_ns(from_ns),
        Duration::from_ns(outage.until_up_ns()),
        Duration::from_ns(limit_ns)
    );
    let witness = Some(Witness::of_fact(&*reason));
    Verdict { status: Status::Violated, reason: Some(reason), witness, ..base }
}

fn basis(scope: &Scope<'_>) -> Basis {
    let mut assumptions =
        vec![Assumption::InputsValid, Assumption::RoundRobin, Assumption::MastersListed, Assumption::WindowsEnforced];
    if scope.system.platform.regulation.is_some() {
        assumptions.push(Assumption::NotThrottled);
    }
    assumptions.extend([Assumption::InterruptsPended, Assumption::FaultsDetected]);
    Basis { analysis: "restart", source: "inverse supply and worst response; common practice, no source", assumptions }
}
