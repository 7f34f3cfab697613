//! `report`: the evidence as one HTML file.

use super::judging::{self, Found, exit_of};
use super::session::{self, Session, Wanted};
use super::{check, trace};
use crate::args::{ColorChoice, Format, ReportArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Context, Result};
use claim::Verdict;
use evidence::Dossier;
use std::path::{Path, PathBuf};

pub fn run(args: &ReportArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let campaign = session.campaign(args.campaign.as_deref())?;
    let claims = baseline::claims(&session.baseline);
    let recording = match recording(args, &session, &claims)? {
        None => None,
        Some(Found::Judged(found)) => Some(*found),
        Some(Found::WrongMap(wrong, sources)) => return super::refuse(&wrong, &sources, args.format, color),
    };
    let dossier = session.dossier_to_draw(args.allow_not_analysed, campaign, recording, claims)?;
    let of_recording = dossier.recording().map_or(Exit::Shown, |judged| exit_of(&judged, args.allow_not_analysed));
    let exit = check::exit(&dossier).max(of_recording);
    let written = if session.baseline.has_errors() { None } else { Some(write(&dossier, &args.out)?) };
    if let (Some(judged), Some(_)) = (dossier.recording(), &written) {
        files::write_whole(&args.out.join("recording.json"), &trace::in_json(&session, &judged, of_recording))?;
    }
    match (args.format, written) {
        (Format::Json, _) => terminal::print(&evidence::json::render(&dossier))?,
        (Format::Text, None) => {}
        (Format::Text, Some(path)) => {
            terminal::print(&format!("{}\nThe report is {}\n", dossier.sentence(), path.display()))?;
        }
    }
    Ok(exit)
}

/// What came of the recordings of the call, where it names any and the inputs can be judged by.
fn recording(args: &ReportArgs, session: &Session, claims: &[Verdict]) -> Result<Option<Found>> {
    if args.recordings.is_empty() || session.baseline.has_errors() {
        return Ok(None);
    }
    let Some(system) = &session.baseline.system else { return Ok(None) };
    let plan =
        session.baseline.plan.as_ref().context("there is no plan to judge recordings by: name one with --plan")?;
    judging::recordings(&args.judging, &args.recordings, (system, plan, claims), session, true).map(Some)
}

/// Writes `report.html` and `verdicts.json` into a folder; gives the path of the report.
pub fn write(dossier: &Dossier, folder: &Path) -> Result<PathBuf> {
    files::make_folder(folder)?;
    let report = folder.join("report.html");
    files::write_whole(&report, &evidence::html::report(dossier))?;
    files::write_whole(&folder.join("verdicts.json"), &evidence::json::render(dossier))?;
    Ok(report)
}
