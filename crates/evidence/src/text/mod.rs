//! The answer for people at a terminal.

mod chains;
mod claims;
mod covert;
mod exchange;
mod failures;
mod head;
mod layout;
mod lengthened;
mod objectives;
mod recording;
mod rehearsal;
mod run;
mod runs;
mod spans;
mod timeline;

use crate::caution::CAUTIONS;
use crate::dossier::Dossier;
use crate::recording::{Judged, REHEARSAL};
use crate::rehearsal::Rehearsal;
use crate::run::{Observed, Told};
use layout::Page;

/// How much is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Detail {
    /// The outcome, and a line for every claim that is not shown.
    Quiet,
    /// Claims that are not shown in full, a line for each kind.
    #[default]
    Default,
    /// Every claim.
    All,
}

/// What the terminal can do, decided by the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Colour, beside the words that say the same.
    pub colour: bool,
    /// Characters beyond ASCII in bars and timelines.
    pub unicode: bool,
    /// The width in columns; the text keeps at least 60.
    pub width: usize,
}

impl Default for Style {
    fn default() -> Self {
        Self { colour: false, unicode: true, width: 100 }
    }
}

/// The answer as text with a final line break.
pub fn render(dossier: &Dossier, detail: Detail, style: Style) -> String {
    let mut page = Page::new(style);
    head::outcome(&mut page, dossier);
    if detail == Detail::Quiet {
        failures::lines(&mut page, dossier);
        return page.finish();
    }
    head::diagnostics(&mut page, dossier);
    head::deviations(&mut page, dossier);
    head::not_analysed(&mut page, dossier, detail);
    failures::in_full(&mut page, dossier);
    match detail {
        Detail::All => {
            claims::tables(&mut page, dossier);
            lengthened::draw(&mut page, dossier);
            exchange::draw(&mut page, dossier);
            covert::draw(&mut page, dossier);
            objectives::list(&mut page, dossier);
        }
        _ => claims::kinds(&mut page, dossier),
    }
    claims::waiting(&mut page, dossier);
    chains::waterfalls(&mut page, dossier, detail);
    claims::tightest(&mut page, dossier);
    claims::breaks_first(&mut page, dossier);
    claims::provenance(&mut page, dossier);
    cautions(&mut page);
    page.finish()
}

/// The `n` shown claims nearest to their limits, as a table of their own.
pub fn tightest(dossier: &Dossier, n: usize, style: Style) -> String {
    let mut page = Page::new(style);
    claims::rows(&mut page, &dossier.tightest(n));
    page.finish()
}

/// One run: its timeline and what happened, below a head.
pub fn run(head: &str, told: &Told<'_>, style: Style) -> String {
    let mut page = Page::new(style);
    page.paragraph(0, head);
    runs::caution(&mut page);
    page.line("");
    run::draw(&mut page, told);
    page.finish()
}

/// What runs have seen beside the bounds, below a head.
pub fn runs(head: &str, observed: &Observed, style: Style) -> String {
    let mut page = Page::new(style);
    page.paragraph(0, head);
    runs::caution(&mut page);
    runs::tables(&mut page, observed);
    page.finish()
}

/// What a recording covers, breaks and keeps, below a head; every rule that is kept where `all` is asked for.
pub fn recording(head: &str, judged: &Judged<'_>, all: bool, style: Style) -> String {
    let mut page = Page::new(style);
    page.paragraph(0, head);
    if judged.found.is_rehearsal {
        page.paragraph(2, REHEARSAL);
    }
    recording::draw(&mut page, judged, all);
    page.finish()
}

/// A rehearsal: what it is, what was not kept, and what was found; every rule that is kept where `all` is asked for.
pub fn rehearsal(rehearsal: &Rehearsal<'_>, all: bool, style: Style) -> String {
    let mut page = Page::new(style);
    rehearsal::draw(&mut page, rehearsal, all);
    page.finish()
}

/// What runs come to in a paragraph, with its caution.
pub fn runs_in_short(scenario: &str, observed: &Observed) -> String {
    let mut page = Page::new(Style::default());
    page.paragraph(
        0,
        &format!("Simulated: {} of {scenario}. {}.", runs::how_many(observed), runs::outcome_words(observed)),
    );
    page.paragraph(2, "A simulation is not a bound; `cofferdam simulate` prints what was seen beside each bound.");
    page.finish()
}

fn cautions(page: &mut Page) {
    page.heading("Cautions");
    let shorts: Vec<_> = CAUTIONS.iter().enumerate().map(|(n, c)| format!("{} {}", n + 1, c.short)).collect();
    page.paragraph(2, &format!("{}.", shorts.join("; ")));
}
