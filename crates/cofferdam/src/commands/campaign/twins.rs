//! Twins without fault against the bounds: simulation above a bound means that nothing of either holds.

use super::folder::Loaded;
use crate::files;
use anyhow::Result;
use baseline::simulated::{Above, above_with_all_on, require_none};
use campaign::{Chunk, Settings};
use claim::Verdict;
use simulator::fault::write_scenario;
use simulator::{Engine, Machine, Nobody, Scenario, Seen};
use std::path::Path;

/// # Errors
/// [`baseline::Alarms`] where a twin saw more than a bound allows; `above-bound` in `out` then holds the scenario of the first
/// run that did, for each such claim.
pub fn require_within_bounds(
    loaded: &Loaded,
    settings: &Settings,
    twins: &Seen,
    chunks: impl Iterator<Item = Result<Chunk>> + Clone,
    out: &Path,
) -> Result<()> {
    let verdicts = baseline::verdicts(&loaded.system, &loaded.plan);
    held(loaded, &verdicts, settings, twins, chunks, out)
}

fn held(
    loaded: &Loaded,
    verdicts: &[Verdict],
    settings: &Settings,
    twins: &Seen,
    chunks: impl Iterator<Item = Result<Chunk>> + Clone,
    out: &Path,
) -> Result<()> {
    let machine = &loaded.machine;
    let mut found = Vec::new();
    let reproduces = |above: &Above| {
        let run = first(above, machine, settings, chunks.clone());
        let Some(run) = run else { return "(the chunk that saw it can no longer be read)".to_owned() };
        let text = write_scenario(&twin(settings, run), machine);
        found.push((run, text.clone()));
        text
    };
    let above = above_with_all_on((&loaded.system, &loaded.plan), machine, twins, verdicts);
    let held = require_none(&above, reproduces);
    let folder = out.join("above-bound");
    for (run, text) in found {
        files::make_folder(&folder)?;
        files::write_whole(&folder.join(format!("run-{run}.toml")), &text)?;
    }
    Ok(held?)
}

/// The scenario of a run without its fault.
fn twin(settings: &Settings, run: u64) -> Scenario {
    Scenario { faults: Vec::new(), ..settings.scenario(run) }
}

/// The first run that saw it: of the first chunk that did.
fn first(
    above: &Above,
    machine: &Machine,
    settings: &Settings,
    mut chunks: impl Iterator<Item = Result<Chunk>>,
) -> Option<u64> {
    let mut engine = Engine::new(machine);
    let chunk = chunks.find_map(|chunk| chunk.ok().filter(|chunk| above.is_in(machine, 0, &chunk.twins)))?;
    chunk.runs.into_iter().find(|run| {
        let mut seen = Seen::nothing(machine);
        engine.run(&twin(settings, *run), &mut seen, &mut Nobody);
        above.is_in(machine, 0, &seen)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::campaign::folder::Inputs;
    use crate::exit::{Exit, guarded};
    use baseline::PlanChoice;
    use campaign::{Choice, Summary, run_chunk};
    use simulator::Protections;
    use std::collections::BTreeMap;

    const SYSTEM: &str = include_str!("../../../starter/system.toml");
    const PLAN: &str = include_str!("../../../starter/plan.toml");
    const CLAIM: &str = "response/RAMP.interlock";

    fn starter() -> Loaded {
        let texts = [("system.toml", SYSTEM), ("plan.toml", PLAN)];
        let mut files: BTreeMap<String, Vec<u8>> =
            texts.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
        let baseline = baseline::load("system.toml", PlanChoice::Named, &mut files);
        Inputs::of(&baseline).and_then(|inputs| inputs.load()).expect("the starter system loads")
    }

    fn settings(machine: &Machine) -> Settings {
        let choices = Choice::all(machine);
        Settings { seed: 5, runs: 24, span_ns: machine.frame_ns * 4, choices, protections: Protections::ALL }
    }

    /// The starter's campaign in two chunks, held against a bound that is made up.
    fn judged(loaded: &Loaded, bound: Option<u64>, out: &Path) -> Result<Exit, (Exit, String)> {
        let (machine, settings) = (&loaded.machine, settings(&loaded.machine));
        let chunks = [0..9, 9..24].map(|runs| run_chunk(machine, &settings, runs));
        let mut summary = Summary::nothing(machine);
        chunks.iter().for_each(|chunk| summary.add(chunk, machine));
        let mut verdicts = baseline::verdicts(&loaded.system, &loaded.plan);
        let changed = verdicts.iter_mut().find(|verdict| verdict.id == CLAIM).expect("the claim is there");
        changed.bound = bound.or(changed.bound);
        let chunks = chunks.iter().map(|chunk| Ok(chunk.clone()));
        guarded(|| held(loaded, &verdicts, &settings, &summary.twins, chunks, out).map(|()| Exit::Shown))
    }

    /// The longest response of the claim's task in a scenario.
    fn response_ns(machine: &Machine, scenario: &Scenario) -> u64 {
        let task = machine.tasks.iter().position(|task| CLAIM.ends_with(&task.label)).expect("the task is there");
        let mut seen = Seen::nothing(machine);
        Engine::new(machine).run(scenario, &mut seen, &mut Nobody);
        seen.tasks[task].most_ns
    }

    #[test]
    fn a_twin_above_a_bound_ends_with_the_alarm_and_a_scenario_that_reproduces_it() {
        let out = std::env::temp_dir().join(format!("cofferdam-above-bound-{}", std::process::id()));
        let loaded = starter();
        assert_eq!(judged(&loaded, None, &out), Ok(Exit::Shown), "the bound as it is");
        assert!(!out.exists());
        // The longest of all twins, which only the runs that have it pass when the bound is 1 ns less.
        let settings = settings(&loaded.machine);
        let responses: Vec<_> = (0..24).map(|run| response_ns(&loaded.machine, &twin(&settings, run))).collect();
        let longest_ns = responses.iter().copied().max().expect("there are runs");
        let first = responses.iter().position(|ns| *ns == longest_ns).expect("one is the longest");
        let (exit, message) = judged(&loaded, Some(longest_ns - 1), &out).expect_err("it is above");
        assert_eq!((exit, exit.code()), (Exit::Alarm, 3));
        assert!(message.contains(CLAIM) && message.contains(&format!("a run reaches {longest_ns}")), "{message}");
        let file = out.join("above-bound").join(format!("run-{first}.toml"));
        let text = std::fs::read_to_string(&file).expect("the scenario is kept");
        assert!(message.contains(&text), "{message}");
        let mut sources = diagnostic::Sources::new();
        let (scenario, _) = simulator::fault::read_scenario("run.toml", text.as_bytes(), &loaded.machine, &mut sources);
        let scenario = scenario.expect("the scenario is read");
        assert_eq!(response_ns(&loaded.machine, &scenario), longest_ns);
        std::fs::remove_dir_all(&out).expect("it was made here");
    }
}
