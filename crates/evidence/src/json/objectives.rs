//! The shape of an objective with its claims.

use super::shape::StatusCounts;
use crate::dossier::Dossier;
use crate::objectives::ObjectiveRow;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ObjectiveShape<'d> {
    objective: &'static str,
    source: &'static str,
    gist: &'static str,
    status: &'static str,
    told: String,
    /// The kinds of claim that speak to it.
    kinds: Vec<&'static str>,
    /// The claims that are not shown.
    open: Vec<&'d str>,
    accepted: usize,
    /// What it asks for beside, outside this program.
    beside: &'static str,
    #[serde(flatten)]
    counts: StatusCounts,
}

pub(super) fn all(dossier: &Dossier) -> Vec<ObjectiveShape<'_>> {
    dossier.objectives().into_iter().map(shape).collect()
}

fn shape(row: ObjectiveRow<'_>) -> ObjectiveShape<'_> {
    let kinds = row.objective.needs.iter().chain(row.objective.also);
    ObjectiveShape {
        objective: row.objective.key,
        source: row.objective.source,
        gist: row.objective.gist,
        status: row.status.key(),
        told: row.told(),
        kinds: kinds.map(|kind| kind.key()).collect(),
        open: row.open.iter().map(|verdict| verdict.id.as_str()).collect(),
        accepted: row.accepted,
        beside: row.objective.beside,
        counts: StatusCounts::of(row.counts),
    }
}
