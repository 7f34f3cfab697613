//! What an opaque guest needs against what it is surely given.
//!
//! Computes: the span in which its budget is surely supplied against its period, or the delay with which its share is surely
//! supplied against the delay that it bears; the worst of its virtual cores.
//! Source: `crate::opaque`.
//! Assumptions: those of the supply.
//! Symbols: times in ns.
//! Invariants and why it ends: as the analysis. A violation is claimed only where the supply is known exactly.
//! Differs from the source: nothing.
//! Checked by: systems with one opaque guest each in `tests/`.

use super::partition_supply::{self, Given, Losses};
use super::responses::assumptions_of;
use super::scope::Scope;
use crate::opaque::{Span, delay_for_share, span_for_budget};
use crate::supply::{Supply, SupplyKind};
use claim::{Basis, Kind, Relation, Status, Verdict, Witness};
use model::system::{Guest, OpaqueNeed};
use quantity::{Duration, PartitionId};

/// Why the bound of an opaque guest is not told by its parts.
const UNTOLD: &str = "what an opaque guest executes, and what of it waits for memory, is not declared job by job";

/// One verdict for an opaque guest.
pub(super) fn check(scope: &Scope<'_>, partition: PartitionId) -> Option<Verdict> {
    let guest = &scope.system.partition(partition).guest;
    let Guest::Opaque(need) = &guest.value else { return None };
    let limit_ns = match need {
        OpaqueNeed::Periodic { period, .. } => period.ns(),
        OpaqueNeed::Rate { delay, .. } => delay.ns(),
    };
    let supplies: Result<Vec<Given>, String> = (0..scope.system.partition(partition).virtual_cores.value)
        .map(|virtual_core| partition_supply::supply(scope, partition, virtual_core, Losses::DECLARED))
        .collect();
    let kind = supplies.as_ref().ok().and_then(|supplies| supplies.first()).map(|given| given.supply.kind());
    let subject = scope.partition_name(partition).to_owned();
    let base = Verdict {
        limit: Some(limit_ns),
        relation: Relation::AtMost,
        ..scope.claim(Kind::Response, subject, basis(kind), guest.span, String::new())
    };
    Some(match supplies {
        Err(reason) => Verdict { reason: Some(reason), ..base },
        Ok(supplies) => {
            let verdict = judge(base, need, limit_ns, &supplies);
            Verdict { untold: verdict.bound.map(|_| UNTOLD), ..verdict }
        }
    })
}

fn basis(kind: Option<SupplyKind>) -> Basis {
    let source = "Mok, Feng and Chen, RTAS 2001; Lipari and Bini, ECRTS 2003 (from memory)";
    Basis { analysis: "opaque", source, assumptions: assumptions_of(kind.unwrap_or(SupplyKind::WindowTable)) }
}

fn judge(base: Verdict, need: &OpaqueNeed, limit_ns: u64, supplies: &[Given]) -> Verdict {
    let exact = supplies.iter().all(Given::is_exact);
    let worst = supplies.iter().map(|given| span(need, &given.at_any_instant())).collect::<Option<Vec<_>>>();
    let worst = worst.map(|spans| spans.into_iter().max_by_key(|span| span.span_ns));
    let status = if exact { Status::Violated } else { Status::NotShown };
    let late = |reason: String, bound: Option<u64>| Verdict {
        status,
        bound,
        exact: exact && bound.is_some(),
        witness: exact.then(|| Witness::of_fact(&*reason)),
        reason: Some(reason),
        ..base.clone()
    };
    match worst.flatten() {
        None => late(format!("no bound: {} is more than it is surely given in the long run", asked(need)), None),
        Some(worst) if worst.span_ns <= limit_ns => {
            let reason = (!exact).then(|| "a bound: every way to keep what is promised is covered".to_owned());
            Verdict { status: Status::Shown, bound: Some(worst.span_ns), exact, reason, ..base.clone() }
        }
        Some(worst) => {
            let frame = if worst.at_boot { "the first frame" } else { "the frame" };
            let from = if exact {
                format!("from {} of {frame}", Duration::from_ns(worst.start_ns))
            } else {
                "from some instant".to_owned()
            };
            let span = Duration::from_ns(worst.span_ns);
            let reason = match need {
                OpaqueNeed::Periodic { budget, .. } => format!("{from}, {budget} take {span}"),
                OpaqueNeed::Rate { rate, .. } => format!("{from}, the share of {rate} comes {span} late"),
            };
            late(reason, Some(worst.span_ns))
        }
    }
}

fn span(need: &OpaqueNeed, supply: &Supply) -> Option<Span> {
    match need {
        OpaqueNeed::Periodic { budget, .. } => span_for_budget(supply, budget.ns()),
        OpaqueNeed::Rate { rate, .. } => delay_for_share(supply, rate.get()),
    }
}

fn asked(need: &OpaqueNeed) -> String {
    match need {
        OpaqueNeed::Periodic { budget, period } => format!("{budget} in every {period}"),
        OpaqueNeed::Rate { rate, .. } => format!("the share of {rate}"),
    }
}
