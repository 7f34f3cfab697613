//! The answers: one run drawn, many counted.

use super::{Session, runs};
use crate::args::{ColorChoice, Format, SimulateArgs};
use crate::commands::check;
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use baseline::simulated::{self, Above};
use claim::Verdict;
use evidence::json::Ran;
use evidence::run::{Observed, Recording, Told, scenario_words, shades};
use evidence::text::Style;
use model::System;
use simulator::fault::write_scenario;
use simulator::scenario::{Begin, Times};
use simulator::{Engine, Keeper, Machine, Protections, Scenario, Seen, Timeline};

/// The frames that are drawn of a run where nothing is said.
const FRAMES_DRAWN: u64 = 2;

/// A call with all that it needs.
pub struct Call<'a> {
    pub args: &'a SimulateArgs,
    pub color: ColorChoice,
    pub session: &'a Session,
    pub system: &'a System,
    pub machine: &'a Machine,
    pub scenario: &'a Scenario,
    pub verdicts: &'a [Verdict],
    /// The protections that claims take to be on.
    pub assumed: Protections,
}

impl Call<'_> {
    /// One run: its timeline.
    pub fn one(&self) -> Result<Exit> {
        let (seen, whole) = self.record();
        let (from, to) = self.args.window.unwrap_or((0, self.machine.frame_ns.saturating_mul(FRAMES_DRAWN)));
        let part = whole.part(from, to);
        let shades = self.session.baseline.system.as_ref().map(|system| shades(system)).unwrap_or_default();
        let told = Told { machine: self.machine, scenario: self.scenario, timeline: &part, shades: &shades };
        if let Some(file) = &self.args.timeline {
            files::write_whole(file, &evidence::json::trace_event(&Told { timeline: &whole, ..told }))?;
        }
        if let Some(file) = &self.args.svg {
            files::write_whole(file, &evidence::run::picture(&told))?;
        }
        if let Some(file) = &self.args.record {
            let mut recording = Recording::new(self.machine, self.scenario);
            Engine::new(self.machine).run(self.scenario, &mut Seen::nothing(self.machine), &mut recording);
            files::write_whole(file, &recording.finish())?;
        }
        let observed = self.observed(&seen);
        let exit = self.exit(&observed, false);
        terminal::print(&match self.args.format {
            Format::Text => evidence::text::run(&self.head_of_one(&whole), &told, self.style()),
            Format::Json => self.json(&observed, exit, false, Some(told)),
        })?;
        self.alarm(&seen);
        Ok(exit)
    }

    /// Many runs: the largest values.
    pub fn many(&self) -> Result<Exit> {
        let made = runs::make(self.machine, self.scenario, self.args.runs);
        let observed = self.observed(&made.seen);
        let exit = self.exit(&observed, made.interrupted);
        terminal::print(&match self.args.format {
            Format::Text => evidence::text::runs(&self.head_of_many(made.runs), &observed, self.style()),
            Format::Json => self.json(&observed, exit, made.interrupted, None),
        })?;
        self.alarm(&made.seen);
        Ok(exit)
    }

    fn record(&self) -> (Seen, Timeline) {
        let (from, to) = self.args.window.unwrap_or((0, self.scenario.span_ns));
        let mut seen = Seen::nothing(self.machine);
        let mut keeper = Keeper::new(self.machine.cores.len(), from, to);
        Engine::new(self.machine).run(self.scenario, &mut seen, &mut keeper);
        (seen, keeper.finish(self.scenario.span_ns))
    }

    fn observed(&self, seen: &Seen) -> Observed {
        simulated::beside(self.system, self.machine, self.scenario, seen, self.verdicts)
    }

    /// Whether nothing fails in runs like these, everything is operational, and times are drawn within what is declared.
    fn is_plain(&self) -> bool {
        let scenario = self.scenario;
        scenario.faults.is_empty()
            && scenario.changes.is_empty()
            && scenario.begin == Begin::Running
            && matches!(scenario.times, Times::Drawn(_))
    }

    /// Whether bounds speak of runs like these: what they take to be on is on, and nothing else.
    fn is_claimed(&self) -> bool {
        self.is_plain() && self.scenario.protections == self.assumed
    }

    fn exit(&self, observed: &Observed, interrupted: bool) -> Exit {
        let above = self.is_claimed() && !observed.above.is_empty();
        let harm = self.is_plain() && self.scenario.protections == Protections::ALL && observed.has_harm();
        match () {
            () if interrupted => Exit::Interrupted,
            () if above => Exit::Alarm,
            () if harm => Exit::Open,
            () => Exit::Shown,
        }
    }

    /// Says what was seen above its bound, and how to see it again.
    fn alarm(&self, seen: &Seen) {
        if !self.is_claimed() {
            return;
        }
        let (machine, schedule) = (self.machine, self.scenario.schedule);
        let above = simulated::above(machine, self.scenario, seen, self.verdicts);
        let reproduces = |above: &Above| {
            let run = runs::first(machine, self.scenario, seen.runs, |alone| above.is_in(machine, schedule, alone));
            write_scenario(&Scenario { run: run.unwrap_or(self.scenario.run), ..self.scenario.clone() }, machine)
        };
        if let Err(alarms) = simulated::require_none(&above, reproduces) {
            terminal::complain(&format!("error: {alarms}\n"));
        }
    }

    fn style(&self) -> Style {
        Style { unicode: !self.args.ascii, ..check::style(self.color) }
    }

    fn name(&self) -> &str {
        self.session.baseline.system.as_ref().map_or("?", |system| &system.name.value)
    }

    fn head_of_one(&self, whole: &Timeline) -> String {
        let scenario = self.scenario;
        let words = scenario_words(scenario, self.machine);
        let ended = quantity::Duration::from_ns(whole.to_ns);
        let shown = if self.args.window.is_none() && whole.to_ns > self.machine.frame_ns.saturating_mul(FRAMES_DRAWN) {
            format!(" Drawn is its first {FRAMES_DRAWN} frames of {ended}; --window FROM..TO draws another part.")
        } else {
            String::new()
        };
        format!(
            "{}: run {} of seed {}, {words}.{shown}{}{}",
            self.name(),
            scenario.run,
            scenario.seed,
            self.missing(),
            self.unbounded()
        )
    }

    fn head_of_many(&self, made: u64) -> String {
        let scenario = self.scenario;
        let words = scenario_words(scenario, self.machine);
        let asked = if made < self.args.runs { format!(" of {} asked for", self.args.runs) } else { String::new() };
        format!(
            "{}: {made} runs{asked} of seed {}, each {words}.{}{}",
            self.name(),
            scenario.seed,
            self.missing(),
            self.unbounded()
        )
    }

    /// Why bounds say nothing of runs that are as they are declared.
    fn unbounded(&self) -> &'static str {
        let all_on = self.scenario.protections == Protections::ALL;
        if self.is_plain() && all_on && self.assumed != Protections::ALL {
            " It is not shown that no core is throttled, so bounds say nothing of runs with regulation on: they only compare."
        } else {
            ""
        }
    }

    /// What does not run, in sentences.
    fn missing(&self) -> String {
        self.left_out().iter().map(|(name, reason)| format!(" {name} does not run: {reason}.")).collect()
    }

    fn left_out(&self) -> Vec<(String, String)> {
        let name = |partition: usize| self.machine.partitions.get(partition).map_or("?", |one| &one.name).to_owned();
        self.machine.left_out.iter().map(|left| (name(left.partition), left.reason.clone())).collect()
    }

    fn json(&self, observed: &Observed, exit: Exit, interrupted: bool, told: Option<Told<'_>>) -> String {
        let baseline = &self.session.baseline;
        evidence::json::ran(&Ran {
            tool_version: env!("CARGO_PKG_VERSION"),
            exit_status: exit.code(),
            inputs: &baseline.input_digests(),
            system: baseline.system.as_ref().map(|system| system.digest()),
            scenario: &write_scenario(self.scenario, self.machine),
            asked: self.args.runs,
            interrupted,
            observed,
            told,
            left_out: &self.left_out(),
            diagnostics: &self.session.plain_diagnostics(),
        })
    }
}
