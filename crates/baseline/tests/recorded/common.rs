//! A system, a run of it, and what its recording is judged to be.

use diagnostic::Sources;
use evidence::run::Recording;
use model::System;
use plan::Plan;
use simulator::fault::read_fault;
use simulator::{Engine, Fault, Machine, Scenario, Seen, compile};
use std::collections::BTreeMap;
use std::io::Cursor;
use trace::clock::Fit;
use trace::intake::csv::CsvReader;
use trace::judge::{Allowed, Judge, Judgement};
use trace::map::Map;
use trace::note::Matter;
use trace::recording::{self, Stream};

/// A system with its plan, and the machine that runs it.
pub struct Made {
    pub system: System,
    pub plan: Plan,
    pub machine: Machine,
}

impl Made {
    /// Of files by name, the system's first.
    pub fn of(files: &[(&str, &str)], plan: &str) -> Self {
        let mut texts: BTreeMap<String, Vec<u8>> =
            files.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
        let mut reading = model::read_system(files[0].0, &mut texts);
        let system = reading.system.take().unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
        let (plan, wrong) = plan::read_plan("plan.toml", plan.as_bytes(), &system, &mut reading.sources);
        let plan = plan.unwrap_or_else(|| panic!("{wrong:?}"));
        let machine = compile::machine(&system, &plan);
        Self { system, plan, machine }
    }

    pub fn vessel() -> Self {
        let files = [
            ("system.toml", include_str!("../../../../examples/survey-vessel/system.toml")),
            ("tasks.csv", include_str!("../../../../examples/survey-vessel/tasks.csv")),
            ("channels.csv", include_str!("../../../../examples/survey-vessel/channels.csv")),
            ("board.dts", include_str!("../../../../examples/survey-vessel/board.dts")),
        ];
        Self::of(&files, include_str!("../../../../examples/survey-vessel/plan.toml"))
    }

    pub fn nacelle() -> Self {
        let files = [
            ("system.toml", include_str!("../../../../examples/nacelle-controller/system.toml")),
            ("tasks.csv", include_str!("../../../../examples/nacelle-controller/tasks.csv")),
            ("channels.csv", include_str!("../../../../examples/nacelle-controller/channels.csv")),
        ];
        Self::of(&files, include_str!("../../../../examples/nacelle-controller/plan.toml"))
    }

    /// The canal lock with chains of its own: over two sampled messages, and over a queue.
    pub fn lock() -> Self {
        let chains = r#"
[[chain]]
name = "LIGHTS"
path = ["SLUC.pos", "GATE.ctl", "TRAF.lights"]
reaction = "10 s"

[[chain]]
name = "SEAL"
path = ["GATE.seal", "DIAG.log"]
data_age = "10 s"
"#;
        let system = format!("{}{chains}", include_str!("../../../../examples/canal-lock/system.toml"));
        Self::of(&[("system.toml", &system)], include_str!("../../../../examples/canal-lock/plan.toml"))
    }

    /// What the simulator saw of a run, and what its recording is judged to be.
    pub fn both(&self, scenario: &Scenario) -> (Seen, Judgement) {
        let (seen, table) = self.recorded(scenario);
        (seen, self.judged(table))
    }

    /// What the simulator saw of a run, and its recording.
    pub fn recorded(&self, scenario: &Scenario) -> (Seen, String) {
        let mut seen = Seen::nothing(&self.machine);
        let mut recording = Recording::new(&self.machine, scenario);
        Engine::new(&self.machine).run(scenario, &mut seen, &mut recording);
        (seen, recording.finish())
    }

    /// What a recording is judged to be.
    pub fn judged(&self, table: String) -> Judgement {
        let table = Cursor::new(table.into_bytes());
        let source = Box::new(Stream::new(0, table, Box::new(CsvReader::new(0))));
        let allowed = Allowed { window_ns: Some(0), origin_ns: Some(0) };
        let mut judge = Judge::new(&self.system, &self.plan, allowed);
        let taking = recording::take(&self.system, &Map::default(), vec![source], vec![Fit::SAME], &mut judge);
        // Two errors of a partition that are noticed at once are two equal lines.
        let is_told = |matter| matches!(matter, Matter::Lost | Matter::Duplicate);
        assert!(taking.matters.iter().all(|found| is_told(found.matter)), "{:?}", taking.matters);
        judge.finish()
    }

    /// A run with drawn times, of some frames.
    pub fn scenario(&self, run: u64, frames: u64) -> Scenario {
        let span_ns = frames * self.system.frame.value.ns();
        Scenario { run, span_ns, ..Scenario::plain(&self.machine) }
    }

    /// A fault as `simulate --fault` takes it.
    pub fn fault(&self, text: &str) -> Fault {
        let span_ns = 1 << 40;
        read_fault("--fault", text, &self.machine, span_ns, &mut Sources::default())
            .unwrap_or_else(|found| panic!("{found:?}"))
    }
}
