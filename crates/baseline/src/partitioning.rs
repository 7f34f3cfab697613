//! Robust partitioning: what the verdicts in time and in space say of one partition, joined.
//!
//! Computes: for every partition whether it keeps its time with the others idle and with the others at their worst, with every
//! channel closed that reaches it (robust time); and whether its storage is its own, what it asks for stays within what it is
//! given, and its faults stay where they are declared to (robust resources). Each is as bad as the worst of its parts.
//! Source: A(M)C 20-193, robust time partitioning and robust resource partitioning (from memory).
//! Assumptions: those of the verdicts that are joined.
//! Symbols: a line is one part with the claims that it joins.
//! Invariants and why it ends: a join never says more than the worst of what it joins; a part without any claim is *not analysed*.
//! Differs from the source: it asks for evidence on the target; here only analysis and simulation speak.
//! Checked by: the survey vessel with one channel opened, with ways that overlap and with a late task; hand-made verdicts below.

mod resources;
mod time;

use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use evidence::RobustLine;
use model::System;
use plan::Plan;
use quantity::{CoreId, PartitionId};
use std::collections::BTreeSet;

/// As many claims that fail are named in a verdict; the lines of the report name all.
const NAMED: usize = 3;

/// The verdicts about robust partitioning with the lines that they are made of.
#[derive(Debug, Clone, Default)]
pub(crate) struct Partitioning {
    pub verdicts: Vec<Verdict>,
    pub lines: Vec<RobustLine>,
}

/// Joins `verdicts`, all of those in time and in space, where the system claims robust partitioning.
pub(crate) fn join(system: &System, plan: &Plan, verdicts: &[Verdict]) -> Partitioning {
    let mut joined = Partitioning::default();
    if !system.robust_partitioning.is_some_and(|claimed| claimed.value) {
        return joined;
    }
    let runs = time::Runs::of(system, plan);
    for id in system.partition_ids() {
        let subject = Subject { system, plan, id, verdicts };
        for (kind, parts, load) in [
            (Kind::RobustTime, time::parts(&subject, &runs), runs.worst_ppm(id)),
            (Kind::RobustResources, resources::parts(&subject), None),
        ] {
            let verdict = judged(&subject, kind, &parts, load);
            joined.lines.extend(parts.into_iter().map(|part| part.line(&verdict.id)));
            joined.verdicts.push(verdict);
        }
    }
    joined
}

/// The partition that is looked at, and everything known of it.
pub(super) struct Subject<'a> {
    system: &'a System,
    plan: &'a Plan,
    id: PartitionId,
    verdicts: &'a [Verdict],
}

impl<'a> Subject<'a> {
    fn name(&self) -> &'a str {
        &self.system.partition(self.id).name.value
    }

    /// The cores on which it may run.
    fn cores(&self) -> Vec<CoreId> {
        separation::homes(self.system, self.plan, self.id)
    }

    /// The claims of one kind about what `is_about` says, whatever module schedule they are for.
    fn claims(&self, kind: Kind, is_about: impl Fn(&str) -> bool) -> Vec<&'a Verdict> {
        claims_of(self.verdicts, kind, is_about)
    }
}

/// The claims of one kind about what `is_about` says, whatever module schedule they are for.
fn claims_of(verdicts: &[Verdict], kind: Kind, is_about: impl Fn(&str) -> bool) -> Vec<&Verdict> {
    let about = |verdict: &&Verdict| is_about(verdict.subject.split('@').next().unwrap_or_default());
    verdicts.iter().filter(|verdict| verdict.kind == kind).filter(about).collect()
}

/// One part of a verdict.
pub(super) struct Part {
    what: &'static str,
    status: Status,
    told: String,
    claims: Vec<String>,
    assumptions: BTreeSet<Assumption>,
}

impl Part {
    /// What some claims come to together; where there is none, nothing is known, for the reason given.
    fn of(what: &'static str, claims: &[&Verdict], without: &str) -> Self {
        let status = claims.iter().map(|verdict| verdict.status).max_by_key(|status| status.badness());
        let told = if claims.is_empty() { without.to_owned() } else { words(claims) };
        Self {
            what,
            status: status.unwrap_or(Status::NotAnalysed),
            told,
            claims: claims.iter().map(|verdict| verdict.id.clone()).collect(),
            assumptions: claims.iter().flat_map(|verdict| verdict.basis.assumptions.iter().copied()).collect(),
        }
    }

    /// The same, and a datum that is missing beside.
    fn but_missing(self, missing: Option<&str>) -> Self {
        let Some(missing) = missing else { return self };
        let status =
            if self.status.badness() > Status::NotAnalysed.badness() { self.status } else { Status::NotAnalysed };
        let told = if self.claims.is_empty() { missing.to_owned() } else { format!("{}; {missing}", self.told) };
        Self { status, told, ..self }
    }

    /// The same with a number before its words.
    fn with(self, number: Option<String>) -> Self {
        let told = number.map_or_else(|| self.told.clone(), |number| format!("{number}, {}", self.told));
        Self { told, ..self }
    }

    fn line(self, claim: &str) -> RobustLine {
        RobustLine {
            claim: claim.to_owned(),
            what: self.what,
            status: self.status,
            told: self.told,
            claims: self.claims,
        }
    }
}

/// How many claims are shown, or which are not, the worst first.
fn words(claims: &[&Verdict]) -> String {
    let mut failing: Vec<&&Verdict> = claims.iter().filter(|verdict| verdict.status != Status::Shown).collect();
    if failing.is_empty() {
        return format!("shown by {} claim{}", claims.len(), if claims.len() == 1 { "" } else { "s" });
    }
    failing.sort_by_key(|verdict| std::cmp::Reverse(verdict.status.badness()));
    let named = failing.iter().take(NAMED).map(|verdict| format!("{} is {}", verdict.id, verdict.status.words()));
    let rest = failing.len().saturating_sub(NAMED);
    let rest = (rest > 0).then(|| format!("and {rest} more"));
    named.chain(rest).collect::<Vec<_>>().join(", ")
}

fn judged(subject: &Subject<'_>, kind: Kind, parts: &[Part], load_ppm: Option<u64>) -> Verdict {
    let source = match kind {
        Kind::RobustTime => "A(M)C 20-193, robust time partitioning (from memory)",
        _ => "A(M)C 20-193, robust resource partitioning (from memory)",
    };
    let assumptions: BTreeSet<Assumption> = parts.iter().flat_map(|part| part.assumptions.iter().copied()).collect();
    let basis = Basis { analysis: "robust-partitioning", source, assumptions: assumptions.into_iter().collect() };
    let reason = parts.iter().map(|part| format!("{}: {}", part.what, part.told)).collect::<Vec<_>>().join("; ");
    let status =
        parts.iter().map(|part| part.status).max_by_key(|status| status.badness()).unwrap_or(Status::NotAnalysed);
    let open = parts.iter().filter(|part| part.status != Status::Shown).count() as u64;
    let is_time = kind == Kind::RobustTime;
    let counted = if is_time { load_ppm } else { Some(open) };
    Verdict {
        status,
        bound: counted.filter(|_| status != Status::NotAnalysed),
        limit: Some(if is_time { time::WHOLE_PPM } else { 0 }),
        unit: if is_time { Unit::Ppm } else { Unit::Count },
        witness: (status == Status::Violated).then(|| Witness::of_fact(&*reason)),
        place: Some(subject.system.partition(subject.id).name.span),
        ..Verdict::not_analysed(kind, subject.name(), basis, reason)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(id: &str, status: Status) -> Verdict {
        let basis = Basis { analysis: "memory", source: "", assumptions: vec![Assumption::MapEnforced] };
        Verdict { status, ..Verdict::not_analysed(Kind::Memory, id, basis, "") }
    }

    #[test]
    fn a_part_is_as_bad_as_the_worst_of_its_claims_and_nothing_is_no_pass() {
        let all =
            [Status::Shown, Status::NotAnalysed, Status::NotShown, Status::Violated].map(|status| verdict("A", status));
        for (worst, status) in
            [Status::Shown, Status::NotAnalysed, Status::NotShown, Status::Violated].into_iter().enumerate()
        {
            let claims: Vec<&Verdict> = all.iter().take(worst + 1).collect();
            assert_eq!(Part::of("storage", &claims, "none").status, status);
        }
        let none = Part::of("storage", &[], "nobody says so");
        assert_eq!((none.status, none.told.as_str()), (Status::NotAnalysed, "nobody says so"));
    }

    #[test]
    fn what_fails_is_named_the_worst_first() {
        let (a, b) = (verdict("A", Status::NotAnalysed), verdict("B", Status::Violated));
        let part = Part::of("storage", &[&a, &b], "");
        assert_eq!(part.told, "memory/B is violated, memory/A is not analysed");
        let many: Vec<Verdict> = (0..5).map(|n| verdict(&n.to_string(), Status::NotShown)).collect();
        assert!(words(&many.iter().collect::<Vec<_>>()).ends_with("memory/2 is not shown, and 2 more"));
    }

    #[test]
    fn a_missing_datum_takes_a_pass_away_and_never_mends_a_failure() {
        let (sound, broken) = (verdict("A", Status::Shown), verdict("A", Status::Violated));
        let with = |verdict: &Verdict| Part::of("storage", &[verdict], "").but_missing(Some("who knows")).status;
        assert_eq!([with(&sound), with(&broken)], [Status::NotAnalysed, Status::Violated]);
    }
}
