//! `demo`: the whole job on the bundled survey vessel.

use super::session::{self, Wanted};
use super::{campaign, check, plan, report, simulate};
use crate::args::{ColorChoice, DEFAULT_SEED, DemoArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use claim::{Kind, Status};
use evidence::Dossier;
use evidence::text::Detail;
use std::path::Path;

const VESSEL: [(&str, &str); 5] = [
    ("system.toml", include_str!("../../../../examples/survey-vessel/system.toml")),
    ("tasks.csv", include_str!("../../../../examples/survey-vessel/tasks.csv")),
    ("channels.csv", include_str!("../../../../examples/survey-vessel/channels.csv")),
    ("board.dts", include_str!("../../../../examples/survey-vessel/board.dts")),
    ("plan.toml", include_str!("../../../../examples/survey-vessel/plan.toml")),
];

/// Runs that are simulated, besides the one that the report draws.
const DEMO_RUNS: u64 = 200;

/// Runs with a fault, and the frames of each: enough faults of every partition for the shares that the vessel declares.
const DEMO_FAULTS: u64 = 1500;
const DEMO_FRAMES: u64 = 6;

pub fn run(args: &DemoArgs, color: ColorChoice) -> Result<Exit> {
    let vessel = args.out.join("survey-vessel");
    files::make_folder(&vessel)?;
    for (name, text) in VESSEL {
        files::write_whole(&vessel.join(name), text)?;
    }
    let session = session::load(&vessel, Wanted::Named)?;
    session.complain(color);
    let shown = session.dossier_as_opened(true, None)?;
    terminal::print(&evidence::text::render(&shown, Detail::Default, check::style(color)))?;
    plan_from_nothing(&vessel, &args.out)?;
    simulate::sample(&session, DEMO_RUNS)?;
    let found = campaign::sample(&session.baseline, DEFAULT_SEED, DEMO_FAULTS, DEMO_FRAMES, &args.out)?;
    let dossier = session.dossier_to_draw(true, Some(found), None, baseline::claims(&session.baseline))?;
    terminal::print(&containment(&dossier))?;
    let report = report::write(&dossier, &args.out)?;
    let tightest = evidence::text::tightest(&dossier, 3, check::style(color));
    terminal::print(&format!("\nThe report is {}\nThe three tightest claims:\n{tightest}", report.display()))?;
    Ok(check::exit(&dossier))
}

/// What the campaign says of the declared sets, in short.
fn containment(dossier: &Dossier) -> String {
    let sets = dossier.verdicts().iter().filter(|verdict| verdict.kind == Kind::Containment);
    let (declared, shown) = (sets.clone().count(), sets.filter(|verdict| verdict.status == Status::Shown).count());
    format!(
        "\nFaults: {DEMO_FAULTS} runs, each with a fault and without.\n  Of {declared} partitions {shown} are shown to harm nobody \
         outside their sets. A campaign is no proof;\n  the report has its isolation matrix, and `cofferdam campaign` makes larger \
         ones.\n"
    )
}

/// The same vessel once more from its demands alone, to show that a plan can be found.
fn plan_from_nothing(vessel: &Path, out: &Path) -> Result<()> {
    let session = session::load(vessel, Wanted::NoPlan)?;
    let Some(system) = &session.baseline.system else { return Ok(()) };
    let limits = plan::Limits { seed: DEFAULT_SEED, time: None };
    let outcome = plan::search(system, None, &limits).outcome;
    let found = out.join("found-plan.toml");
    let answer = outcome.answer.words();
    match outcome.answer.plan() {
        Some(plan) => {
            files::write_whole(&found, &::plan::write_plan(plan, system))?;
            terminal::print(&format!("\nA plan from the demands alone: {answer}, {}\n", found.display()))?;
        }
        None => terminal::print(&format!("\nA plan from the demands alone: {answer}\n"))?,
    }
    Ok(())
}
