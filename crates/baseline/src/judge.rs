//! From inputs to verdicts and to the dossier.

use crate::simulated::{Search, compare};
use crate::{Alarms, Baseline, partitioning, require_no_alarm};
use campaign::containment::Evidence;
use claim::{Kind, Verdict, sort_verdicts};
use evidence::recording::RecordingFound;
use evidence::run::{CampaignFound, RunDrawn};
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
    /// Whether supply and demand are to be drawn, which costs a second look at every partition, and
    /// runs of the simulator beside the claims.
    pub drawings: bool,
    /// How much scenarios drawn by seed are searched beside the replays, which are always made.
    pub search: Option<Search>,
    /// Published examples that the program was held against.
    pub validation: Vec<ValidationRow>,
    /// A campaign to be told of.
    pub campaign: Option<CampaignFound>,
    /// Recordings that were judged, to be told of.
    pub recording: Option<RecordingFound>,
    /// What [`claims`] gives for this baseline, where that was asked for before.
    pub claims: Option<Vec<Verdict>>,
}

/// Every claim of the system under the plan, in canonical order.
pub fn verdicts(system: &System, plan: &Plan) -> Vec<Verdict> {
    let mut verdicts = single(system, plan);
    let joined = partitioning::join(system, plan, &verdicts);
    verdicts.extend(joined.verdicts);
    sort_verdicts(&mut verdicts);
    verdicts
}

/// Every claim of a baseline that joins no others, in canonical order, as far as there is a system. Where no plan could be read,
/// what needs one is not analysed, as under a plan that grants nothing.
pub fn claims(baseline: &Baseline) -> Vec<Verdict> {
    let plan = |system| single(system, baseline.plan.as_deref().unwrap_or(&Plan::default()));
    baseline.system.as_deref().map(plan).unwrap_or_default()
}

/// Every claim that joins no others, in canonical order.
fn single(system: &System, plan: &Plan) -> Vec<Verdict> {
    let mut verdicts = timing::claims::check(system, plan);
    verdicts.extend(separation::check(system, plan));
    verdicts.extend(campaign::containment::verdicts(system, None));
    verdicts.extend(separation::exchange::check(&separation::exchange::matrix(system, &verdicts)));
    sort_verdicts(&mut verdicts);
    verdicts
}

/// The dossier of a baseline: all its verdicts, [`claims`] and what joins them.
///
/// # Errors
/// [`Alarms`] where the verdicts contradict each other, or a simulation contradicts one.
pub fn dossier(baseline: &Baseline, extras: Extras) -> Result<Dossier, Alarms> {
    let empty = Plan::default();
    let judged = baseline.system.as_deref().map(|system| (system, baseline.plan.as_deref().unwrap_or(&empty)));
    let mut verdicts = extras.claims.unwrap_or_else(|| claims(baseline));
    require_no_alarm(&verdicts)?;
    if let (Some(found), Some((system, _))) = (&extras.campaign, judged) {
        verdicts.retain(|verdict| verdict.kind != Kind::Containment);
        let CampaignFound { machine, settings, summary, .. } = found;
        let evidence = Evidence { machine, settings, matrix: &summary.matrix };
        verdicts.extend(campaign::containment::verdicts(system, Some(evidence)));
    }
    let (mut curves, mut run) = (Vec::new(), None);
    if let (Some((system, plan)), Some(_)) = (judged, &baseline.plan) {
        compare(system, plan, &mut verdicts, extras.search.as_ref())?;
        if extras.drawings {
            curves = timing::claims::supply_curves(system, plan);
            run = (!baseline.has_errors()).then(|| RunDrawn::longest(system, plan));
        }
    }
    let joined = judged.map(|(system, plan)| partitioning::join(system, plan, &verdicts)).unwrap_or_default();
    verdicts.extend(joined.verdicts);
    let exchange = judged.map(|(system, _)| separation::exchange::matrix(system, &verdicts)).unwrap_or_default();
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
        channels: judged.map(|(system, plan)| separation::channels::list(system, plan)).unwrap_or_default(),
        covert: judged.map(|(system, plan)| separation::covert::matrix(system, plan)).unwrap_or_default(),
        exchange,
        robust: joined.lines,
        curves,
        run,
        campaign: extras.campaign,
        recording: extras.recording,
    }))
}
