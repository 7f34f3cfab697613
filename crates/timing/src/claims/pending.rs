//! The claims in time that no analysis answers yet: listed, so that nothing passes by being forgotten.

use claim::{Kind, Unit, Verdict};
use model::System;
use model::system::{ChannelKind, Need};

/// One *not analysed* verdict for every subject.
pub(super) fn check(system: &System) -> Vec<Verdict> {
    let mut verdicts = chains(system);
    verdicts.extend(channels(system));
    verdicts.extend(forwarding(system));
    verdicts
}

fn chains(system: &System) -> Vec<Verdict> {
    let verdict = |chain: &model::system::Chain| {
        let (kind, need, analysis) = match &chain.need {
            Need::Reaction(need) => (Kind::Reaction, need, "the reaction time of a chain"),
            Need::DataAge(need) => (Kind::DataAge, need, "the data age of a chain"),
        };
        let limit = Some(need.value.ns());
        Verdict { limit, ..Verdict::pending(kind, chain.name.value.clone(), chain.name.span, analysis) }
    };
    system.chains.iter().map(verdict).collect()
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

fn forwarding(system: &System) -> Option<Verdict> {
    let forwarder = system.network.as_ref()?.forwarder;
    let name = system.partition(forwarder.value).name.value.clone();
    Some(Verdict::pending(Kind::Forwarding, name, forwarder.span, "what the forwarder carries"))
}
