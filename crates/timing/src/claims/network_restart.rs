//! What is lost while the forwarder restarts.
//!
//! Computes: for the warm and the cold restart of the forwarder the frames of one sender that come during its outage,
//! against the depth of that sender's queue.
//! Source: own arithmetic on arrival curves; common practice, no source.
//! Assumptions: faults noticed within the declared time; those of the responses.
//! Symbols: `outage = detection + action + span(init) + R`, with `span` the longest time in which the partition gets the
//! work of its initialisation, `R` the response of the forwarding task; in ns.
//! Invariants and why it ends: plain arithmetic.
//! Differs from the source: frames that wait when the queues are emptied are lost besides and said to be.
//! Checked by: the cases of the network by hand.

use super::initialisation::Start;
use super::network_flows::{Carried, Work};
use super::restart;
use super::results::Results;
use super::scope::Scope;
use model::system::Release;
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
            let (outage, kind) = (Duration::from_ns(outage_ns), start.word());
            let lost = match frames.saturating_sub(depth) {
                0 => "all fit into the queue".to_owned(),
                1 => "1 may find the queue full".to_owned(),
                more => format!("{more} may find the queue full"),
            };
            format!("in the {outage} of a {kind} restart up to {frames} frames come, {lost}")
        }
    };
    let name = scope.partition_name(carried.forwarder);
    let emptied = format!("what waits when `{name}` restarts is lost");
    Some(format!("{}; {}; {emptied}", of(Start::Warm), of(Start::Cold)))
}

/// The longest time for which nothing is forwarded after a fault, in ns.
fn outage_ns(scope: &Scope<'_>, results: &Results, carried: &Carried, start: Start) -> Result<u64, String> {
    let up = restart::until_up(scope, carried.forwarder, start)?;
    Ok(up.until_up_ns().saturating_add(resumed_ns(scope, results, carried)?))
}

/// How long after its initialisation the forwarder moves frames again: a task by its response, and a frame-aligned or
/// sporadic one from its next point on.
fn resumed_ns(scope: &Scope<'_>, results: &Results, carried: &Carried) -> Result<u64, String> {
    let Work::Task { id, .. } = carried.work else { return Ok(0) };
    let times = results.task(scope, id)?;
    let waits = scope.system.task(id).release.value != Release::FreeRunning;
    Ok(times.response_ns.saturating_add(if waits { times.period_ns } else { 0 }))
}
