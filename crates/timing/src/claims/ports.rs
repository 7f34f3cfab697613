//! The ends of channels as the claims about ports take them: who writes when, who reads when, and what runs.

use super::results::{Results, TaskTimes};
use super::scope::Scope;
use crate::network_calculus::{Arrivals, Reads};
use crate::response::Response;
use claim::{Assumption, Status, Verdict};
use model::system::{Channel, ChannelKind, Exchange, PortEnd, QueueRead};
use quantity::{PartitionId, TaskId};
use std::collections::BTreeSet;
use std::num::NonZeroU64;

/// Why there is no bound, and what is known of the claim for all that.
pub(super) struct Open {
    status: Status,
    pub(super) reason: String,
}

impl From<String> for Open {
    /// A datum is missing.
    fn from(reason: String) -> Self {
        Self { status: Status::NotAnalysed, reason }
    }
}

impl From<&str> for Open {
    fn from(reason: &str) -> Self {
        reason.to_owned().into()
    }
}

impl Open {
    /// Everything is known and nothing bounds it.
    pub(super) fn unbounded(reason: String) -> Self {
        Self { status: Status::NotShown, reason }
    }

    /// The claim with what is known of it.
    pub(super) fn on(self, base: Verdict) -> Verdict {
        Verdict { status: self.status, reason: Some(self.reason), ..base }
    }
}

/// The times of a task.
///
/// # Errors
/// Which datum is missing, or that its response has no bound.
pub(super) fn times(scope: &Scope<'_>, results: &Results, id: TaskId) -> Result<TaskTimes, Open> {
    let cores = results.cores(scope.system.task(id).partition).iter().filter_map(|(_, found)| found.as_ref().ok());
    let mut responses = cores.flat_map(|core| core.ids.iter().zip(&core.responses));
    let unbounded = responses.any(|(&of, response)| of == id && matches!(response, Response::Unbounded(_)));
    let open = |reason| if unbounded { Open::unbounded(reason) } else { reason.into() };
    results.task(scope, id).map_err(open)
}

/// Whether an end takes part in the schedule. A device always does.
pub(super) fn runs(scope: &Scope<'_>, end: PortEnd) -> bool {
    match end {
        PortEnd::Task(id) => {
            let partition = scope.system.task(id).partition;
            !scope.is_idle(partition) && scope.tasks(partition).contains(&id)
        }
        PortEnd::Partition(partition) => !scope.is_idle(partition),
        PortEnd::Device(_) => true,
    }
}

/// Whether the schedule has a writer and a reader of the channel: nothing is claimed of what it leaves out.
pub(super) fn is_used(scope: &Scope<'_>, channel: &Channel) -> bool {
    runs(scope, channel.source.value) && channel.destinations.iter().any(|end| runs(scope, end.value))
}

/// An end as the file names it.
pub(super) fn label(scope: &Scope<'_>, end: PortEnd) -> String {
    match end {
        PortEnd::Task(id) => scope.system.task_label(id),
        PortEnd::Partition(partition) => scope.partition_name(partition).to_owned(),
        PortEnd::Device(device) => scope.system.board.devices[device.index()].name.value.clone(),
    }
}

/// The task at an end that writes or reads, as `verb` says.
///
/// # Errors
/// That no task is named there.
pub(super) fn task_at(scope: &Scope<'_>, end: PortEnd, verb: &str) -> Result<TaskId, String> {
    match end {
        PortEnd::Task(id) => Ok(id),
        PortEnd::Partition(_) => Err(format!("which task of `{}` {verb} is not given", label(scope, end))),
        PortEnd::Device(_) => Err(format!("when the device `{}` {verb} is not given", label(scope, end))),
    }
}

/// How much later after its arrival one job writes than another, in ns: between its shortest execution and its response;
/// with logical execution time from the deadline on.
pub(super) fn write_jitter_ns(scope: &Scope<'_>, id: TaskId, times: &TaskTimes) -> u64 {
    match scope.system.task(id).exchange {
        Exchange::StartFinish => times.response_ns.saturating_sub(times.shortest_ns),
        Exchange::Logical => times.response_ns.saturating_sub(times.deadline_ns),
    }
}

/// How much later after its arrival one job reads than another, in ns: it reads at its first execution, and its shortest
/// execution is still before it; with logical execution time at once.
fn read_lateness_ns(scope: &Scope<'_>, id: TaskId, times: &TaskTimes) -> u64 {
    match scope.system.task(id).exchange {
        Exchange::StartFinish => times.response_ns.saturating_sub(times.shortest_ns),
        Exchange::Logical => 0,
    }
}

/// The messages that a channel's source sends, and what keeps the numbers from being shown.
pub(super) struct Sent {
    pub(super) arrivals: Arrivals,
    /// The time between two batches that surely come, in ns; none where none has to.
    pub(super) surely_every_ns: Option<u64>,
    pub(super) caveat: Option<String>,
}

/// What the source of a channel sends: the jobs of a task, each late by its write jitter, no sooner than declared; or what
/// is declared of another source.
///
/// # Errors
/// Which datum is missing.
pub(super) fn sent(scope: &Scope<'_>, results: &Results, channel: &Channel) -> Result<Sent, Open> {
    let (declared_ns, batch, burst) = match &channel.kind {
        ChannelKind::Sampling { .. } => (None, 1, 0),
        ChannelKind::Queuing { min_interarrival, batch, burst, .. } => {
            (min_interarrival.map(|least| least.value.ns()), batch.value, burst.map_or(0, |burst| burst.value))
        }
    };
    let arrivals = |distance_ns: u64, jitter_ns| {
        let distance_ns = NonZeroU64::new(distance_ns).ok_or("the time between two messages is zero")?;
        Ok::<_, Open>(Arrivals { batch, burst, distance_ns, jitter_ns })
    };
    match (channel.source.value, declared_ns) {
        (PortEnd::Task(id), _) => {
            let times = times(scope, results, id)?;
            let jitter_ns = write_jitter_ns(scope, id, &times);
            let is_sure = !scope.system.task(id).sporadic
                && times.caveat.is_none()
                && declared_ns.is_none_or(|least| least <= times.period_ns);
            Ok(Sent {
                arrivals: arrivals(declared_ns.unwrap_or(times.period_ns), jitter_ns)?,
                surely_every_ns: is_sure.then_some(times.period_ns),
                caveat: times.caveat,
            })
        }
        (_, Some(distance_ns)) => Ok(Sent { arrivals: arrivals(distance_ns, 0)?, surely_every_ns: None, caveat: None }),
        (end, None) => Err(task_at(scope, end, "writes").err().unwrap_or_default().into()),
    }
}

/// The reads of a queue by the task at one destination, its times beside.
///
/// # Errors
/// Which datum is missing.
pub(super) fn reads(
    scope: &Scope<'_>,
    results: &Results,
    end: PortEnd,
    read: QueueRead,
) -> Result<(Reads, TaskTimes), Open> {
    let id = task_at(scope, end, "reads")?;
    if scope.system.task(id).sporadic {
        let name = label(scope, end);
        return Err(format!("`{name}` is sporadic: the longest time between two of its reads is not given").into());
    }
    let times = times(scope, results, id)?;
    let most = match read {
        QueueRead::All => None,
        QueueRead::AtMost(most) => Some(NonZeroU64::new(most).ok_or("a read takes no message")?),
    };
    let period_ns = NonZeroU64::new(times.period_ns).ok_or("a reader's period is zero")?;
    let lateness_ns = read_lateness_ns(scope, id, &times);
    Ok((Reads { most, period_ns, lateness_ns }, times))
}

/// What the responses of these ends' partitions take for granted.
pub(super) fn assumptions(
    scope: &Scope<'_>,
    results: &Results,
    ends: impl IntoIterator<Item = PortEnd>,
) -> Vec<Assumption> {
    let partitions: BTreeSet<PartitionId> = ends.into_iter().filter_map(|end| scope.system.partition_of(end)).collect();
    let cores = partitions.iter().flat_map(|&partition| results.cores(partition));
    let analysed = cores.filter_map(|(_, found)| found.as_ref().ok());
    let all: BTreeSet<Assumption> = analysed.flat_map(|core| core.basis.assumptions.iter().copied()).collect();
    all.into_iter().collect()
}

/// All ends of a channel.
pub(super) fn ends(channel: &Channel) -> impl Iterator<Item = PortEnd> {
    [channel.source.value].into_iter().chain(channel.destinations.iter().map(|end| end.value))
}

/// Sentences joined behind one another, without those that are not there.
pub(super) fn joined<const N: usize>(sentences: [Option<String>; N]) -> Option<String> {
    let there: Vec<String> = sentences.into_iter().flatten().collect();
    (!there.is_empty()).then(|| there.join("; "))
}
