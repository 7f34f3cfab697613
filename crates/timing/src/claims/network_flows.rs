//! What the forwarder carries in one module schedule, and what it does with it.

use super::partition_supply::{self, Losses};
use super::ports::{self, Open, is_used};
use super::results::Results;
use super::scope::Scope;
use crate::network_calculus::{Flow, Forwarder, NoDelay, Service};
use crate::supply::Supply;
use model::system::{Channel, Network, PortEnd};
use quantity::{ChannelId, PartitionId, TaskId};
use std::num::NonZeroU64;

/// All forwarded channels of a schedule, with the service that they share.
pub(super) struct Carried {
    pub(super) forwarder: PartitionId,
    pub(super) work: Work,
    /// The channels in file order; their flows count senders as `senders` does.
    pub(super) channels: Vec<(ChannelId, Flow)>,
    /// The names of the sending partitions, and of devices without owner.
    pub(super) senders: Vec<String>,
    /// The time between two batches that surely come, in ns, in the order of the channels.
    pub(super) surely_every_ns: Vec<Option<u64>>,
    pub(super) caveat: Option<String>,
}

/// Where the forwarder's work is done.
pub(super) enum Work {
    /// In the jobs of this task. Times in ns.
    Task { id: TaskId, period_ns: NonZeroU64, response_ns: u64, budget_ns: u64 },
    /// In all windows of the partition, which has no tasks: what it surely has, and what it has at the most.
    Partition { surely: Box<Supply>, at_most: Box<Supply> },
}

/// The system's network, where the schedule uses it.
pub(super) fn network<'a>(scope: &Scope<'a>) -> Option<&'a Network> {
    let network = scope.system.network.as_ref()?;
    channels(scope).next().map(|_| network)
}

/// The forwarded channels that the schedule uses, in file order.
pub(super) fn channels<'a>(scope: &Scope<'a>) -> impl Iterator<Item = (ChannelId, &'a Channel)> {
    let all = scope.system.channels.iter().enumerate().map(|(index, channel)| (ChannelId::new(index), channel));
    let used: Vec<_> = all.filter(|(_, channel)| channel.forwarded && is_used(scope, channel)).collect();
    used.into_iter()
}

/// Every flow through the forwarder: a bound on one needs them all.
///
/// # Errors
/// Which datum is missing.
pub(super) fn carried(scope: &Scope<'_>, results: &Results) -> Result<Carried, Open> {
    let network = scope.system.network.as_ref().ok_or("`network` is not given")?;
    let forwarder = network.forwarder.value;
    if scope.is_idle(forwarder) {
        let name = scope.partition_name(forwarder);
        return Err(format!("the forwarder `{name}` does not run in the module schedule `{}`", scope.name()).into());
    }
    let (work, caveat) = work(scope, results, network)?;
    let mut all =
        Carried { forwarder, work, channels: Vec::new(), senders: Vec::new(), surely_every_ns: Vec::new(), caveat };
    for (id, channel) in channels(scope) {
        let sent = ports::sent(scope, results, channel)?;
        let sender = all.sender(sender_name(scope, channel.source.value));
        let frames = channel.destinations.len() as u64;
        let cost_ns = cost_ns(network, channel)?;
        all.channels.push((id, Flow { sender, arrivals: sent.arrivals, frames, cost_ns }));
        all.surely_every_ns.push(sent.surely_every_ns);
        all.caveat = all.caveat.take().or(sent.caveat);
    }
    Ok(all)
}

fn sender_name(scope: &Scope<'_>, source: PortEnd) -> String {
    match scope.system.partition_of(source) {
        Some(partition) => scope.partition_name(partition).to_owned(),
        None => ports::label(scope, source),
    }
}

fn work(scope: &Scope<'_>, results: &Results, network: &Network) -> Result<(Work, Option<String>), Open> {
    let forwarder = network.forwarder.value;
    let Some(task) = &network.task else {
        if !scope.system.partition(forwarder).tasks.is_empty() {
            let name = scope.partition_name(forwarder);
            return Err(format!("`network.task` is not given, and not all of `{name}` forwards: it has tasks").into());
        }
        let given = |losses| partition_supply::supply(scope, forwarder, 0, losses);
        let surely = Box::new(given(Losses::DECLARED)?.at_any_instant());
        return Ok((Work::Partition { surely, at_most: Box::new(given(Losses::NONE)?.supply) }, None));
    };
    let (id, label) = (task.value, scope.system.task_label(task.value));
    let times = ports::times(scope, results, id)?;
    let wcet = scope.system.task(id).wcet.as_ref().ok_or_else(|| format!("`wcet` of `{label}` is not given"))?;
    let period_ns = NonZeroU64::new(times.period_ns).ok_or_else(|| format!("the period of `{label}` is zero"))?;
    let work = Work::Task { id, period_ns, response_ns: times.response_ns, budget_ns: wcet.value.ns() };
    Ok((work, times.caveat))
}

/// The work of one frame: the fixed part and that of its bytes, rounded up once.
fn cost_ns(network: &Network, channel: &Channel) -> Result<u64, String> {
    let fixed = network.fixed.as_ref().ok_or("`network.fixed` is not given")?.value.ns();
    let per_byte_ps = network.per_byte_ps.as_ref().ok_or("`network.per_byte_ps` is not given")?.value;
    let bytes_ns = (u128::from(per_byte_ps) * u128::from(channel.size.value.get())).div_ceil(1_000);
    let cost_ns = u64::try_from(bytes_ns).ok().and_then(|bytes_ns| bytes_ns.checked_add(fixed));
    cost_ns.ok_or_else(|| format!("the cost of a frame of `{}` is too large", channel.name.value))
}

impl Carried {
    fn sender(&mut self, name: String) -> usize {
        let known = self.senders.iter().position(|sender| *sender == name);
        known.unwrap_or_else(|| {
            self.senders.push(name);
            self.senders.len() - 1
        })
    }

    /// The place of a channel among those carried.
    pub(super) fn position(&self, id: ChannelId) -> Option<usize> {
        self.channels.iter().position(|(other, _)| *other == id)
    }

    /// The channel whose frames never fit into a job of the task, its cost and the job's time in ns.
    pub(super) fn never_fits(&self) -> Option<(ChannelId, u64, u64)> {
        let Work::Task { budget_ns, .. } = self.work else { return None };
        let (id, flow) = self.channels.iter().max_by_key(|(_, flow)| flow.cost_ns)?;
        (flow.cost_ns > budget_ns).then_some((*id, flow.cost_ns, budget_ns))
    }

    /// The forwarder for the analysis.
    ///
    /// # Errors
    /// That some frame never fits.
    pub(super) fn forwarder(&self, scope: &Scope<'_>) -> Result<Forwarder<'_>, Open> {
        let costs = self.channels.iter().map(|(_, flow)| flow.cost_ns);
        let service = match &self.work {
            Work::Partition { surely, .. } => Some(Service::Supply(surely)),
            Work::Task { period_ns, response_ns, budget_ns, .. } => {
                Service::of_jobs(*period_ns, *response_ns, *budget_ns, costs)
            }
        };
        let flows = self.channels.iter().map(|(_, flow)| *flow).collect();
        service.map(|service| Forwarder { service, flows }).ok_or_else(|| {
            Open::unbounded(format!("no job of `{}` surely moves every frame", scope.partition_name(self.forwarder)))
        })
    }
}

/// Why there is no delay through the forwarder of that name.
pub(super) fn no_delay(name: &str, why: NoDelay) -> Open {
    match why {
        NoDelay::Outrun => Open::unbounded(format!("no bound: more frames come than `{name}` surely moves")),
        NoDelay::GaveUp => {
            format!("frames wait in `{name}` for so long that the search for a bound was given up").into()
        }
    }
}
