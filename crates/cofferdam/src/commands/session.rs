//! What `check`, `plan`, `report` and `demo` share: reading the inputs from disk and saying what is wrong with them.

use crate::args::ColorChoice;
use crate::files::{self, ReadError};
use crate::terminal;
use anyhow::{Result, bail};
use baseline::{Baseline, Extras, PlanChoice};
use diagnostic::{Look, render_text};
use evidence::ValidationRow;
use model::{FileError, FileSource, MOST_BYTES};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// The published examples that every build is held against; a test of the corpus keeps the file current.
const VALIDATION: &str = include_str!("../../../../corpus/published/validation.json");

/// Files on disk, beside the system file.
struct Beside {
    folder: PathBuf,
}

impl FileSource for Beside {
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError> {
        files::read_at_most(&self.folder.join(path), MOST_BYTES).map_err(file_error)
    }
}

fn file_error(error: ReadError) -> FileError {
    match error {
        ReadError::TooLarge => FileError::TooLarge,
        ReadError::Other(why) if why.kind() == ErrorKind::NotFound => FileError::NotFound,
        ReadError::Other(why) => FileError::Other(why.to_string()),
    }
}

/// Reads a system and the plan named by it, or the one given.
pub fn load(system: &Path, plan: Option<&Path>) -> Result<Baseline> {
    let choice = match plan {
        None => PlanChoice::Named,
        Some(path) => given_plan(path)?,
    };
    load_with(system, choice)
}

/// Reads a system with a choice of plan.
pub fn load_with(system: &Path, choice: PlanChoice) -> Result<Baseline> {
    let file = files::system_file(system);
    let Some(name) = file.file_name().and_then(|name| name.to_str()) else {
        bail!("{} is no system file", system.display());
    };
    let folder = file.parent().map(Path::to_owned).unwrap_or_default();
    Ok(baseline::load(name, choice, &mut Beside { folder }))
}

/// The plan file at a path of the call.
pub fn given_plan(path: &Path) -> Result<PlanChoice> {
    match files::read_at_most(path, MOST_BYTES) {
        Ok(bytes) => Ok(PlanChoice::Given { name: path.display().to_string(), bytes }),
        Err(ReadError::TooLarge) => bail!("the plan {} passes the limit of {MOST_BYTES} bytes", path.display()),
        Err(ReadError::Other(why)) => bail!("cannot read the plan {}: {why}", path.display()),
    }
}

/// Draws every diagnostic on standard error, and their count.
pub fn complain(baseline: &Baseline, color: ColorChoice) {
    let look = if terminal::colour_remarks(color) { Look::Coloured } else { Look::Plain };
    for diagnostic in &baseline.diagnostics {
        terminal::complain(&format!("{}\n\n", render_text(diagnostic, &baseline.sources, look)));
    }
    let errors = baseline.diagnostics.iter().filter(|d| d.is_error()).count();
    if errors > 0 {
        let noun = if errors == 1 { "error" } else { "errors" };
        terminal::complain(&format!("{errors} {noun}; `cofferdam explain CODE` says more about each\n"));
    }
}

/// What the dossier holds beside the results: version, today, published examples.
pub fn extras(allow_not_analysed: bool) -> Extras {
    Extras {
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        today: Some(jiff::ZonedDateTime::now().date()),
        allow_not_analysed,
        drawings: false,
        validation: validation(),
    }
}

fn validation() -> Vec<ValidationRow> {
    // The corpus test holds this file to the shape that is read here.
    serde_json::from_str(VALIDATION).expect("the validation table is embedded and tested")
}
