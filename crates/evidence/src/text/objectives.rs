//! Objectives of standards with what their claims come to, open ones first.

use super::layout::Page;
use crate::dossier::Dossier;
use crate::objectives::CAUTION;

pub(super) fn list(page: &mut Page, dossier: &Dossier) {
    page.heading("Objectives");
    for row in dossier.objectives() {
        let (key, source) = (row.objective.key, row.objective.source);
        page.hanging(2, 6, &format!("{}: {key} ({source}): {}", row.status.words(), row.told()));
    }
    page.paragraph(2, CAUTION);
}
