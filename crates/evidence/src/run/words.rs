//! Events and scenarios in words.

use crate::show::count;
use quantity::Duration;
use simulator::event::Start;
use simulator::fault::fault_text;
use simulator::protection::Protection;
use simulator::scenario::{Begin, Contention, Drawn, Spread, Times};
use simulator::{Machine, Scenario, What};

/// An event in words, such as `NAV.fix misses its deadline (job 3)`.
pub fn event_words(what: What, machine: &Machine, scenario: &Scenario) -> String {
    let names = Names { machine, scenario };
    match what {
        What::LaneBegins { core, lane, .. } => {
            format!("core {} begins to serve {}", names.core(core), names.lane(lane))
        }
        What::LaneEnds { core, lane } => format!("core {} ends serving {}", names.core(core), names.lane(lane)),
        What::Runs { core, task, job } => {
            format!("{} executes on core {} (job {job})", names.task(task), names.core(core))
        }
        What::Initialises { core, partition } => {
            format!("{} initialises on core {}", names.partition(partition), names.core(core))
        }
        What::Idles { core } => format!("core {} executes nothing", names.core(core)),
        What::Stalls { core, until_ns, why } => {
            format!("core {} stands until {}: {}", names.core(core), Duration::from_ns(until_ns), stall_words(why))
        }
        What::Arrives { task, job } => format!("{} arrives (job {job})", names.task(task)),
        What::Released { task, job } => format!("{} is released (job {job})", names.task(task)),
        What::Completes { task, job, response_ns } => {
            format!("{} completes after {} (job {job})", names.task(task), Duration::from_ns(response_ns))
        }
        What::Misses { task, job } => format!("{} misses its deadline (job {job})", names.task(task)),
        What::Dropped { task, job } => format!("{} is dropped (job {job})", names.task(task)),
        What::Writes { .. } | What::Reads { .. } | What::Lost { .. } | What::Forwarded { .. } => names.message(what),
        What::FaultBegins { fault } => format!("fault begins: {}", names.fault(fault)),
        What::FaultEnds { fault } => format!("fault ends: {}", names.fault(fault)),
        What::Noticed { partition } => format!("an error of {} is noticed", names.partition(partition)),
        What::Restarts { partition, start } => format!("{} starts {}", names.partition(partition), start_word(start)),
        What::Operational { partition } => format!("{} is operational", names.partition(partition)),
        What::Stopped { partition } => format!("{} stops for good", names.partition(partition)),
        What::ModuleStops => "the module stops: nothing runs from now on".to_owned(),
        What::ScheduleChanges { to } => format!("module schedule {} takes effect", names.schedule(to)),
    }
}

/// Why a core executes nothing.
pub(crate) const fn stall_words(why: simulator::event::Stall) -> &'static str {
    use simulator::event::Stall;
    match why {
        Stall::Throttled => "bandwidth budget used up",
        Stall::Interrupt => "interrupt",
        Stall::LateWindow => "window begins late",
        Stall::CoreStops => "core stands still",
    }
}

const fn start_word(start: Start) -> &'static str {
    match start {
        Start::Warm => "warm",
        Start::Cold => "cold",
    }
}

/// What tells this scenario from others, in a sentence without its end.
pub fn scenario_words(scenario: &Scenario, machine: &Machine) -> String {
    let begin = match scenario.begin {
        Begin::Running => "everything operational",
        Begin::FirstFrame => "from the first frame's begin",
    };
    let off: Vec<_> = Protection::ALL.into_iter().filter(|one| !scenario.protections.has(*one)).collect();
    let off: Vec<_> = off.into_iter().map(Protection::key).collect();
    let protections =
        if off.is_empty() { "every protection on".to_owned() } else { format!("{} OFF", off.join(" and ")) };
    let faults: Vec<_> = scenario.faults.iter().map(|fault| fault_text(fault, machine)).collect();
    let faults = match faults.len() {
        0 => "no fault".to_owned(),
        n => format!("{}: {}", count(n, "fault"), faults.join(" and ")),
    };
    let times = times_words(&scenario.times);
    let waiting = match scenario.contention {
        Contention::Full => "",
        Contention::Concurrent => " waiting only for concurrent line requests,",
    };
    format!("{}, {begin}, {times},{waiting} {protections}, {faults}", Duration::from_ns(scenario.span_ns))
}

fn times_words(times: &Times) -> String {
    match times {
        Times::Given(jobs) => format!("{} given", count(jobs.len(), "job")),
        Times::Drawn(Drawn { executions, .. }) => format!("execution times {}", spread_words(*executions)),
    }
}

const fn spread_words(spread: Spread) -> &'static str {
    match spread {
        Spread::Even => "drawn evenly",
        Spread::Least => "shortest",
        Spread::Most => "longest",
        Spread::Ends => "drawn from both ends",
    }
}

/// Names of the machine; a place that points nowhere is a question mark.
struct Names<'m> {
    machine: &'m Machine,
    scenario: &'m Scenario,
}

impl<'m> Names<'m> {
    fn core(&self, core: usize) -> &'m str {
        self.machine.cores.get(core).map_or("?", |core| &core.name)
    }

    fn lane(&self, lane: usize) -> &'m str {
        self.machine.lanes.get(lane).map_or("?", |lane| self.partition(lane.partition))
    }

    fn task(&self, task: usize) -> &'m str {
        self.machine.tasks.get(task).map_or("?", |task| &task.label)
    }

    fn partition(&self, partition: usize) -> &'m str {
        self.machine.partitions.get(partition).map_or("?", |partition| &partition.name)
    }

    fn channel(&self, channel: usize) -> &'m str {
        self.machine.channels.get(channel).map_or("?", |channel| &channel.name)
    }

    fn schedule(&self, schedule: usize) -> &'m str {
        self.machine.schedules.get(schedule).map_or("?", |schedule| &schedule.name)
    }

    fn fault(&self, fault: usize) -> String {
        self.scenario.faults.get(fault).map_or_else(|| "?".to_owned(), |fault| fault_text(fault, self.machine))
    }

    /// The channel of an input, and who reads it.
    fn input(&self, input: usize) -> (&'m str, &'m str) {
        let Some(found) = self.machine.inputs.get(input) else { return ("?", "?") };
        let reader = found.task.map_or_else(|| self.partition(found.partition), |task| self.task(task));
        (self.channel(found.channel), reader)
    }

    fn message(&self, what: What) -> String {
        match what {
            What::Writes { channel } => format!("a message is written to {}", self.channel(channel)),
            What::Reads { input, age_ns, stale } => {
                let (channel, reader) = self.input(input);
                let age = age_ns.map_or_else(|| "nothing".to_owned(), |age| format!("age {}", Duration::from_ns(age)));
                format!("{reader} reads {channel}: {age}{}", if stale { ", stale" } else { "" })
            }
            What::Lost { input } => {
                let (channel, reader) = self.input(input);
                format!("a message of {channel} to {reader} is lost: the queue is full")
            }
            What::Forwarded { input, delay_ns } => {
                let (channel, reader) = self.input(input);
                format!("a message of {channel} reaches {reader} after {}", Duration::from_ns(delay_ns))
            }
            _ => String::new(),
        }
    }
}
