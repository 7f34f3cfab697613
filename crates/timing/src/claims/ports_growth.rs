//! What is left of a queue's depth.
//!
//! Computes: the share of the depth of a queuing channel that the messages which may wait never use, against the growth
//! rule for ports.
//! Source: margin at a milestone: NASA software engineering handbook 9.12, table after GSFC 3.07-1.
//! Assumptions: those of the depth.
//! Symbols: messages; the share in parts per million, rounded down.
//! Invariants and why it ends: one division.
//! Differs from the source: the share is the file's.
//! Checked by: the survey vessel with a rule for its ports.

use super::scope::Scope;
use claim::{Basis, Kind, Relation, Status, Unit, Verdict};
use model::system::GrowthSubject;
use quantity::exact_ratio_ppm;

/// The verdict that goes with the one about the depth, where a rule asks for it.
pub(super) fn verdict(scope: &Scope<'_>, depth: &Verdict) -> Option<Verdict> {
    let rule = scope.system.growth_rule(GrowthSubject::Ports)?;
    let limit = rule.at_least.value;
    let basis = Basis {
        analysis: "port-margin",
        source: "NASA software engineering handbook 9.12, table after GSFC 3.07-1",
        assumptions: depth.basis.assumptions.clone(),
    };
    let base = Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtLeast,
        limit: Some(limit.get()),
        ..scope.claim(Kind::Margin, format!("port/{}", depth.subject), basis, rule.at_least.span, String::new())
    };
    let unused =
        depth.bound.zip(depth.limit).and_then(|(needed, holds)| exact_ratio_ppm(holds.saturating_sub(needed), holds));
    Some(match (depth.status, unused) {
        (Status::Shown, Some(unused)) if unused >= limit => {
            Verdict { status: Status::Shown, bound: Some(unused.get()), reason: None, ..base }
        }
        (Status::Shown, Some(unused)) => {
            let reason =
                format!("{unused} of the depth of `{}` are never used, the rule asks for {limit}", depth.subject);
            Verdict { status: Status::NotShown, bound: Some(unused.get()), reason: Some(reason), ..base }
        }
        // Where messages are lost the whole depth is used.
        (status, _) => {
            let witness = depth.witness.clone();
            Verdict { status, reason: depth.reason.clone(), witness, ..base }
        }
    })
}
