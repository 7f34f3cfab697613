//! From inputs to verdicts and to the dossier.

use crate::{Alarms, Baseline, require_no_alarm};
use claim::{Verdict, sort_verdicts};
use evidence::{Dossier, Inputs, ValidationRow};
use model::System;
use plan::Plan;

/// What a dossier holds beside the results of this baseline.
#[derive(Debug, Clone, Default)]
pub struct Extras {
    /// The version of the program.
    pub tool_version: String,
    /// Today, by which accepted deviations are judged.
    pub today: Option<jiff::civil::Date>,
    /// Whether claims that were not analysed may pass.
    pub allow_not_analysed: bool,
    /// Whether supply and demand are to be drawn, which costs a second look at every partition.
    pub drawings: bool,
    /// Published examples that the program was held against.
    pub validation: Vec<ValidationRow>,
}

/// Every claim of the system under the plan, in canonical order.
pub fn verdicts(system: &System, plan: &Plan) -> Vec<Verdict> {
    let mut verdicts = timing::claims::check(system, plan);
    verdicts.extend(separation::check(system, plan));
    verdicts.extend(campaign::containment::verdicts(system, None));
    sort_verdicts(&mut verdicts);
    verdicts
}

/// The dossier of a baseline: all its verdicts, as far as there is a system. Where no plan could be read, what needs one
/// is not analysed, as under a plan that grants nothing.
///
/// # Errors
/// [`Alarms`] where the verdicts contradict each other.
pub fn dossier(baseline: &Baseline, extras: Extras) -> Result<Dossier, Alarms> {
    let (verdicts, curves) = match (&baseline.system, &baseline.plan) {
        (Some(system), Some(plan)) if extras.drawings => {
            (verdicts(system, plan), timing::claims::supply_curves(system, plan))
        }
        (Some(system), Some(plan)) => (verdicts(system, plan), Vec::new()),
        (Some(system), None) => (verdicts(system, &Plan::default()), Vec::new()),
        (None, _) => (Vec::new(), Vec::new()),
    };
    require_no_alarm(&verdicts)?;
    Ok(Dossier::compose(Inputs {
        tool_version: extras.tool_version,
        system: baseline.system.clone(),
        plan: baseline.plan.clone(),
        sources: baseline.sources.clone(),
        verdicts,
        input_digests: baseline.input_digests(),
        diagnostics: baseline.diagnostics.clone(),
        today: extras.today,
        allow_not_analysed: extras.allow_not_analysed,
        validation: extras.validation,
        curves,
    }))
}
