//! The claims in time that no analysis answers yet: listed, so that nothing passes by being forgotten.

use claim::{Kind, Unit, Verdict};
use model::System;
use model::system::ChannelKind;

/// One *not analysed* verdict for every subject.
pub(super) fn check(system: &System) -> Vec<Verdict> {
    let mut verdicts = channels(system);
    verdicts.extend(forwarding(system));
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

fn forwarding(system: &System) -> Option<Verdict> {
    let forwarder = system.network.as_ref()?.forwarder;
    let name = system.partition(forwarder.value).name.value.clone();
    Some(Verdict::pending(Kind::Forwarding, name, forwarder.span, "what the forwarder carries"))
}
