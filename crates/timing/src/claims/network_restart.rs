//! What is lost while the forwarder restarts.
//!
//! Computes: for the warm and the cold restart of the forwarder the frames of one sender that come during its outage,
//! against the depth of that sender's queue.
//! Source: own arithmetic on arrival curves; common practice, no source.
//! Assumptions: faults noticed within the declared time; those of the responses.
//! Symbols: times in ns; the outage is that of `super::restart` up to the end of initialisation, and the first output of
//! the forwarding task.
//! Invariants and why it ends: plain arithmetic.
//! Differs from the source: frames that wait when the queues are emptied are lost besides and said to be.
//! Checked by: the cases of the network by hand.

use super::initialisation::Start;
use super::network_flows::{Carried, Work};
use super::restart::{self, FirstOutput};
use super::results::Results;
use super::scope::Scope;
use quantity::Duration;

/// What each kind of restart may cost one sender, in a sentence; none where no restart is declared.
pub(super) fn losses(
    scope: &Scope<'_>,
    results: &Results,
    carried: &Carried,
    frames_within: impl Fn(u64) -> u64,
    depth: u64,
) -> Option<String> {
    scope.system.partition(carried.forwarder).restart.as_ref()?;
    let of = |start: Start| match outage_ns(scope, results, carried, start) {
        Err(reason) => format!("what a {} restart loses is not known: {reason}", start.word()),
        Ok(outage_ns) => {
            let frames = frames_within(outage_ns);
            let outage = Duration::from_ns(outage_ns);
            let lost = match frames.saturating_sub(depth) {
                0 => "all fit into the queue".to_owned(),
                1 => "1 may find the queue full".to_owned(),
                more => format!("{more} may find the queue full"),
            };
            format!("in the {outage} of a {} restart up to {frames} frames come, {lost}", start.word())
        }
    };
    let name = scope.partition_name(carried.forwarder);
    let emptied = format!("what waits when `{name}` restarts is lost");
    Some(format!("{}; {}; {emptied}", of(Start::Warm), of(Start::Cold)))
}

/// The longest time for which nothing is forwarded after a fault, in ns.
fn outage_ns(scope: &Scope<'_>, results: &Results, carried: &Carried, start: Start) -> Result<u64, String> {
    let up_ns = restart::until_up(scope, carried.forwarder, start)?.until_up_ns();
    let Work::Task { id, .. } = carried.work else { return Ok(up_ns) };
    Ok(up_ns.saturating_add(FirstOutput::of(scope, results, id)?.latest_ns()))
}
