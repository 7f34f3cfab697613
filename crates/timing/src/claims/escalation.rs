//! Escalations: how long a partition whose fault always comes back takes to the end of its ladder.
//!
//! Computes: for each partition the time from the first fault until the strongest action of its escalations is done,
//! or the one with a limit, when every restart is followed by the next fault at once; and whether that many faults
//! come within the window that is counted.
//! Source: own derivation, common practice, no source; the limit is a fault-handling time interval of ISO 26262-1
//! (from memory).
//! Assumptions: the fault comes back when the partition is up again; a counted action is carried out before the next
//! one; the counters of weaker actions begin anew after a stronger one.
//! Symbols: times in ns. `cycle(A)` from one fault to the end of what it brings, where that is action A; `n`, `W` count
//! and window of an escalation; `reach = n cycle(from) + finish(to)`, or `W + finish(to)` where
//! anything but starts is counted.
//! Invariants and why it ends: an escalation leads to a stronger action, so the ladder has no circle; parts add up.
//! Differs from the source: nothing.
//! Checked by: ladders worked out by hand in `tests/recovery.rs`, the survey vessel.

use super::health::Answers;
use super::initialisation::{self, Start};
use super::restart::{self, Outage};
use super::results::Results;
use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Part, PartKind, Relation, Status, Verdict, Witness, sum_of_parts};
use model::system::{Escalation, Health, HealthAction};
use quantity::{Duration, PartitionId};
use std::collections::BTreeMap;

/// One verdict for each partition with an escalation that can happen.
pub(super) fn check(scope: &Scope<'_>, results: &Results) -> Vec<Verdict> {
    let Some(health) = &scope.system.health else { return Vec::new() };
    let answers = Answers::of(scope.system, health);
    let ladder = |partition| Ladder::of(scope, results, health, &answers, partition);
    scope.running_partitions().filter_map(|partition| verdict(scope, ladder(partition))).collect()
}

fn verdict(scope: &Scope<'_>, mut ladder: Ladder<'_>) -> Option<Verdict> {
    let place = ladder.steps.first()?.from.span;
    let subject = format!("escalation/{}", scope.partition_name(ladder.partition));
    let open = Verdict {
        limit: ladder.steps.iter().copied().filter_map(safe_within_ns).min(),
        relation: Relation::AtMost,
        ..scope.claim(Kind::Health, subject, basis(), place, String::new())
    };
    Some(match ladder.climb_all() {
        Err(reason) => Verdict { reason: Some(reason), ..open },
        Ok(climbed) => judge(open, &ladder, &climbed),
    })
}

fn safe_within_ns(step: &Escalation) -> Option<u64> {
    step.safe_within.as_ref().map(|limit| limit.value.ns())
}

/// The escalations that can happen in one partition, weakest outcome first.
struct Ladder<'a> {
    scope: &'a Scope<'a>,
    answers: &'a Answers<'a>,
    partition: PartitionId,
    steps: Vec<&'a Escalation>,
    warm: Result<Outage, String>,
    cold: Result<Outage, String>,
    /// The cycles of the actions that are counted, weakest first.
    cycles: BTreeMap<HealthAction, Cycle>,
}

/// From one fault to the end of the action that it brings, by the slowest and by the fastest way, in ns.
#[derive(Clone, Copy)]
struct Cycle {
    most_ns: u64,
    least_ns: u64,
}

/// From the first of the counted faults to the end of what they lead to.
struct Climb {
    parts: Vec<Part>,
    /// The most that passes between the first and the last of the counted actions, and the least where every fault waits
    /// until the partition is up again; none where anything but starts is counted, which may come as closely as it likes.
    counted: Option<Cycle>,
    /// All of it, and the least until the partition can fail again.
    whole: Cycle,
    caveat: Option<String>,
}

impl<'a> Ladder<'a> {
    fn of(
        scope: &'a Scope<'a>,
        results: &Results,
        health: &'a Health,
        answers: &'a Answers<'a>,
        partition: PartitionId,
    ) -> Self {
        // A guest without tasks has no output that could be waited for.
        let silent = scope.system.partition(partition).tasks.is_empty();
        let outage = |start| match silent {
            true => restart::until_up(scope, partition, start),
            false => restart::outage(scope, results, partition, start),
        };
        let (warm, cold) = (outage(Start::Warm), outage(Start::Cold));
        let mut ladder = Self { scope, answers, partition, steps: Vec::new(), warm, cold, cycles: BTreeMap::new() };
        let mut steps: Vec<_> = health.escalations.iter().filter(|step| step.applies_to(partition)).collect();
        steps.sort_by_key(|step| step.to.value);
        // What an escalation counts is weaker than what it leads to, so it is known before.
        for step in steps {
            if ladder.happens(&step.from.value) {
                ladder.steps.push(step);
            }
        }
        ladder
    }

    fn answered_by(&self, action: HealthAction) -> bool {
        self.answers.act(self.partition, action)
    }

    fn leads_to(&self, action: HealthAction) -> impl Iterator<Item = &'a Escalation> {
        self.steps.iter().copied().filter(move |step| step.to.value == action)
    }

    /// Whether what is counted can happen in this partition.
    fn happens(&self, counted: &str) -> bool {
        HealthAction::of_word(counted)
            .is_none_or(|action| self.answered_by(action) || self.leads_to(action).next().is_some())
    }

    fn outage(&self, action: HealthAction) -> Option<&Result<Outage, String>> {
        match action {
            HealthAction::WarmStart => Some(&self.warm),
            HealthAction::ColdStart => Some(&self.cold),
            _ => None,
        }
    }

    /// From a fault to the end of the action that it brings.
    fn finish_ns(&self, action: HealthAction) -> Result<u64, String> {
        if let Some(outage) = self.outage(action) {
            return outage.as_ref().map(Outage::bound_ns).map_err(Clone::clone);
        }
        let restart = self.scope.system.partition(self.partition).restart.as_ref();
        let missing = |key| initialisation::missing(self.scope, key, self.partition);
        let detection = restart.and_then(|restart| restart.detection).ok_or_else(|| missing("detection"))?;
        let action = restart.and_then(|restart| restart.action).ok_or_else(|| missing("action"))?;
        Ok(detection.value.ns().saturating_add(action.value.ns()))
    }

    /// Climbs every step, each after what it counts.
    fn climb_all(&mut self) -> Result<Vec<Climb>, String> {
        let mut climbed = Vec::new();
        for step in self.steps.clone() {
            if let Some(action) = start_of(&step.from.value)
                && !self.cycles.contains_key(&action)
            {
                let cycle = self.cycle(action, &climbed)?;
                self.cycles.insert(action, cycle);
            }
            climbed.push(self.climb(step)?);
        }
        Ok(climbed)
    }

    /// Every way to one more `action`: those that lead to it have been climbed.
    fn cycle(&self, action: HealthAction, climbed: &[Climb]) -> Result<Cycle, String> {
        let climbed = self.steps.iter().zip(climbed).filter(|(step, _)| step.to.value == action);
        let mut ways: Vec<_> = climbed.map(|(_, climb)| climb.whole).collect();
        if self.answered_by(action) {
            ways.push(Cycle { most_ns: self.finish_ns(action)?, least_ns: self.least_ns(action) });
        }
        let most_ns = ways.iter().map(|way| way.most_ns).max().unwrap_or(0);
        Ok(Cycle { most_ns, least_ns: ways.iter().map(|way| way.least_ns).min().unwrap_or(0) })
    }

    /// The least time from an action to the instant at which the partition can fail again.
    fn least_ns(&self, action: HealthAction) -> u64 {
        self.outage(action).and_then(|outage| outage.as_ref().ok()).map_or(0, |outage| outage.least_ns)
    }

    fn climb(&self, step: &Escalation) -> Result<Climb, String> {
        let (count, from, to) = (step.count.value, &step.from.value, step.to.value);
        let cycle = start_of(from).and_then(|action| self.cycles.get(&action));
        let counted = cycle.map(|cycle| Cycle {
            most_ns: count.saturating_sub(1).saturating_mul(cycle.most_ns),
            least_ns: count.saturating_sub(1).saturating_mul(cycle.least_ns),
        });
        let before = match cycle {
            Some(cycle) => (PartKind::Initialisation, count.saturating_mul(cycle.most_ns)),
            // A single error is the fault itself.
            None => (PartKind::Waiting, if count > 1 { step.window.value.ns() } else { 0 }),
        };
        let outage = self.outage(to).and_then(|outage| outage.as_ref().ok());
        let kind = if outage.is_some() { PartKind::Initialisation } else { PartKind::Action };
        let parts = vec![
            Part::new(format!("{from}, {count} times"), before.0, before.1),
            Part::new(to.word(), kind, self.finish_ns(to)?),
        ];
        let least_ns = counted.map_or(0, |counted| counted.least_ns).saturating_add(self.least_ns(to));
        let whole = Cycle { most_ns: sum_of_parts(&parts), least_ns };
        Ok(Climb { parts, counted, whole, caveat: outage.and_then(|outage| outage.caveat().cloned()) })
    }
}

/// The start that is counted. How soon after anything else the next fault can come is not known.
fn start_of(counted: &str) -> Option<HealthAction> {
    HealthAction::of_word(counted).filter(|action| matches!(action, HealthAction::WarmStart | HealthAction::ColdStart))
}

/// The step with the least room to its limit, or else the last.
fn judged(ladder: &Ladder<'_>, climbed: &[Climb]) -> usize {
    let room = |&k: &usize| {
        let limit_ns = safe_within_ns(ladder.steps[k])?;
        Some(i128::from(limit_ns) - i128::from(sum_of_parts(&climbed[k].parts)))
    };
    let limited = (0..climbed.len()).filter(|k| room(k).is_some());
    limited.min_by_key(|k| room(k)).unwrap_or(climbed.len() - 1)
}

fn judge(open: Verdict, ladder: &Ladder<'_>, climbed: &[Climb]) -> Verdict {
    let k = judged(ladder, climbed);
    let bound_ns = sum_of_parts(&climbed[k].parts);
    let limit_ns = safe_within_ns(ladder.steps[k]);
    let place = Some(ladder.steps[k].to.span);
    let base = Verdict { bound: Some(bound_ns), limit: limit_ns, parts: climbed[k].parts.clone(), place, ..open };
    let pairs = || ladder.steps.iter().zip(climbed);
    if let Some(reason) = pairs().find_map(|(step, climb)| never_reached(step, climb)) {
        let witness = Some(Witness::of_fact(&*reason));
        return Verdict { status: Status::Violated, reason: Some(reason), witness, ..base };
    }
    let over_ns = limit_ns.and_then(|limit_ns| bound_ns.checked_sub(limit_ns)).filter(|&over_ns| over_ns > 0);
    let over = over_ns.map(|ns| format!("the bound passes the time to the safe state by {}", Duration::from_ns(ns)));
    let caveat = climbed.iter().find_map(|climb| climb.caveat.clone());
    let not_shown = over.or_else(|| pairs().find_map(|(step, climb)| may_be_missed(step, climb))).or(caveat);
    let status = if not_shown.is_some() { Status::NotShown } else { Status::Shown };
    let told: Vec<_> = not_shown.into_iter().chain(pairs().map(|(step, climb)| told(step, climb))).collect();
    Verdict { status, reason: Some(told.join("; ")), ..base }
}

fn told(step: &Escalation, climb: &Climb) -> String {
    let after = Duration::from_ns(sum_of_parts(&climb.parts));
    format!("\"{}\" is done {after} after the first fault", step.to.value.word())
}

/// Even the fastest restarts take longer than the window in which they are counted.
fn never_reached(step: &Escalation, climb: &Climb) -> Option<String> {
    let least_ns = climb.counted?.least_ns;
    (least_ns > step.window.value.ns()).then(|| {
        format!(
            "{} times \"{}\" take at least {} where each fault comes when the partition is up again, and are counted \
             within {}: \"{}\" is never reached",
            step.count.value,
            step.from.value,
            Duration::from_ns(least_ns),
            step.window.value,
            step.to.value.word()
        )
    })
}

fn may_be_missed(step: &Escalation, climb: &Climb) -> Option<String> {
    let most_ns = climb.counted?.most_ns;
    (most_ns > step.window.value.ns()).then(|| {
        format!(
            "{} times \"{}\" can take {} and are counted within {}, so \"{}\" may not be reached",
            step.count.value,
            step.from.value,
            Duration::from_ns(most_ns),
            step.window.value,
            step.to.value.word()
        )
    })
}

fn basis() -> Basis {
    Basis {
        analysis: "escalation",
        source: "sums of outages; fault-handling time interval of ISO 26262-1 (from memory)",
        assumptions: vec![Assumption::InputsValid, Assumption::WindowsEnforced, Assumption::FaultsDetected],
    }
}
