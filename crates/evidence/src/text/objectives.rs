//! Objectives of standards with what their claims come to, open ones first.

use super::layout::{Align, Page};
use crate::dossier::Dossier;
use crate::objectives::CAUTION;

pub(super) fn table(page: &mut Page, dossier: &Dossier) {
    page.heading("Objectives");
    let row = |row: crate::objectives::ObjectiveRow<'_>| {
        vec![row.objective.key.to_owned(), row.objective.source.to_owned(), page.status(row.status), row.told()]
    };
    let rows: Vec<_> = dossier.objectives().into_iter().map(row).collect();
    page.table(2, &[Align::Left; 4], &rows);
    page.paragraph(2, CAUTION);
}
