//! `demo`: the whole job on the bundled survey vessel.

use super::{check, report, session};
use crate::args::{ColorChoice, DemoArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use claim::Verdict;
use evidence::text::Detail;
use std::path::Path;

const VESSEL: [(&str, &str); 4] = [
    ("system.toml", include_str!("../../../../examples/survey-vessel/system.toml")),
    ("tasks.csv", include_str!("../../../../examples/survey-vessel/tasks.csv")),
    ("channels.csv", include_str!("../../../../examples/survey-vessel/channels.csv")),
    ("plan.toml", include_str!("../../../../examples/survey-vessel/plan.toml")),
];

pub fn run(args: &DemoArgs, color: ColorChoice) -> Result<Exit> {
    let vessel = args.out.join("survey-vessel");
    files::make_folder(&vessel)?;
    for (name, text) in VESSEL {
        files::write_whole(&vessel.join(name), text)?;
    }
    let baseline = session::load(&vessel, None)?;
    session::complain(&baseline, color);
    let dossier = baseline::dossier(&baseline, session::extras(true));
    terminal::print(&evidence::text::render(&dossier, Detail::Default, check::style(color)));
    plan_from_nothing(&vessel, &args.out)?;
    let report = report::write(&dossier, &args.out)?;
    let tightest: Vec<_> = dossier.tightest(3).into_iter().map(line).collect();
    terminal::print(&format!(
        "\nThe report is {}\nThe three tightest claims:\n{}\n",
        report.display(),
        tightest.join("\n")
    ));
    Ok(check::exit(&dossier))
}

/// The same vessel once more from its demands alone, to show that a plan can be found.
fn plan_from_nothing(vessel: &Path, out: &Path) -> Result<()> {
    let found = out.join("found-plan.toml");
    let answer = super::plan::find(vessel, None, super::plan::Search::default())?;
    if let Some(text) = &answer.plan_text {
        files::write_whole(&found, text)?;
    }
    terminal::print(&format!("\nA plan from the demands alone: {} ({})\n", answer.word, found.display()));
    Ok(())
}

fn line(verdict: &Verdict) -> String {
    evidence::text::one_line(verdict)
}
