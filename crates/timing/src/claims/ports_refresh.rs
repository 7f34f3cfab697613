//! How old a sampled message may get before the next one replaces it, against its refresh period.
//!
//! Computes: the largest time between two writes of a sampling channel, and with it the age below which every reader
//! finds its message; through the forwarder, the longest way of the message more.
//! Source: refresh period and validity of sampling ports: ARINC 653 part 1 (from memory). The gap is own arithmetic.
//! Assumptions: those of the writer's response; frames forwarded as declared.
//! Symbols: `T` period, `R` response, `BCET` shortest execution of the writer, `F` delay through the forwarder, in ns.
//! `gap = T + R - BCET + F`; with logical execution time `T + max(0, R - D) + F`.
//! Invariants and why it ends: plain arithmetic; the gap holds whatever reads, so it is free of the readers' tables.
//! Differs from the source: the standard judges each read; here the bound holds for any.
//! Checked by: the survey vessel's seventeen gaps, a run of writer and reader.

use super::network;
use super::ports::{self, Open, is_used, joined, label, task_at, write_jitter_ns};
use super::results::Results;
use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Part, PartKind, Status, Verdict, Witness};
use diagnostic::Located;
use model::system::{Channel, ChannelKind};
use quantity::{ChannelId, Duration};

/// The largest time between two writes of a channel, in parts.
struct Gap {
    parts: Vec<Part>,
    /// The writer's period: no schedule makes every gap shorter.
    period_ns: u64,
    /// Whether every gap is the period.
    exact: bool,
    caveat: Option<String>,
}

impl Gap {
    fn ns(&self) -> u64 {
        claim::sum_of_parts(&self.parts)
    }
}

/// One verdict for each sampling channel that the schedule uses.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let channels = (0..scope.system.channels.len()).map(ChannelId::new);
    channels.filter_map(|id| verdict(scope, results, id)).collect()
}

fn verdict(scope: &Scope<'_>, results: &Results, id: ChannelId) -> Option<Verdict> {
    let channel = scope.system.channel(id);
    let ChannelKind::Sampling { refresh } = &channel.kind else { return None };
    if !is_used(scope, channel) {
        return None;
    }
    let name = channel.name.value.clone();
    let limit = refresh.map(|refresh| refresh.value.ns());
    let base = scope.claim(Kind::Refresh, name, basis(scope, results, channel), channel.name.span, String::new());
    let base = Verdict { limit, ..base };
    Some(match (refresh, gap(scope, results, id)) {
        (None, _) => {
            let reason = format!("`refresh` of `{}` is not given", channel.name.value);
            Verdict { reason: Some(reason), ..base }
        }
        (Some(_), Err(open)) => open.on(base),
        (Some(refresh), Ok(gap)) => judge(scope, channel, refresh, gap, base),
    })
}

fn basis(scope: &Scope<'_>, results: &Results, channel: &Channel) -> Basis {
    let mut assumptions = ports::assumptions(scope, results, [channel.source.value]);
    assumptions.extend(channel.forwarded.then_some(Assumption::ForwardedAsDeclared));
    Basis { analysis: "sampling-ports", source: "ARINC 653 part 1 (from memory)", assumptions }
}

fn judge(scope: &Scope<'_>, channel: &Channel, refresh: &Located<Duration>, gap: Gap, base: Verdict) -> Verdict {
    let (bound_ns, limit_ns) = (gap.ns(), refresh.value.ns());
    let exact = gap.exact && gap.caveat.is_none();
    let base = Verdict { bound: Some(bound_ns), exact, parts: gap.parts, ..base };
    let bound = Duration::from_ns(bound_ns);
    if bound_ns <= limit_ns {
        let reason =
            gap.caveat.clone().or_else(|| Some(format!("{} finds it less than {bound} old", readers(scope, channel))));
        let status = if gap.caveat.is_some() { Status::NotShown } else { Status::Shown };
        return Verdict { status, reason, ..base };
    }
    if gap.period_ns > limit_ns {
        let writer = label(scope, channel.source.value);
        let period = Duration::from_ns(gap.period_ns);
        let reason = format!("`{writer}` writes once in {period}, and what it writes is valid for {}", refresh.value);
        let witness = Some(Witness::of_fact(&*reason));
        return Verdict { status: Status::Violated, reason: Some(reason), witness, ..base };
    }
    let over = Duration::from_ns(bound_ns - limit_ns);
    let stale = format!(
        "stale possible: {} may find it up to {bound} old, {over} more than its refresh period",
        readers(scope, channel)
    );
    Verdict { status: Status::NotShown, reason: joined([Some(stale), gap.caveat]), ..base }
}

/// The readers that run, as the subject of a sentence.
fn readers(scope: &Scope<'_>, channel: &Channel) -> String {
    let running = channel.destinations.iter().filter(|end| ports::runs(scope, end.value));
    let names: Vec<String> = running.map(|end| format!("`{}`", label(scope, end.value))).collect();
    if names.len() > 1 { format!("each of {}", names.join(", ")) } else { names.join("") }
}

fn gap(scope: &Scope<'_>, results: &Results, id: ChannelId) -> Result<Gap, Open> {
    let channel = scope.system.channel(id);
    let writer = task_at(scope, channel.source.value, "writes")?;
    let name = scope.system.task_label(writer);
    if scope.system.task(writer).sporadic {
        return Err(format!("`{name}` is sporadic: the longest time between two of its writes is not given").into());
    }
    let times = ports::times(scope, results, writer)?;
    let late_ns = write_jitter_ns(scope, writer, &times);
    let mut parts = vec![Part::new(&*name, PartKind::Waiting, times.period_ns)];
    if late_ns > 0 {
        parts.push(Part::new(&*name, PartKind::Delay, late_ns));
    }
    let mut gap = Gap { parts, period_ns: times.period_ns, exact: late_ns == 0, caveat: times.caveat };
    if channel.forwarded {
        let through = network::slowest_way(scope, results, id)?;
        gap.parts.push(Part::new(&*channel.name.value, PartKind::Port, through.delay_ns));
        gap.exact = false;
        gap.caveat = joined([gap.caveat, through.caveat]);
    }
    Ok(gap)
}
