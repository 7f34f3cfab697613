//! What stands against faults where a message comes by way of several channels, since the partition between them passes it on.
//!
//! Computes: for a channel that passes on another one's messages, the measures that are attached where these are made and checked
//! where they end; and what the ports of the whole way keep from happening, whatever the partition between does.
//! Source: end-to-end protection as EN 50159 and IEC 61784-3 take it, where all that carries a message counts as unsafe (from memory).
//! Assumptions: readers check what was attached. That the partition between only copies is not one: what it changes is noticed.
//! Symbols: a way goes from the channel that is looked at back to the one whose writer makes the messages.
//! Invariants and why it ends: no way is longer than there are channels.
//! Differs from the source: whether a measure is strong enough is the reader's to judge.
//! Checked by: hand-made ways, `tests/exchange.rs`.

use super::{Stand, by_port};
use claim::Verdict;
use model::System;
use model::system::{Channel, ExchangeFault, FaultAnswer};
use quantity::{ChannelId, PartitionId};

/// The channels by which messages come to the readers of a channel, that one first.
pub(super) fn of_channel(system: &System, id: ChannelId) -> Vec<&Channel> {
    let passed = |channel: &&Channel| Some(system.channel(channel.passes_on?.value));
    std::iter::successors(Some(system.channel(id)), passed).take(system.channels.len()).collect()
}

/// Who makes the messages; none where a device does.
pub(super) fn origin(system: &System, way: &[&Channel]) -> Option<PartitionId> {
    system.partition_of(way.last()?.source.value)
}

/// What stands against a kind of fault of which nothing is declared for the channel itself.
pub(super) fn against(system: &System, way: &[&Channel], fault: ExchangeFault, verdicts: &[Verdict]) -> Stand {
    match way {
        [] => Stand::Nothing,
        [alone] => by_port(system, alone, fault, verdicts),
        [_, before @ ..] => attached(before, fault).unwrap_or_else(|| by_ports(system, way, fault, verdicts)),
    }
}

/// A measure that was attached further back. A reason why a fault cannot occur there says nothing of here.
fn attached(before: &[&Channel], fault: ExchangeFault) -> Option<Stand> {
    before.iter().find_map(|channel| match channel.measures.as_ref()?.value.against(fault)? {
        FaultAnswer::Measures(measures) => {
            Some(Stand::PassedOn { measures: measures.clone(), from: channel.name.value.clone() })
        }
        FaultAnswer::CannotOccur(_) => None,
    })
}

/// What all ports of the way keep from happening. Only how many read, and who waits, is not in the hands of who passes on.
fn by_ports(system: &System, way: &[&Channel], fault: ExchangeFault, verdicts: &[Verdict]) -> Stand {
    let why = match fault {
        ExchangeFault::Asymmetry | ExchangeFault::Subset => "one partition only reads each channel of its way",
        ExchangeFault::Blocking => "nobody waits at a port of its way",
        _ => return Stand::Nothing,
    };
    let mut all = Vec::new();
    for channel in way {
        match by_port(system, channel, fault, verdicts) {
            Stand::Construction { rests_on, .. } => all.extend(rests_on),
            _ => return Stand::Nothing,
        }
    }
    Stand::Construction { why, rests_on: all }
}
