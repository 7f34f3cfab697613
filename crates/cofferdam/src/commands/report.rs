//! `report`: the evidence as one HTML file.

use super::check;
use super::session::{self, Wanted};
use crate::args::{ColorChoice, Format, ReportArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use evidence::Dossier;
use std::path::{Path, PathBuf};

pub fn run(args: &ReportArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let campaign = session.campaign(args.campaign.as_deref())?;
    let dossier = session.dossier_to_draw(args.allow_not_analysed, campaign)?;
    let written = if session.baseline.has_errors() { None } else { Some(write(&dossier, &args.out)?) };
    match (args.format, written) {
        (Format::Json, _) => terminal::print(&evidence::json::render(&dossier))?,
        (Format::Text, None) => {}
        (Format::Text, Some(path)) => {
            terminal::print(&format!("{}\nThe report is {}\n", dossier.sentence(), path.display()))?;
        }
    }
    Ok(check::exit(&dossier))
}

/// Writes `report.html` and `verdicts.json` into a folder; gives the path of the report.
pub fn write(dossier: &Dossier, folder: &Path) -> Result<PathBuf> {
    files::make_folder(folder)?;
    let report = folder.join("report.html");
    files::write_whole(&report, &evidence::html::report(dossier))?;
    files::write_whole(&folder.join("verdicts.json"), &evidence::json::render(dossier))?;
    Ok(report)
}
