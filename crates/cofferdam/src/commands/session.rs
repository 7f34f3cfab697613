//! What `check`, `plan`, `report` and `demo` share: reading the inputs from disk and saying what is wrong with them.

use crate::args::ColorChoice;
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Result, bail};
use baseline::simulated::Search;
use baseline::{Baseline, Extras, PlanChoice};
use claim::Verdict;
use diagnostic::{Look, Plain, render_text};
use evidence::recording::RecordingFound;
use evidence::run::CampaignFound;
use evidence::{Dossier, ValidationRow};
use model::{FileError, FileSource, MOST_BYTES};
use std::path::{Path, PathBuf};

/// The published examples that every build is held against; a test of the corpus keeps the file current.
const VALIDATION: &str = include_str!("../../../../corpus/published/validation.json");

/// Files on disk, beside the system file.
struct Beside {
    folder: PathBuf,
}

impl FileSource for Beside {
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError> {
        files::read_at_most(&self.folder.join(path), MOST_BYTES)
    }
}

/// Inputs with two names each: counted from the system's folder, which reports and JSON say wherever they are made,
/// and as the user would open them from where they stand.
pub struct Session {
    /// The inputs under the names that reports say.
    pub baseline: Baseline,
    folder: PathBuf,
    given_plan: Option<(String, PathBuf)>,
}

/// Which plan the call asks for.
#[derive(Clone, Copy)]
pub enum Wanted<'a> {
    /// The one that the system names.
    Named,
    /// The file at this path.
    Given(&'a Path),
    /// None.
    NoPlan,
}

impl<'a> Wanted<'a> {
    /// The plan of `--plan`, or the one that the system names.
    pub fn given_or_named(given: Option<&'a PathBuf>) -> Self {
        given.map_or(Self::Named, |path| Self::Given(path))
    }
}

/// Reads a system and the plan wanted.
pub fn load(system: &Path, wanted: Wanted<'_>) -> Result<Session> {
    let file = files::system_file(system);
    let Some(name) = file.file_name().and_then(|name| name.to_str()) else {
        bail!("{} is no system file", system.display());
    };
    let folder = file.parent().map(Path::to_owned).unwrap_or_default();
    let (choice, given_plan) = match wanted {
        Wanted::Named => (PlanChoice::Named, None),
        Wanted::NoPlan => (PlanChoice::None, None),
        Wanted::Given(path) => {
            let bytes = files::read_at_most(path, MOST_BYTES);
            let found = bytes.as_ref().ok().and_then(|_| files::name_from(&folder, path));
            let name = found.unwrap_or_else(|| path.display().to_string());
            (PlanChoice::Given { name: name.clone(), bytes }, Some((name, path.to_owned())))
        }
    };
    let baseline = baseline::load(name, choice, &mut Beside { folder: folder.clone() });
    Ok(Session { baseline, folder, given_plan })
}

impl Session {
    /// The inputs under the names by which the user would open them.
    pub fn as_opened(&self) -> Baseline {
        self.baseline.renamed(|name| match &self.given_plan {
            Some((plan, path)) if plan == name => path.display().to_string(),
            _ => self.folder.join(name).display().to_string(),
        })
    }

    /// The dossier for reports, which draw supply and demand and a run, and tell of a campaign and of recordings where there
    /// are any. `claims` are those of the baseline.
    pub fn dossier_to_draw(
        &self,
        allow_not_analysed: bool,
        campaign: Option<CampaignFound>,
        recording: Option<RecordingFound>,
        claims: Vec<Verdict>,
    ) -> Result<Dossier> {
        let extras = extras(allow_not_analysed);
        let extras =
            Extras { drawings: true, search: Some(Search::SHORT), campaign, recording, claims: Some(claims), ..extras };
        Ok(baseline::dossier(&self.baseline, extras)?)
    }

    /// The campaign in a folder, where one is named and the inputs can be judged by it.
    pub fn campaign(&self, folder: Option<&Path>) -> Result<Option<CampaignFound>> {
        let folder = folder.filter(|_| !self.baseline.has_errors());
        folder.map(|folder| super::campaign::told(folder, &self.baseline)).transpose()
    }

    /// The dossier for programs.
    pub fn dossier(&self, allow_not_analysed: bool, campaign: Option<CampaignFound>) -> Result<Dossier> {
        Ok(baseline::dossier(&self.baseline, Extras { campaign, ..extras(allow_not_analysed) })?)
    }

    /// The dossier for the terminal.
    pub fn dossier_as_opened(&self, allow_not_analysed: bool, campaign: Option<CampaignFound>) -> Result<Dossier> {
        Ok(baseline::dossier(&self.as_opened(), Extras { campaign, ..extras(allow_not_analysed) })?)
    }

    /// The end of a command whose inputs are wrong: in JSON with what could be judged, at the terminal all is said.
    pub fn refused(&self, in_json: bool) -> Result<Exit> {
        if in_json {
            terminal::print(&evidence::json::render(&self.dossier(false, None)?))?;
        }
        Ok(Exit::Wrong)
    }

    /// Every diagnostic as programs read it.
    pub fn plain_diagnostics(&self) -> Vec<Plain> {
        self.baseline.diagnostics.iter().map(|d| Plain::new(d, &self.baseline.sources)).collect()
    }

    /// Draws every diagnostic on standard error, and the count of errors.
    pub fn complain(&self, color: ColorChoice) {
        if self.baseline.diagnostics.is_empty() {
            return;
        }
        let look = if terminal::colour_remarks(color) { Look::Coloured } else { Look::Plain };
        let shown = self.as_opened();
        for diagnostic in &shown.diagnostics {
            terminal::complain(&format!("{}\n\n", render_text(diagnostic, &shown.sources, look)));
        }
        let errors = shown.diagnostics.iter().filter(|d| d.is_error()).count();
        if errors > 0 {
            let noun = if errors == 1 { "error" } else { "errors" };
            terminal::complain(&format!("{errors} {noun}; `cofferdam explain CODE` says more about each\n"));
        }
    }
}

/// What the dossier holds beside the results: version, today, published examples.
fn extras(allow_not_analysed: bool) -> Extras {
    Extras {
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        today: Some(jiff::ZonedDateTime::now().date()),
        allow_not_analysed,
        drawings: false,
        search: None,
        validation: validation(),
        campaign: None,
        recording: None,
        claims: None,
    }
}

fn validation() -> Vec<ValidationRow> {
    // The corpus test holds this file to the shape that is read here.
    serde_json::from_str(VALIDATION).expect("the validation table is embedded and tested")
}
