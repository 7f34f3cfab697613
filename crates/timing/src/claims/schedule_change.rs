//! Changes of module schedule: how long each takes, and whether those that go on keep their deadlines.
//!
//! Computes: for each change that is allowed, the longest time from the request to the instant at which every partition
//! that starts anew is back; whether every job of a partition that goes on keeps its deadline; and what queues and
//! sampled messages come to.
//! Source: module schedules of ARINC 653 part 2 (from memory); `crate::transition`, `crate::startup`.
//! Assumptions: the change takes effect at the end of the running frame, asked for exactly at an end at the next one.
//! Symbols: times in ns.
//! Invariants and why it ends: one pass over ordered pairs and partitions; the parts add up to the bound.
//! Differs from the source: nothing.
//! Checked by: the survey vessel's other schedules, tick-by-tick runs in `tests/recovery.rs`.

mod carried;
mod fate;

use super::results::Results;
use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Part, PartKind, Relation, Status, Verdict, sum_of_parts};
use fate::Fate;

/// One schedule and what is known of it.
type Known<'a> = (Scope<'a>, Results);

/// A change from one schedule to another.
struct Change<'a> {
    from: &'a Known<'a>,
    to: &'a Known<'a>,
}

/// One verdict for each schedule that may follow another.
pub(super) fn check(known: &[Known<'_>]) -> Vec<Verdict> {
    let to_each = |from| known.iter().map(move |to| Change { from, to });
    let changes = known.iter().flat_map(to_each).filter(Change::is_allowed);
    changes.map(|change| change.verdict()).collect()
}

impl Change<'_> {
    fn is_allowed(&self) -> bool {
        let (from, to) = (self.from.0.module_schedule(), &self.to.0.module_schedule().name.value);
        let named = from.may_follow.iter().any(|name| name.value == *to);
        from.name.value != *to && (from.may_follow.is_empty() || named)
    }

    fn verdict(&self) -> Verdict {
        let (from, to) = (self.from.0.name(), self.to.0.name());
        let open = Verdict {
            relation: Relation::AtMost,
            place: Some(self.to.0.module_schedule().name.span),
            ..Verdict::not_analysed(Kind::ScheduleChange, format!("{from}/{to}"), self.basis(), String::new())
        };
        let fates: Vec<_> =
            self.from.0.system.partition_ids().map(|partition| fate::of_partition(self, partition)).collect();
        let unknown: Vec<_> = fates.iter().filter_map(Fate::unknown).collect();
        if !unknown.is_empty() {
            return Verdict { reason: Some(unknown.join("; ")), ..open };
        }
        self.judge(open, &fates)
    }

    fn judge(&self, open: Verdict, fates: &[Fate]) -> Verdict {
        let frame_ns = self.from.0.frame_ns();
        let mut parts = vec![Part::new(self.from.0.name(), PartKind::Waiting, frame_ns)];
        // Of equal ones the first.
        let slowest = fates
            .iter()
            .filter_map(Fate::restart)
            .reduce(|slowest, other| if sum_of_parts(other) > sum_of_parts(slowest) { other } else { slowest });
        parts.extend_from_slice(slowest.unwrap_or_default());
        let bound_ns = sum_of_parts(&parts);
        assert!(bound_ns >= frame_ns, "a change waits for the frame's end");
        let problems: Vec<_> = fates.iter().filter_map(Fate::problem).collect();
        let status = if problems.is_empty() { Status::Shown } else { Status::NotShown };
        let told = problems.into_iter().chain(fates.iter().filter_map(Fate::note));
        let told: Vec<_> = told.map(str::to_owned).chain(carried::notes(self)).collect();
        let reason = Some(told.join("; ")).filter(|reason| !reason.is_empty());
        // Asked for exactly at a frame's end it waits for the whole next one.
        let exact = slowest.is_none();
        Verdict { status, bound: Some(bound_ns), exact, parts, reason, ..open }
    }

    fn basis(&self) -> Basis {
        let mut assumptions = vec![
            Assumption::InputsValid,
            Assumption::RoundRobin,
            Assumption::MastersListed,
            Assumption::WindowsEnforced,
        ];
        if self.from.0.system.platform.regulation.is_some() {
            assumptions.push(Assumption::NotThrottled);
        }
        assumptions.push(Assumption::InterruptsPended);
        let source = "module schedules of ARINC 653 part 2; Real and Crespo, Real-Time Systems 2004 (from memory)";
        Basis { analysis: "schedule-change", source, assumptions }
    }
}
