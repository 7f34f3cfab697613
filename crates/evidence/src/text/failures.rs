//! Claims that are violated or not shown, in full.

use super::layout::{Align, Page};
use super::timeline;
use crate::dossier::Dossier;
use crate::show::{amount_or, limit, overused_permille, percent, simulated};
use claim::{Status, Verdict};

const OPEN: [(Status, &str); 2] = [(Status::Violated, "Violated"), (Status::NotShown, "Not shown")];

/// A line for every claim that is not shown.
pub(super) fn lines(page: &mut Page, dossier: &Dossier) {
    for deviation in dossier.deviations() {
        let terms = format!("{}, accepted until {}", deviation.status_words(), deviation.until);
        page.line(&format!("{}  {terms}", deviation.claim));
        deviation.remarks().into_iter().for_each(|remark| page.paragraph(2, &format!("! {remark}")));
    }
    let open = [Status::NotAnalysed, Status::Violated, Status::NotShown];
    let rows: Vec<_> = open.into_iter().flat_map(|status| dossier.open(status)).map(|v| line(page, v)).collect();
    page.table(0, &[Align::Left; 2], &rows);
}

fn line(page: &Page, verdict: &Verdict) -> Vec<String> {
    vec![page.status(verdict.status), verdict.id.clone()]
}

/// Every such claim with its numbers, its reason and its witness.
pub(super) fn in_full(page: &mut Page, dossier: &Dossier) {
    for (status, title) in OPEN {
        let open: Vec<_> = dossier.open(status).collect();
        if open.is_empty() {
            continue;
        }
        page.heading(&format!("{title}: {}", open.len()));
        open.into_iter().for_each(|verdict| failure(page, dossier, verdict));
    }
}

fn failure(page: &mut Page, dossier: &Dossier, verdict: &Verdict) {
    let share = overused_permille(verdict).map(|used| format!(", {} of it", percent(used))).unwrap_or_default();
    let bound = amount_or(verdict.bound, verdict.unit, "no bound");
    page.entry(2, &format!("{}  {bound}, limit {}{share}", verdict.id, limit(verdict)));
    if let Some(place) = dossier.place(verdict) {
        page.line(&format!("    at {place}"));
    }
    if let Some(reason) = &verdict.reason {
        page.paragraph(4, reason);
    }
    if let Some(witness) = &verdict.witness {
        if !verdict.is_own_witness() {
            page.paragraph(4, &format!("Witness: {}", witness.summary));
        }
        timeline::draw(page, 4, witness);
    }
    if let Some(seen) = verdict.simulated {
        let largest = amount_or(Some(seen.largest), verdict.unit, "");
        page.paragraph(4, &format!("Simulated: {largest} by {}, {}.", seen.found_by.key(), simulated(verdict)));
    }
}
