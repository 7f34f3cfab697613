//! `report`: the evidence as one HTML file.

use super::{check, session};
use crate::args::{ColorChoice, ReportArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use baseline::Extras;
use evidence::Dossier;
use std::path::{Path, PathBuf};

pub fn run(args: &ReportArgs, color: ColorChoice) -> Result<Exit> {
    let baseline = session::load(&args.baseline.system, args.baseline.plan.as_deref())?;
    session::complain(&baseline, color);
    if baseline.has_errors() {
        return Ok(Exit::Wrong);
    }
    let dossier = baseline::dossier(&baseline, Extras { drawings: true, ..session::extras(args.allow_not_analysed) });
    let path = write(&dossier, &args.out)?;
    terminal::print(&format!("{}\nThe report is {}\n", dossier.sentence(), path.display()));
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
