//! The scenario file: text in, [`Scenario`] and diagnostics out.

use super::ask;
use super::declared::{Declared, Parameter, Unit};
use super::sections::{self, BEGINS, CONTENTIONS, PARAMETERS, SPREADS};
use super::{Fault, Kind};
use crate::machine::Machine;
use crate::protection::{Protection, Protections};
use crate::scenario::{Contention, Drawn, GivenJob, Scenario, Spread, Times};
use diagnostic::codes::input::TOML_SYNTAX;
use diagnostic::codes::scenario::{BAD_PARAMETER, IMPOSSIBLE_JOB, UNKNOWN_PROTECTION};
use diagnostic::codes::shape::{BAD_COUNT, KEYS_CLASH, UNKNOWN_NAME};
use diagnostic::{Diagnostic, Diagnostics, Located, Sources};
use model::tables::{Fields, nearest, read_file};
use quantity::Duration;

/// Reads a scenario of `machine` from the bytes of a file called `name`, and adds its text to `sources`.
///
/// All that is wrong is found in one run, in the order of places. The scenario is `None` where an error was found. An
/// empty file is the scenario in which everything is as it is where not given.
pub fn read_scenario(
    name: &str,
    bytes: &[u8],
    machine: &Machine,
    sources: &mut Sources,
) -> (Option<Scenario>, Vec<Diagnostic>) {
    let mut found = Diagnostics::new();
    let fields = read_file(name, bytes, &sections::SCENARIO_FILE, sources, &mut found);
    // Of a file that is no TOML, what is missing may only have been lost.
    let whole = fields.filter(|_| !found.has(&TOML_SYNTAX));
    let mut reader = Reader { machine, out: Vec::new() };
    let scenario = whole.map(|fields| reader.scenario(&fields));
    found.extend(reader.out);
    let scenario = scenario.filter(|_| !found.has_errors());
    (scenario, found.into_sorted(sources))
}

/// The keys of every section of the scenario file, for its documentation: head, and rows of key, value, need and meaning.
pub fn key_tables() -> Vec<(&'static str, String)> {
    sections::ALL.iter().map(|section| (section.head, section.key_table())).collect()
}

struct Reader<'a> {
    machine: &'a Machine,
    out: Vec<Diagnostic>,
}

impl Reader<'_> {
    fn scenario(&mut self, fields: &Fields) -> Scenario {
        let mut scenario = Scenario::plain(self.machine);
        if let Some(run) = fields.table("run") {
            self.run(run, &mut scenario);
        }
        self.times(fields, &mut scenario);
        scenario.protections = self.protections(fields);
        scenario.faults = fields.tables("fault").filter_map(|entry| self.fault(entry, scenario.span_ns)).collect();
        scenario.faults.sort_by_key(|fault| fault.at_ns);
        scenario.changes = fields.tables("change").filter_map(|entry| self.change(entry, scenario.span_ns)).collect();
        scenario.changes.sort_by_key(|(at_ns, _)| *at_ns);
        scenario
    }

    fn run(&mut self, run: &Fields, scenario: &mut Scenario) {
        if let Some(span) = run.time("span") {
            scenario.span_ns = span.ns();
        }
        scenario.seed = self.large(run, "seed").unwrap_or(scenario.seed);
        scenario.run = self.large(run, "run").unwrap_or(scenario.run);
        if let Some(begin) = run.word("begin", &BEGINS) {
            scenario.begin = begin.value;
        }
        if let Some(contention) = run.word("contention", &CONTENTIONS) {
            scenario.contention = contention.value;
        }
        if let Some(name) = run.text("schedule") {
            scenario.schedule = self.schedule(&name).unwrap_or(scenario.schedule);
        }
    }

    /// A number that may be larger than TOML's own exact ones, and is then given as a text.
    fn large(&mut self, run: &Fields, key: &str) -> Option<u64> {
        if let Some(count) = run.count(key) {
            return Some(count.value);
        }
        let text = run.text(key)?;
        let value = text.value.parse().ok();
        if value.is_none() {
            let message = format!("`{key}` is no whole number of at most 64 bits");
            let help = "write one such as 7, or in quotes where it is large";
            self.out.push(Diagnostic::new(&BAD_COUNT, text.span, message).help(help));
        }
        value
    }

    /// Drawn times with their spreads, or the given jobs.
    fn times(&mut self, fields: &Fields, scenario: &mut Scenario) {
        let run = fields.table("run");
        let spread = |key| run.and_then(|run| run.word(key, &SPREADS)).map(|word| word.value).unwrap_or_default();
        let [executions, phases, jitters, blocking] = ["execution", "phases", "jitters", "blocking"].map(spread);
        let jobs: Vec<GivenJob> = fields.tables("job").filter_map(|entry| self.job(entry)).collect();
        let asked = run.and_then(|run| run.text("times"));
        let first = fields.tables("job").next();
        let given = asked.as_ref().map_or(first.is_some(), |word| word.value == "given");
        if given {
            scenario.times = Times::Given(jobs);
            return;
        }
        if let (Some(asked), Some(first)) = (asked, first) {
            let message = "`times` is \"drawn\", and jobs are given";
            let clash = Diagnostic::new(&KEYS_CLASH, asked.span, message).also(first.span, "");
            self.out.push(clash.help("leave out `times`, or the jobs"));
        }
        scenario.times = Times::Drawn(Drawn { executions, phases, jitters, blocking });
    }

    fn job(&mut self, entry: &Fields) -> Option<GivenJob> {
        let task = entry.text("task").and_then(|name| self.task(&name));
        let (arrival, execution) = (entry.time("arrival")?, entry.time("execution")?);
        let release = entry.time("release").unwrap_or(arrival);
        if release.value < arrival.value {
            let message = format!("the job is released at {}, before it arrives at {}", release.value, arrival.value);
            let help = "a job is released at its arrival, or at most its jitter later";
            self.out.push(Diagnostic::new(&IMPOSSIBLE_JOB, release.span, message).also(arrival.span, "").help(help));
            return None;
        }
        Some(GivenJob {
            arrival_ns: arrival.ns(),
            task: task?,
            release_ns: release.ns(),
            execution_ns: execution.ns(),
            goes_on_ns: entry.time("goes_on").map_or(0, |time| time.ns()),
        })
    }

    fn protections(&mut self, fields: &Fields) -> Protections {
        fields.texts("off").iter().fold(Protections::ALL, |on, word| match protection(word) {
            Ok(off) => on.and_without(off),
            Err(unknown) => {
                self.out.push(unknown);
                on
            }
        })
    }

    fn fault(&mut self, entry: &Fields, span_ns: u64) -> Option<Fault> {
        let kind = entry.text("kind").and_then(|word| ask::kind(&word, &mut self.out));
        let at = entry.time("at").map(|at| at.map(Duration::ns));
        if let Some(at) = &at {
            self.out.extend(ask::after_the_end("fault", at, span_ns));
        }
        let kind = kind?;
        let target = entry.text("target").and_then(|name| ask::target(kind, &name, self.machine, &mut self.out));
        let made = self.kind(kind, entry.table("parameters"));
        Some(Fault { kind: made, target: target?, at_ns: at.map_or(0, |at| at.value) })
    }

    fn kind(&mut self, kind: &Declared, given: Option<&Fields>) -> Kind {
        let mut values = kind.defaults();
        let Some(given) = given else { return kind.make(values) };
        for key in PARAMETERS.keys {
            let Some(place) = given.key_span(key.name) else { continue };
            match kind.position(key.name) {
                Some(at) => values[at] = self.value(given, &kind.parameters[at]).or(values[at]),
                None => self.out.push(ask::others_parameter(kind, &Located::new(key.name.to_owned(), place))),
            }
        }
        kind.make(values)
    }

    /// The value of a parameter; one of zero has been reported already.
    fn value(&mut self, given: &Fields, parameter: &Parameter) -> Option<u64> {
        let value = match parameter.unit {
            Unit::Time => given.time(parameter.name)?.map(Duration::ns),
            Unit::Count => given.count(parameter.name)?,
            Unit::Start => {
                let word = given.text(parameter.name)?;
                return parameter.unit.read(&word.value).ok();
            }
        };
        if let Some(why) = ask::out_of_range(parameter, value.value).filter(|_| value.value > 0) {
            let message = format!("`{}` {why}", parameter.name);
            self.out.push(Diagnostic::new(&BAD_PARAMETER, value.span, message));
        }
        Some(value.value)
    }

    fn change(&mut self, entry: &Fields, span_ns: u64) -> Option<(u64, usize)> {
        let at = entry.time("at").map(|at| at.map(Duration::ns));
        if let Some(at) = &at {
            self.out.extend(ask::after_the_end("request", at, span_ns));
        }
        let to = entry.text("to").and_then(|name| self.schedule(&name));
        Some((at?.value, to?))
    }

    fn schedule(&mut self, name: &Located<String>) -> Option<usize> {
        self.named(name, "schedule", self.machine.schedules.iter().map(|schedule| schedule.name.as_str()))
    }

    fn task(&mut self, name: &Located<String>) -> Option<usize> {
        self.named(name, "task", self.machine.tasks.iter().map(|task| task.label.as_str()))
    }

    fn named<'n>(
        &mut self,
        name: &Located<String>,
        what: &str,
        names: impl Iterator<Item = &'n str> + Clone,
    ) -> Option<usize> {
        let found = names.clone().position(|known| known == name.value);
        if found.is_none() {
            let message = format!("there is no {what} `{}`", name.value);
            let help = match nearest(&name.value, names) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("use the name of a {what} of the system"),
            };
            self.out.push(Diagnostic::new(&UNKNOWN_NAME, name.span, message).help(help));
        }
        found
    }
}

/// The protection of that name.
///
/// # Errors
/// The diagnostic that says which there are.
pub fn protection(word: &Located<String>) -> Result<Protection, Diagnostic> {
    let known = || Protection::ALL.into_iter().map(Protection::key);
    Protection::named(&word.value).ok_or_else(|| {
        let help = match nearest(&word.value, known()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("the protections are `{}`", known().collect::<Vec<_>>().join("`, `")),
        };
        Diagnostic::new(&UNKNOWN_PROTECTION, word.span, format!("there is no protection `{}`", word.value)).help(help)
    })
}

impl Scenario {
    /// A run of ten frames under seed 1 in which everything is drawn evenly, nothing fails and every protection is on.
    pub fn plain(machine: &Machine) -> Self {
        let even = Spread::Even;
        Self {
            seed: 1,
            run: 0,
            begin: crate::scenario::Begin::Running,
            schedule: 0,
            span_ns: machine.frame_ns.saturating_mul(10),
            times: Times::Drawn(Drawn { executions: even, phases: even, jitters: even, blocking: even }),
            faults: Vec::new(),
            protections: Protections::ALL,
            changes: Vec::new(),
            contention: Contention::Full,
        }
    }
}
