//! The claims in time that no analysis answers yet: listed, so that nothing passes by being forgotten.

use claim::{Kind, Unit, Verdict};
use model::System;
use model::system::ChannelKind;

/// One *not analysed* verdict for every subject.
pub(super) fn check(system: &System) -> Vec<Verdict> {
    let mut verdicts = channels(system);
    verdicts.extend(restarts(system));
    verdicts.extend(boots(system));
    verdicts.extend(health(system));
    verdicts.extend(forwarding(system));
    verdicts.extend(schedule_changes(system));
    verdicts
}

fn channels(system: &System) -> Vec<Verdict> {
    let verdict = |channel: &model::system::Channel| {
        let (kind, limit, unit, analysis) = match &channel.kind {
            ChannelKind::Sampling { refresh } => (
                Kind::Refresh,
                refresh.as_ref().map(|refresh| refresh.value.ns()),
                Unit::Nanoseconds,
                "the age of sampled messages",
            ),
            ChannelKind::Queuing { depth, .. } => {
                (Kind::QueueDepth, Some(depth.value), Unit::Messages, "the depth that a queue needs")
            }
        };
        let verdict = Verdict::pending(kind, channel.name.value.clone(), channel.name.span, analysis);
        Verdict { limit, unit, ..verdict }
    };
    system.channels.iter().map(verdict).collect()
}

fn restarts(system: &System) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for partition in &system.partitions {
        let Some(restart) = &partition.restart else { continue };
        for (word, need) in [("warm", &restart.warm_need), ("cold", &restart.cold_need)] {
            let Some(need) = need else { continue };
            let subject = format!("{}/{word}", partition.name.value);
            let verdict = Verdict::pending(Kind::Restart, subject, need.span, "the outage after a restart");
            verdicts.push(Verdict { limit: Some(need.value.ns()), ..verdict });
        }
    }
    verdicts
}

/// One claim a partition, at the first need that names it.
fn boots(system: &System) -> Vec<Verdict> {
    let needs = || system.boot.iter().flat_map(|boot| &boot.needs);
    let of = |id| needs().find(|need| need.partitions.iter().any(|named| named.value == id)).map(|need| (id, need));
    let verdict = |(id, need): (quantity::PartitionId, &model::system::BootNeed)| {
        let name = system.partition(id).name.value.clone();
        let verdict = Verdict::pending(Kind::Boot, name, need.within.span, "the time until a partition is operational");
        Verdict { limit: Some(need.within.value.ns()), ..verdict }
    };
    system.partition_ids().filter_map(of).map(verdict).collect()
}

fn health(system: &System) -> Option<Verdict> {
    let first = system.health.as_ref()?.entries.first()?;
    Some(Verdict::pending(Kind::Health, "table".to_owned(), first.error.span, "the health-monitor table"))
}

fn forwarding(system: &System) -> Option<Verdict> {
    let forwarder = system.network.as_ref()?.forwarder;
    let name = system.partition(forwarder.value).name.value.clone();
    Some(Verdict::pending(Kind::Forwarding, name, forwarder.span, "what the forwarder carries"))
}

/// One claim for each schedule that another one can change to.
fn schedule_changes(system: &System) -> Vec<Verdict> {
    if system.schedules.len() < 2 {
        return Vec::new();
    }
    let names = system.schedules.iter().map(|schedule| &schedule.name);
    names
        .map(|name| {
            Verdict::pending(Kind::ScheduleChange, name.value.clone(), name.span, "the change to a module schedule")
        })
        .collect()
}
