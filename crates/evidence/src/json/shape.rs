//! The shapes of the answer around its verdicts.

use crate::deviation::Deviation;
use crate::headroom::Headroom;
use crate::provenance::{DemandShares, class_words};
use crate::register::RegisterEntry;
use crate::summary::{KindSummary, NotAnalysed, Summary};
use diagnostic::{Plain, Position};
use model::Digest;
use serde::Serialize;

/// The whole answer.
#[derive(Serialize)]
pub(super) struct Answer<'d> {
    pub schema_version: u32,
    pub tool_version: &'d str,
    pub baseline: Baseline<'d>,
    pub exit_status: u8,
    pub summary: SummaryShape,
    pub what_breaks_first: Vec<HeadroomShape<'d>>,
    pub deviations: Vec<DeviationShape>,
    pub verdicts: Vec<super::verdict::VerdictShape<'d>>,
    pub interference_channels: Vec<super::interference::ChannelShape<'d>>,
    pub settings: Vec<super::interference::SettingShape<'d>>,
    pub robust_partitioning: Vec<super::interference::RobustShape<'d>>,
    pub who_lengthens_whom: Vec<super::lengthened::LengthenedShape<'d>>,
    pub covert_channels: super::covert::CovertShape<'d>,
    pub exchange_faults: super::exchange::CoverageShape<'d>,
    pub objectives: Vec<super::objectives::ObjectiveShape<'d>>,
    pub assumptions: Vec<AssumptionShape>,
    pub diagnostics: Vec<Plain>,
}

#[derive(Serialize)]
pub(super) struct Baseline<'d> {
    pub system_name: Option<&'d str>,
    pub system: Option<Digest>,
    pub inputs: Vec<DigestShape>,
    pub plan_made_for: Option<Digest>,
    pub plan_matches: Option<bool>,
}

#[derive(Serialize)]
pub(super) struct DigestShape {
    pub name: String,
    pub digest: Digest,
}

#[derive(Serialize)]
pub(super) struct SummaryShape {
    pub not_analysed: Vec<NotAnalysedShape>,
    pub kinds_without_claims: Vec<&'static str>,
    pub statuses: StatusCounts,
    pub accepted: usize,
    pub kinds: Vec<KindShape>,
    pub tightest: Vec<String>,
    pub demand_by_provenance: Option<Vec<ShareShape>>,
}

/// How far something may grow alone; below zero where it must shrink.
#[derive(Serialize)]
pub(super) struct HeadroomShape<'d> {
    pub id: &'d str,
    pub headroom_ppm: Option<i64>,
}

impl<'d> HeadroomShape<'d> {
    pub fn of(headroom: &Headroom<'d>) -> Self {
        Self { id: &headroom.verdict.id, headroom_ppm: super::verdict::fits_signed(headroom.ppm) }
    }
}

#[derive(Serialize)]
pub(super) struct NotAnalysedShape {
    pub kind: &'static str,
    pub count: usize,
    pub reasons: Vec<ReasonShape>,
}

#[derive(Serialize)]
pub(super) struct ReasonShape {
    pub reason: String,
    pub count: usize,
}

impl NotAnalysedShape {
    pub fn of(entry: &NotAnalysed) -> Self {
        let reasons = entry.reasons.iter().cloned();
        let reasons = reasons.map(|(reason, count)| ReasonShape { reason, count }).collect();
        Self { kind: entry.kind.key(), count: entry.ids.len(), reasons }
    }
}

#[derive(Serialize)]
pub(super) struct StatusCounts {
    pub not_analysed: usize,
    pub violated: usize,
    pub not_shown: usize,
    pub shown: usize,
}

impl StatusCounts {
    pub const fn of(summary: Summary) -> Self {
        Self {
            not_analysed: summary.not_analysed,
            violated: summary.violated,
            not_shown: summary.not_shown,
            shown: summary.shown,
        }
    }
}

#[derive(Serialize)]
pub(super) struct KindShape {
    pub kind: &'static str,
    #[serde(flatten)]
    pub counts: StatusCounts,
}

impl KindShape {
    pub const fn of(summary: KindSummary) -> Self {
        Self { kind: summary.kind.key(), counts: StatusCounts::of(summary.counts) }
    }
}

/// The share of one class of source; a null share is demand that nobody knows.
#[derive(Serialize)]
pub(super) struct ShareShape {
    pub provenance: &'static str,
    pub tasks: usize,
    pub ppm: Option<u64>,
}

impl ShareShape {
    pub fn list(shares: &DemandShares) -> Vec<Self> {
        let known = shares.rows.iter();
        let known = known.map(|row| Self { provenance: class_words(row.class), tasks: row.tasks, ppm: Some(row.ppm) });
        let without = Self { provenance: "no execution time", tasks: shares.tasks_without_wcet, ppm: None };
        known.chain((without.tasks > 0).then_some(without)).collect()
    }
}

#[derive(Serialize)]
pub(super) struct DeviationShape {
    pub claim: String,
    pub status: Option<&'static str>,
    #[serde(flatten)]
    pub accepted: AcceptedShape,
    pub excuses: bool,
    pub expired: Option<bool>,
    pub remarks: Vec<&'static str>,
}

impl DeviationShape {
    pub fn of(deviation: &Deviation) -> Self {
        Self {
            claim: deviation.claim.clone(),
            status: deviation.status.map(claim::Status::key),
            accepted: AcceptedShape::of(deviation),
            excuses: deviation.excuses(),
            expired: deviation.expired,
            remarks: deviation.remarks(),
        }
    }
}

#[derive(Serialize)]
pub(super) struct AcceptedShape {
    pub reason: String,
    pub owner: String,
    pub until: String,
}

impl AcceptedShape {
    pub fn of(deviation: &Deviation) -> Self {
        Self { reason: deviation.reason.clone(), owner: deviation.owner.clone(), until: deviation.until.to_string() }
    }
}

#[derive(Serialize)]
pub(super) struct AssumptionShape {
    pub id: String,
    pub text: &'static str,
    pub watch: &'static str,
    pub verdicts: usize,
}

impl AssumptionShape {
    pub fn of(entry: &RegisterEntry<'_>) -> Self {
        let assumption = entry.assumption;
        let verdicts = entry.verdicts.len();
        Self { id: assumption.id(), text: assumption.text(), watch: assumption.watch(), verdicts }
    }
}

#[derive(Serialize)]
pub(super) struct Where {
    pub file: String,
    pub line: u32,
    pub column: u32,
}

impl From<Position> for Where {
    fn from(position: Position) -> Self {
        Self { file: position.file, line: position.line, column: position.column }
    }
}
