//! What a call asks to be run: a scenario file, and the options that go before it.

use super::Session;
use crate::args::{self, Execution, SimulateArgs};
use crate::files;
use diagnostic::codes::scenario::BAD_PARAMETER;
use diagnostic::codes::shape::{KEYS_CLASH, UNKNOWN_NAME};
use diagnostic::{Code, Diagnostic, Located, Sources, Span};
use model::MOST_BYTES;
use model::tables::nearest;
use simulator::fault::{protection, read_fault, read_scenario};
use simulator::scenario::{Begin, Contention, Spread, Times};
use simulator::{Machine, Scenario};

/// All that is wrong with a scenario.
pub struct Refused {
    pub diagnostics: Vec<Diagnostic>,
    pub sources: Sources,
}

/// The scenario of the first run.
pub fn scenario(args: &SimulateArgs, machine: &Machine, session: &Session) -> Result<Scenario, Refused> {
    let mut asked = Asked { machine, sources: (*session.baseline.sources).clone(), found: Vec::new() };
    let scenario = asked.file(args).map(|scenario| asked.options(args, scenario));
    match scenario.filter(|_| asked.found.iter().all(|one| !one.is_error())) {
        Some(scenario) => Ok(scenario),
        None => Err(Refused { diagnostics: asked.found, sources: asked.sources }),
    }
}

struct Asked<'m> {
    machine: &'m Machine,
    sources: Sources,
    found: Vec<Diagnostic>,
}

impl Asked<'_> {
    /// The scenario of the file; a plain one where none is named.
    fn file(&mut self, args: &SimulateArgs) -> Option<Scenario> {
        let Some(path) = &args.scenario else { return Some(Scenario::plain(self.machine)) };
        let name = path.display().to_string();
        match files::read_at_most(path, MOST_BYTES) {
            Ok(bytes) => {
                let (scenario, found) = read_scenario(&name, &bytes, self.machine, &mut self.sources);
                self.found.extend(found);
                scenario
            }
            Err(why) => {
                let help = "name a scenario file with --scenario; `counter-examples/` of a campaign holds some";
                self.found.push(files::unreadable("scenario file", name, why, &mut self.sources).help(help));
                None
            }
        }
    }

    fn options(&mut self, args: &SimulateArgs, mut scenario: Scenario) -> Scenario {
        scenario.seed = args.seed.unwrap_or(scenario.seed);
        scenario.run = args.run.unwrap_or(scenario.run);
        if args.from_boot {
            scenario.begin = Begin::FirstFrame;
        }
        scenario.contention = match args.contention {
            None => scenario.contention,
            Some(args::Contention::Full) => Contention::Full,
            Some(args::Contention::Concurrent) => Contention::Concurrent,
        };
        self.span(args, &mut scenario);
        self.window(args, &scenario);
        self.execution(args, &mut scenario);
        self.schedule(args, &mut scenario);
        for word in &args.off {
            match protection(&self.word("--off", word)) {
                Ok(off) => scenario.protections = scenario.protections.and_without(off),
                Err(unknown) => self.found.push(unknown),
            }
        }
        for text in &args.faults {
            match read_fault("--fault", text, self.machine, scenario.span_ns, &mut self.sources) {
                Ok(fault) => scenario.faults.push(fault),
                Err(found) => self.found.extend(found),
            }
        }
        scenario.faults.sort_by_key(|fault| fault.at_ns);
        scenario
    }

    fn span(&mut self, args: &SimulateArgs, scenario: &mut Scenario) {
        let Some(span) = args.span else { return };
        scenario.span_ns = span.ns();
        if span.is_zero() {
            self.wrong(
                &BAD_PARAMETER,
                "--for",
                "0 ns",
                "a run lasts longer than nothing",
                "write for example `--for 1s`",
            );
        }
        let last =
            scenario.faults.iter().map(|fault| fault.at_ns).chain(scenario.changes.iter().map(|(at, _)| *at)).max();
        if last.is_some_and(|last| last >= span.ns()) && !span.is_zero() {
            let text = span.to_string();
            let message = "a fault or a request of the scenario file lies after this end";
            self.wrong(&KEYS_CLASH, "--for", &text, message, "make the run longer, or leave --for out");
        }
    }

    fn window(&mut self, args: &SimulateArgs, scenario: &Scenario) {
        let Some((from, to)) = args.window.filter(|(from, _)| *from >= scenario.span_ns && scenario.span_ns > 0) else {
            return;
        };
        let [from, to, end] = [from, to, scenario.span_ns].map(quantity::Duration::from_ns);
        let message = format!("the part begins at {from}, the run ends at {end}");
        self.wrong(
            &BAD_PARAMETER,
            "--window",
            &format!("{from}..{to}"),
            &message,
            "let it begin earlier, or make the run longer with --for",
        );
    }

    fn execution(&mut self, args: &SimulateArgs, scenario: &mut Scenario) {
        let Some(wanted) = args.execution else { return };
        let spread = match wanted {
            Execution::Even => Spread::Even,
            Execution::Least => Spread::Least,
            Execution::Most => Spread::Most,
            Execution::Ends => Spread::Ends,
        };
        match &mut scenario.times {
            Times::Drawn(drawn) => drawn.executions = spread,
            Times::Given(_) => {
                let message = "the scenario file gives every job its time";
                self.wrong(&KEYS_CLASH, "--execution", &format!("{wanted:?}"), message, "leave --execution out");
            }
        }
    }

    fn schedule(&mut self, args: &SimulateArgs, scenario: &mut Scenario) {
        let Some(name) = &args.schedule else { return };
        let known = || self.machine.schedules.iter().map(|schedule| schedule.name.as_str());
        match known().position(|known| known == name) {
            Some(found) => scenario.schedule = found,
            None => {
                let help = match nearest(name, known()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("the module schedules are `{}`", known().collect::<Vec<_>>().join("`, `")),
                };
                self.wrong(&UNKNOWN_NAME, "--schedule", name, &format!("there is no schedule `{name}`"), &help);
            }
        }
    }

    fn word(&mut self, option: &str, text: &str) -> Located<String> {
        let file = self.sources.add(option, text);
        Located::new(text.to_owned(), Span::new(file, 0..text.len()))
    }

    fn wrong(&mut self, code: &'static Code, option: &str, text: &str, message: &str, help: &str) {
        let place = self.word(option, text).span;
        self.found.push(Diagnostic::new(code, place, message.to_owned()).help(help.to_owned()));
    }
}
