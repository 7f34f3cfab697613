//! `simulate`: runs of a system under a plan, one drawn or many counted.

mod answer;
mod asked;
mod runs;

use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, SimulateArgs};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Context, Result, bail};
use evidence::run::scenario_words;
use simulator::scenario::{Spread, Times};
use simulator::{Scenario, compile};

pub fn run(args: &SimulateArgs, color: ColorChoice) -> Result<Exit> {
    refuse_clashes(args)?;
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let Some(system) = session.baseline.system.as_ref().filter(|_| !session.baseline.has_errors()) else {
        return session.refused(args.format == Format::Json);
    };
    let plan = session.baseline.plan.as_ref().context("there is no plan to run: name one with --plan")?;
    for file in args.timeline.iter().chain(&args.svg).chain(&args.record) {
        files::expect_writable(file)?;
    }
    let machine = compile::machine(system, plan);
    let scenario = match asked::scenario(args, &machine, &session) {
        Ok(scenario) => scenario,
        Err(refused) => return super::refuse(&refused.diagnostics, &refused.sources, args.format, color),
    };
    let verdicts = baseline::verdicts(system, plan);
    let call = answer::Call {
        args,
        color,
        session: &session,
        system,
        machine: &machine,
        scenario: &scenario,
        verdicts: &verdicts,
        assumed: baseline::simulated::protections(system, plan),
    };
    if args.runs == 1 { call.one() } else { call.many() }
}

/// Makes runs of a baseline without faults, each time at either end of its range, and says what they come to in short.
pub fn sample(session: &Session, runs: u64) -> Result<()> {
    let (Some(system), Some(plan)) = (&session.baseline.system, &session.baseline.plan) else { return Ok(()) };
    let machine = compile::machine(system, plan);
    let mut scenario = Scenario::plain(&machine);
    if let Times::Drawn(drawn) = &mut scenario.times {
        drawn.executions = Spread::Ends;
    }
    let made = runs::make(&machine, &scenario, runs);
    let verdicts = baseline::verdicts(system, plan);
    let observed = baseline::simulated::beside(system, &machine, &scenario, &made.seen, &verdicts);
    terminal::print(&format!("\n{}\n", evidence::text::runs_in_short(&scenario_words(&scenario, &machine), &observed)))
}

/// Options that one run alone can have.
fn refuse_clashes(args: &SimulateArgs) -> Result<()> {
    let files = [("--timeline", &args.timeline), ("--svg", &args.svg), ("--record", &args.record)];
    for (index, (option, file)) in files.iter().enumerate() {
        let same = files[..index].iter().find(|(_, other)| file.is_some() && other == file);
        if let (Some((other, _)), Some(file)) = (same, file) {
            bail!("{other} and {option} both name {}; give each a file of its own", file.display());
        }
    }
    if args.runs == 1 {
        return Ok(());
    }
    let drawn = [
        ("--timeline", args.timeline.is_some()),
        ("--svg", args.svg.is_some()),
        ("--record", args.record.is_some()),
        ("--window", args.window.is_some()),
    ];
    match drawn.iter().find(|(_, given)| *given) {
        Some((option, _)) => bail!("{option} draws one run, and {} were asked for: name one with --run K", args.runs),
        None => Ok(()),
    }
}
