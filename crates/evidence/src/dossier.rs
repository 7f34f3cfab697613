//! The dossier: everything that a report says, composed once.

use crate::deviation::Deviation;
use crate::headroom::{self, Headroom};
use crate::objectives::{self, ObjectiveRow};
use crate::partitioning::RobustLine;
use crate::provenance::DemandShares;
use crate::recording::{Judged, RecordingFound};
use crate::register::{RegisterEntry, assumption_register};
use crate::run::{CampaignFound, RunDrawn};
use crate::summary::{self, KindSummary, NotAnalysed, Summary};
use crate::{ValidationRow, tight};
use claim::{Kind, Status, Verdict, sort_verdicts};
use diagnostic::{Diagnostic, Position, Sources};
use jiff::civil::Date;
use model::{Digest, System};
use plan::Plan;
use separation::channels::InterferenceChannel;
use separation::covert::Matrix;
use separation::exchange;
use std::sync::Arc;
use timing::claims::SupplyCurve;

/// What a dossier is composed of.
#[derive(Debug, Clone, Default)]
pub struct Inputs {
    /// The version of the program.
    pub tool_version: String,
    /// The system, as far as it could be read.
    pub system: Option<Arc<System>>,
    /// The plan, where there is one.
    pub plan: Option<Arc<Plan>>,
    /// The texts that places point into.
    pub sources: Arc<Sources>,
    /// Every verdict, in any order.
    pub verdicts: Vec<Verdict>,
    /// The name and digest of every input, in the order in which they are listed.
    pub input_digests: Vec<(String, Digest)>,
    /// What is wrong with the inputs.
    pub diagnostics: Vec<Diagnostic>,
    /// Today; without it the dates of accepted deviations are not judged, and that is said.
    pub today: Option<Date>,
    /// Whether claims that were not analysed may pass.
    pub allow_not_analysed: bool,
    /// The published examples that the program was held against.
    pub validation: Vec<ValidationRow>,
    /// What masters share.
    pub channels: Vec<InterferenceChannel>,
    /// What partitions share by which one may tell another something.
    pub covert: Matrix,
    /// What stands against faults of what partitions exchange.
    pub exchange: exchange::Matrix,
    /// What verdicts about robust partitioning are put together from.
    pub robust: Vec<RobustLine>,
    /// Supply and demand of the partitions, for drawing.
    pub curves: Vec<SupplyCurve>,
    /// The run that is drawn.
    pub run: Option<RunDrawn>,
    /// A campaign that is told of.
    pub campaign: Option<CampaignFound>,
    /// Recordings that were judged.
    pub recording: Option<RecordingFound>,
}

/// Whether the plan was made for this system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanMatch {
    /// There is no plan.
    NoPlan,
    /// The plan does not say which system it was made for.
    NotSaid,
    /// It was made for this system.
    Matches,
    /// It was made for another one, or for this one before a change.
    Differs,
}

/// Everything that a report says. Composed once, then only rendered.
#[derive(Debug, Clone)]
pub struct Dossier {
    inputs: Inputs,
    system_digest: Option<Digest>,
    deviations: Vec<Deviation>,
}

impl Dossier {
    /// Puts verdicts into canonical order and judges the accepted deviations.
    pub fn compose(mut inputs: Inputs) -> Self {
        sort_verdicts(&mut inputs.verdicts);
        let accepted = inputs.system.as_ref().map(|system| system.accepted.as_slice()).unwrap_or_default();
        let deviations = accepted.iter().map(|a| Deviation::judge(a, &inputs.verdicts, inputs.today)).collect();
        let system_digest = inputs.system.as_ref().map(|system| system.digest());
        Self { inputs, system_digest, deviations }
    }

    /// The version of the program.
    pub fn tool_version(&self) -> &str {
        &self.inputs.tool_version
    }

    /// The system, as far as it could be read.
    pub fn system(&self) -> Option<&System> {
        self.inputs.system.as_deref()
    }

    /// The plan, where there is one.
    pub fn plan(&self) -> Option<&Plan> {
        self.inputs.plan.as_deref()
    }

    /// Every verdict in canonical order.
    pub fn verdicts(&self) -> &[Verdict] {
        &self.inputs.verdicts
    }

    /// The verdicts of one kind in canonical order.
    pub fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &Verdict> {
        self.verdicts().iter().filter(move |verdict| verdict.kind == kind)
    }

    /// The verdicts of one status in canonical order, accepted ones left out.
    pub fn open(&self, status: Status) -> impl Iterator<Item = &Verdict> {
        self.verdicts().iter().filter(move |verdict| verdict.status == status && self.deviation(&verdict.id).is_none())
    }

    /// The name and digest of every input.
    pub fn input_digests(&self) -> &[(String, Digest)] {
        &self.inputs.input_digests
    }

    /// What is wrong with the inputs.
    pub fn diagnostics(&self) -> &[Diagnostic] {
        &self.inputs.diagnostics
    }

    /// How many errors the inputs have.
    pub fn errors(&self) -> usize {
        self.diagnostics().iter().filter(|diagnostic| diagnostic.is_error()).count()
    }

    /// The texts that places point into.
    pub fn sources(&self) -> &Sources {
        &self.inputs.sources
    }

    /// The published examples that the program was held against.
    pub fn validation(&self) -> &[ValidationRow] {
        &self.inputs.validation
    }

    /// What masters share.
    pub fn interference_channels(&self) -> &[InterferenceChannel] {
        &self.inputs.channels
    }

    /// What partitions share by which one may tell another something.
    pub fn covert(&self) -> &Matrix {
        &self.inputs.covert
    }

    /// What stands against faults of what partitions exchange.
    pub fn exchange(&self) -> &exchange::Matrix {
        &self.inputs.exchange
    }

    /// Objectives of standards with what their claims come to, open ones first.
    pub fn objectives(&self) -> Vec<ObjectiveRow<'_>> {
        objectives::rows(self)
    }

    /// What a verdict about robust partitioning is put together from.
    pub fn robust_lines<'d>(&'d self, claim: &'d str) -> impl Iterator<Item = &'d RobustLine> {
        self.inputs.robust.iter().filter(move |line| line.claim == claim)
    }

    /// Supply and demand of the partitions.
    pub fn curves(&self) -> &[SupplyCurve] {
        &self.inputs.curves
    }

    /// The run that is drawn.
    pub fn run(&self) -> Option<&RunDrawn> {
        self.inputs.run.as_ref()
    }

    /// A campaign that is told of.
    pub fn campaign(&self) -> Option<&CampaignFound> {
        self.inputs.campaign.as_ref()
    }

    /// Recordings that were judged.
    pub fn recording(&self) -> Option<Judged<'_>> {
        Some(self.inputs.recording.as_ref()?.judged(self.system()?))
    }

    /// The digest of the system, as far as it could be read.
    pub fn system_digest(&self) -> Option<Digest> {
        self.system_digest
    }

    /// The digest of the system that the plan says it was made for.
    pub fn plan_made_for(&self) -> Option<Digest> {
        self.plan()?.made_for.map(|digest| digest.value)
    }

    /// Whether the plan was made for this system.
    pub fn plan_match(&self) -> PlanMatch {
        match (self.plan(), self.plan_made_for()) {
            (None, _) => PlanMatch::NoPlan,
            (Some(_), None) => PlanMatch::NotSaid,
            (Some(_), made_for) if made_for == self.system_digest => PlanMatch::Matches,
            (Some(_), Some(_)) => PlanMatch::Differs,
        }
    }

    /// Every acceptance of the system file, in its order.
    pub fn deviations(&self) -> &[Deviation] {
        &self.deviations
    }

    /// The acceptance that excuses a claim.
    pub fn deviation(&self, id: &str) -> Option<&Deviation> {
        self.deviations.iter().find(|deviation| deviation.claim == id && deviation.excuses())
    }

    /// The place of a verdict, as people name it.
    pub fn place(&self, verdict: &Verdict) -> Option<Position> {
        verdict.place.map(|span| self.inputs.sources.position(span))
    }

    /// The counts of all verdicts.
    pub fn summary(&self) -> Summary {
        Summary::of(self.verdicts())
    }

    /// The counts of every kind that has claims.
    pub fn summary_by_kind(&self) -> Vec<KindSummary> {
        summary::by_kind(self.verdicts().iter())
    }

    /// What was not analysed, kind by kind.
    pub fn not_analysed(&self) -> Vec<NotAnalysed> {
        summary::not_analysed(self.verdicts())
    }

    /// The kinds about which there is no claim at all.
    pub fn kinds_without_claims(&self) -> Vec<Kind> {
        Kind::ALL.into_iter().filter(|kind| self.of_kind(*kind).next().is_none()).collect()
    }

    /// The assumptions in use and what rests on them.
    pub fn register(&self) -> Vec<RegisterEntry<'_>> {
        assumption_register(self.verdicts())
    }

    /// Where the execution times come from.
    pub fn demand_shares(&self) -> Option<DemandShares> {
        self.system().map(DemandShares::of)
    }

    /// The `n` shown claims nearest to their limits, tightest first.
    pub fn tightest(&self, n: usize) -> Vec<&Verdict> {
        tight::tightest(self.verdicts(), n)
    }

    /// What may grow how far, the least headroom first.
    pub fn what_breaks_first(&self) -> Vec<Headroom<'_>> {
        headroom::what_breaks_first(self.verdicts())
    }

    /// What is missing from that list, in a sentence; none where nothing is.
    pub fn not_ranked(&self) -> Option<String> {
        headroom::not_ranked(self.verdicts())
    }

    /// Whether a verdict speaks against status 0.
    fn stands_against(&self, verdict: &Verdict) -> bool {
        let passes = match verdict.status {
            Status::Shown => true,
            Status::NotAnalysed => self.inputs.allow_not_analysed,
            Status::NotShown | Status::Violated => false,
        };
        !passes && self.deviation(&verdict.id).is_none()
    }

    /// 2 where an input is refused; else 1 where a claim is not shown and not accepted; else 0.
    pub fn exit_status(&self) -> u8 {
        if self.errors() > 0 { 2 } else { u8::from(self.verdicts().iter().any(|verdict| self.stands_against(verdict))) }
    }

    /// The outcome in a sentence.
    pub fn sentence(&self) -> String {
        let parts = self.summary().rows().into_iter().filter(|(_, n)| *n > 0);
        let parts: Vec<_> = parts.map(|(status, n)| format!("{n} {}", status.words())).collect();
        let accepted = self.verdicts().iter().filter(|v| self.deviation(&v.id).is_some()).count();
        match (parts.len(), accepted) {
            (0, _) => "There is no claim to judge.".to_owned(),
            (_, 0) => format!("{}: {}.", crate::show::count(self.verdicts().len(), "claim"), parts.join(", ")),
            _ => format!(
                "{}: {}; {accepted} of them accepted as deviations.",
                crate::show::count(self.verdicts().len(), "claim"),
                parts.join(", ")
            ),
        }
    }
}
