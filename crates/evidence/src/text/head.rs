//! What comes first: the outcome, what was not analysed, accepted deviations.

use super::Detail;
use super::layout::Page;
use crate::dossier::{Dossier, PlanMatch};
use crate::show::{amount_or, count, limit};

pub(super) fn outcome(page: &mut Page, dossier: &Dossier) {
    let name = dossier.system().map_or("No system could be read", |system| system.name.value.as_str());
    let plan = match dossier.plan_match() {
        PlanMatch::NoPlan => "without a plan",
        PlanMatch::NotSaid => "under a plan that does not say which system it was made for",
        PlanMatch::Matches => "under a plan made for it",
        PlanMatch::Differs => "under a plan that was MADE FOR ANOTHER SYSTEM, or for this one before a change",
    };
    page.paragraph(0, &format!("{name}, {plan}."));
    page.paragraph(0, &dossier.sentence());
}

pub(super) fn diagnostics(page: &mut Page, dossier: &Dossier) {
    let errors = dossier.errors();
    if errors > 0 {
        page.paragraph(0, &format!("{} in the input: what follows is incomplete.", count(errors, "error")));
    }
}

pub(super) fn not_analysed(page: &mut Page, dossier: &Dossier, detail: Detail) {
    let entries = dossier.not_analysed();
    let total: usize = entries.iter().map(|entry| entry.ids.len()).sum();
    page.heading(&format!("Not analysed: {}", if total == 0 { "nothing".to_owned() } else { count(total, "claim") }));
    for entry in &entries {
        let shown = if detail == Detail::All { entry.reasons.len() } else { 1 };
        for (place, (reason, claims)) in entry.reasons.iter().take(shown).enumerate() {
            let title = if place == 0 { entry.kind.title() } else { "" };
            let all = if entry.reasons.len() == 1 { entry.ids.len() } else { *claims };
            page.labelled(2, &format!("{title:<22}{all:>4}"), reason);
        }
    }
    let without: Vec<_> = dossier.kinds_without_claims().into_iter().map(claim::Kind::title).collect();
    if !without.is_empty() {
        page.hanging(2, 4, &format!("No claim at all about: {}.", without.join(", ")));
    }
}

pub(super) fn deviations(page: &mut Page, dossier: &Dossier) {
    if dossier.deviations().is_empty() {
        return;
    }
    page.heading(&format!("Accepted deviations: {}", dossier.deviations().len()));
    for deviation in dossier.deviations() {
        let verdict = dossier.verdicts().iter().find(|verdict| verdict.id == deviation.claim);
        let numbers = verdict.map(|v| format!(", {}, limit {}", amount_or(v.bound, v.unit, "no bound"), limit(v)));
        let line = format!("{}: {}{}", deviation.claim, deviation.status_words(), numbers.unwrap_or_default());
        page.hanging(2, 4, &line);
        let terms = format!("{} accepts it until {}: {}", deviation.owner, deviation.until, deviation.reason);
        page.paragraph(4, &terms);
        deviation.remarks().into_iter().for_each(|remark| page.paragraph(4, &format!("! {remark}")));
    }
}
