//! A run as a recording: the table of events that `docs/traces.md` describes, which the trace checkers read like any other.

use simulator::event::{Event, Recorder, Start};
use simulator::fault::fault_text;
use simulator::{Machine, Scenario, What};
use trace::event::Word;
use trace::table;

/// Writes what happens in a run, a line an event.
#[derive(Debug)]
pub struct Recording<'r> {
    machine: &'r Machine,
    scenario: &'r Scenario,
    text: String,
    /// How many messages each channel has taken: two written at one instant are told apart by their numbers.
    written: Vec<u64>,
    /// How often each input was read, or had no room.
    read: Vec<u64>,
    /// Whether each core is known to execute nothing, so that it is said once.
    idle: Vec<bool>,
}

impl<'r> Recording<'r> {
    /// Ready for the first event.
    pub fn new(machine: &'r Machine, scenario: &'r Scenario) -> Self {
        Self {
            machine,
            scenario,
            text: table::HEAD.to_owned(),
            written: vec![0; machine.channels.len()],
            read: vec![0; machine.inputs.len()],
            idle: vec![false; machine.cores.len()],
        }
    }

    /// The whole table.
    pub fn finish(self) -> String {
        self.text
    }

    fn line(&mut self, at_ns: u64, core: Option<usize>, word: Word, who: &str, number: Option<u64>) {
        let core = core.map(|core| self.number_of(core));
        table::line(&mut self.text, at_ns, core, word, who, number);
    }

    /// The number of a core: its name where that is one, else its place.
    fn number_of(&self, core: usize) -> u64 {
        let name = self.machine.cores.get(core).map_or("", |core| core.name.as_str());
        name.parse::<u16>().map_or(core as u64, u64::from)
    }

    fn partition(&self, partition: usize) -> &'r str {
        self.machine.partitions.get(partition).map_or("?", |partition| &partition.name)
    }

    fn of_lane(&self, lane: usize) -> &'r str {
        self.machine.lanes.get(lane).map_or("?", |lane| self.partition(lane.partition))
    }

    fn task(&self, task: usize) -> &'r str {
        self.machine.tasks.get(task).map_or("?", |task| &task.label)
    }

    /// A channel at one of its receivers, which are counted from 1 where there are several.
    fn input(&self, input: usize) -> String {
        let Some(found) = self.machine.inputs.get(input) else { return "?".to_owned() };
        let Some(channel) = self.machine.channels.get(found.channel) else { return "?".to_owned() };
        if channel.inputs.len() == 1 {
            return channel.name.clone();
        }
        format!("{} > {}", channel.name, input.saturating_sub(channel.inputs.start) + 1)
    }

    fn fault(&self, fault: usize) -> String {
        self.scenario.faults.get(fault).map_or_else(|| "?".to_owned(), |fault| fault_text(fault, self.machine))
    }

    fn on_core(&mut self, at: u64, what: What) {
        match what {
            What::LaneBegins { core, lane, .. } => {
                self.line(at, Some(core), Word::WindowBegins, self.of_lane(lane), None)
            }
            What::LaneEnds { core, lane } => {
                self.idles(at, core);
                self.line(at, Some(core), Word::WindowEnds, self.of_lane(lane), None);
            }
            What::Runs { core, task, job } => self.runs(at, core, self.task(task), Some(job)),
            What::Initialises { core, partition } => self.runs(at, core, self.partition(partition), None),
            What::Idles { core } | What::Stalls { core, .. } => self.idles(at, core),
            _ => {}
        }
    }

    fn runs(&mut self, at: u64, core: usize, who: &str, job: Option<u64>) {
        self.idle[core] = false;
        self.line(at, Some(core), Word::Runs, who, job);
    }

    fn idles(&mut self, at: u64, core: usize) {
        if !std::mem::replace(&mut self.idle[core], true) {
            self.line(at, Some(core), Word::Idles, "", None);
        }
    }

    fn of_job(&mut self, at: u64, what: What) {
        match what {
            What::Arrives { task, job } => self.line(at, None, Word::Arrives, self.task(task), Some(job)),
            What::Completes { task, job, .. } => self.line(at, None, Word::Completes, self.task(task), Some(job)),
            What::Dropped { task, job } => self.line(at, None, Word::Dropped, self.task(task), Some(job)),
            _ => {}
        }
    }

    fn of_message(&mut self, at: u64, what: What) {
        match what {
            What::Writes { channel } => {
                let name = self.machine.channels.get(channel).map_or("?", |channel| channel.name.as_str());
                let number = next(&mut self.written, channel);
                self.line(at, None, Word::Writes, name, number);
            }
            What::Reads { input, .. } | What::Lost { input } => {
                let word = if matches!(what, What::Lost { .. }) { Word::Overflows } else { Word::Reads };
                let number = next(&mut self.read, input);
                self.line(at, None, word, &self.input(input), number);
            }
            _ => {}
        }
    }

    fn of_conduct(&mut self, at: u64, what: What) {
        match what {
            What::FaultBegins { fault } => self.line(at, None, Word::FaultBegins, &self.fault(fault), None),
            What::FaultEnds { fault } => self.line(at, None, Word::FaultEnds, &self.fault(fault), None),
            What::Noticed { partition } => self.line(at, None, Word::Noticed, self.partition(partition), None),
            What::Restarts { partition, start } => {
                let word = match start {
                    Start::Warm => Word::RestartsWarm,
                    Start::Cold => Word::RestartsCold,
                };
                self.line(at, None, word, self.partition(partition), None);
            }
            What::Operational { partition } => self.line(at, None, Word::Operational, self.partition(partition), None),
            What::Stopped { partition } => self.line(at, None, Word::Stopped, self.partition(partition), None),
            What::ScheduleChanges { to } => {
                let name = self.machine.schedules.get(to).map_or("?", |schedule| schedule.name.as_str());
                self.line(at, None, Word::Schedule, name, None);
            }
            _ => {}
        }
    }
}

/// The next number of a counter.
fn next(counters: &mut [u64], index: usize) -> Option<u64> {
    let counter = counters.get_mut(index)?;
    let number = *counter;
    *counter += 1;
    Some(number)
}

impl Recorder for Recording<'_> {
    fn record(&mut self, event: Event) {
        let at = event.at_ns;
        match event.what {
            What::LaneBegins { .. }
            | What::LaneEnds { .. }
            | What::Runs { .. }
            | What::Initialises { .. }
            | What::Idles { .. }
            | What::Stalls { .. } => self.on_core(at, event.what),
            What::Arrives { .. } | What::Completes { .. } | What::Dropped { .. } => self.of_job(at, event.what),
            What::Writes { .. } | What::Reads { .. } | What::Lost { .. } => self.of_message(at, event.what),
            What::FaultBegins { .. }
            | What::FaultEnds { .. }
            | What::Noticed { .. }
            | What::Restarts { .. }
            | What::Operational { .. }
            | What::Stopped { .. }
            | What::ScheduleChanges { .. } => self.of_conduct(at, event.what),
            // What a recorder on a target cannot see, or what follows from the rest.
            What::Released { .. } | What::Misses { .. } | What::Forwarded { .. } | What::ModuleStops => {}
        }
    }
}
