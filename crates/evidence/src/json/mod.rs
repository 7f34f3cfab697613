//! The answer for programs: one JSON object.
//!
//! The shapes are structs of their own, so that a change inside the program changes no script outside it.

mod covert;
mod exchange;
mod interference;
mod lengthened;
mod objectives;
mod recording;
mod rehearsal;
mod run;
mod shape;
mod trace_event;
mod verdict;

pub use recording::{Recorded, recorded};
pub use rehearsal::rehearsed;
pub use run::{Ran, ran};
pub use trace_event::trace_event;

use crate::dossier::{Dossier, PlanMatch};
use diagnostic::Plain;
use shape::{
    AcceptedShape, Answer, AssumptionShape, Baseline, DeviationShape, DigestShape, HeadroomShape, KindShape,
    NotAnalysedShape, ShareShape, StatusCounts, SummaryShape, Where,
};

/// The version of the answer's shape; it grows when a reader would have to change.
pub const SCHEMA_VERSION: u32 = 1;

/// The answer as a JSON text with a final line break.
pub fn render(dossier: &Dossier) -> String {
    // Strings, integers and lists with string keys always serialise.
    let mut text = serde_json::to_string_pretty(&answer(dossier)).expect("the shapes hold nothing but plain data");
    text.push('\n');
    text
}

fn answer(dossier: &Dossier) -> Answer<'_> {
    Answer {
        schema_version: SCHEMA_VERSION,
        tool_version: dossier.tool_version(),
        baseline: baseline(dossier),
        exit_status: dossier.exit_status(),
        summary: summary(dossier),
        what_breaks_first: dossier.what_breaks_first().iter().map(HeadroomShape::of).collect(),
        deviations: dossier.deviations().iter().map(DeviationShape::of).collect(),
        verdicts: dossier.verdicts().iter().map(|v| verdict::shape(dossier, v)).collect(),
        interference_channels: interference::channels(dossier),
        settings: interference::settings(dossier),
        robust_partitioning: interference::robust(dossier),
        who_lengthens_whom: lengthened::all(dossier),
        covert_channels: covert::shape(dossier),
        exchange_faults: exchange::shape(dossier),
        objectives: objectives::all(dossier),
        assumptions: dossier.register().iter().map(AssumptionShape::of).collect(),
        diagnostics: dossier.diagnostics().iter().map(|d| Plain::new(d, dossier.sources())).collect(),
    }
}

fn baseline(dossier: &Dossier) -> Baseline<'_> {
    let input = |(name, digest): &'_ (String, model::Digest)| DigestShape { name: name.clone(), digest: *digest };
    Baseline {
        system_name: dossier.system().map(|system| system.name.value.as_str()),
        system: dossier.system_digest(),
        inputs: dossier.input_digests().iter().map(input).collect(),
        plan_made_for: dossier.plan_made_for(),
        plan_matches: match dossier.plan_match() {
            PlanMatch::NoPlan | PlanMatch::NotSaid => None,
            PlanMatch::Matches => Some(true),
            PlanMatch::Differs => Some(false),
        },
    }
}

fn summary(dossier: &Dossier) -> SummaryShape {
    let not_analysed = dossier.not_analysed();
    SummaryShape {
        not_analysed: not_analysed.iter().map(NotAnalysedShape::of).collect(),
        kinds_without_claims: dossier.kinds_without_claims().into_iter().map(claim::Kind::key).collect(),
        statuses: StatusCounts::of(dossier.summary()),
        accepted: dossier.verdicts().iter().filter(|v| dossier.deviation(&v.id).is_some()).count(),
        kinds: dossier.summary_by_kind().into_iter().map(KindShape::of).collect(),
        tightest: dossier.tightest(3).into_iter().map(|v| v.id.clone()).collect(),
        demand_by_provenance: dossier.demand_shares().map(|shares| ShareShape::list(&shares)),
    }
}

fn accepted(dossier: &Dossier, id: &str) -> Option<AcceptedShape> {
    dossier.deviation(id).map(AcceptedShape::of)
}

fn place(dossier: &Dossier, verdict: &claim::Verdict) -> Option<Where> {
    dossier.place(verdict).map(Where::from)
}
