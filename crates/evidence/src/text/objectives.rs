//! Objectives of standards with what their claims come to, open ones first.

use super::layout::Page;
use crate::dossier::Dossier;
use crate::objectives::CAUTION;

pub(super) fn list(page: &mut Page, dossier: &Dossier) {
    page.heading("Objectives");
    for row in dossier.objectives() {
        let status = page.status(row.status);
        page.hanging(2, 6, &format!("{status}  {} ({}): {}", row.objective.key, row.objective.source, row.told()));
    }
    page.paragraph(2, CAUTION);
}
