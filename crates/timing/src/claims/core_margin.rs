//! What is left of each core.
//!
//! Computes: the share of each core that no window has, against the growth rule for cores.
//! Source: margin at a milestone: NASA software engineering handbook 9.12, table after GSFC 3.07-1.
//! Assumptions: windows are enforced.
//! Symbols: lengths in ns; the share in parts per million, rounded down.
//! Invariants and why it ends: one pass over the windows; windows that overlap count twice, so the
//! margin is never overstated.
//! Differs from the source: the share is the file's.
//! Checked by: the survey vessel's 30.5, 30.0, 35.0 and 33.0 %.

use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict, Witness};
use model::system::{GrowthRule, GrowthSubject};
use quantity::{CoreId, Ppm, exact_ratio_ppm};

/// One verdict for each core in use that has a window table, where a rule asks for it.
pub(super) fn check(scope: &Scope<'_>) -> Vec<Verdict> {
    let Some(rule) = scope.system.growth_rule(GrowthSubject::Cores) else { return Vec::new() };
    let in_use = |core: &CoreId| scope.system.core(*core).active;
    scope.table_cores().filter(in_use).map(|core| verdict(scope, rule, core)).collect()
}

fn verdict(scope: &Scope<'_>, rule: &GrowthRule, core: CoreId) -> Verdict {
    let basis = Basis {
        analysis: "core-margin",
        source: "NASA software engineering handbook 9.12, table after GSFC 3.07-1",
        assumptions: vec![Assumption::WindowsEnforced],
    };
    let name = scope.core_name(core);
    let limit = rule.at_least.value;
    let base = Verdict {
        unit: Unit::Ppm,
        relation: Relation::AtLeast,
        limit: Some(limit.get()),
        ..scope.claim(Kind::Margin, format!("core/{name}"), basis, rule.at_least.span, String::new())
    };
    match scope.table().and_then(|_| free_share(scope, core)) {
        Err(reason) => Verdict { reason: Some(reason), ..base },
        Ok(share) if share >= limit => {
            Verdict { status: Status::Shown, bound: Some(share.get()), exact: true, reason: None, ..base }
        }
        Ok(share) => {
            let reason = format!("{share} of core {name} are free, the rule asks for {limit}");
            let witness = Some(Witness::of_fact(&*reason));
            let (status, bound) = (Status::Violated, Some(share.get()));
            Verdict { status, bound, exact: true, reason: Some(reason), witness, ..base }
        }
    }
}

fn free_share(scope: &Scope<'_>, core: CoreId) -> Result<Ppm, String> {
    let taken_ns = scope.windows_on(core).iter().fold(0u64, |sum, window| sum.saturating_add(window.length.ns()));
    let free_ns = scope.frame_ns().saturating_sub(taken_ns);
    exact_ratio_ppm(free_ns, scope.frame_ns()).ok_or_else(|| "the frame has no length".to_owned())
}
