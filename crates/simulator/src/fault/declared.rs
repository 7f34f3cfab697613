//! Every kind of fault, declared once: for reading, for help, and for the page `docs/faults.md`.

use super::{Kind, Place};
use crate::event::Start;
use crate::protection::Protection;
use Place::{Channel, Core, Device, Partition, Task};

/// The values of a fault's parameters in the order of its declaration: nanoseconds, a count, or a word's place in
/// [`STARTS`]; `None` where the parameter is left out and has no default.
pub type Values = [Option<u64>; 3];

/// The words of the parameter `start`.
pub const STARTS: [(&str, Start); 2] = [("warm", Start::Warm), ("cold", Start::Cold)];

/// One kind of fault.
#[derive(Debug)]
pub struct Declared {
    /// Its word.
    pub word: &'static str,
    /// What it stands for, in a sentence.
    pub stands_for: &'static str,
    /// What it does in a run.
    pub does: &'static str,
    /// What it leaves out.
    pub leaves_out: &'static str,
    /// What keeps it from others.
    pub held_by: &'static [Protection],
    /// What it may happen to, in the order in which a name is looked up.
    pub places: &'static [Place],
    /// Its parameters.
    pub parameters: &'static [Parameter],
    make: fn(Values) -> Kind,
}

/// A parameter.
#[derive(Debug)]
pub struct Parameter {
    /// Its name.
    pub name: &'static str,
    /// What it counts.
    pub unit: Unit,
    /// Its value where it is not given.
    pub default: Option<u64>,
    /// What it says.
    pub doc: &'static str,
}

/// The largest count of a parameter, and the least time from one thing to the next in nanoseconds: a run must end.
pub const MOST: u64 = 1_000_000;
/// See [`MOST`].
pub const LEAST_GAP_NS: u64 = 1_000;

impl Parameter {
    /// The values that it may have, both ends included.
    pub fn range(&self) -> (u64, u64) {
        match self.unit {
            Unit::Count => (1, MOST),
            Unit::Time if self.name == "every" => (LEAST_GAP_NS, quantity::LIMIT),
            Unit::Time => (1, quantity::LIMIT),
            Unit::Start => (0, STARTS.len() as u64 - 1),
        }
    }
}

/// What a parameter counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Nanoseconds, written with a unit.
    Time,
    /// Things.
    Count,
    /// One of [`STARTS`].
    Start,
}

const MS: u64 = 1_000_000;

const fn time(name: &'static str, default: u64, doc: &'static str) -> Parameter {
    Parameter { name, unit: Unit::Time, default: Some(default), doc }
}

const fn count(name: &'static str, default: u64, doc: &'static str) -> Parameter {
    Parameter { name, unit: Unit::Count, default: Some(default), doc }
}

const START: Parameter = Parameter {
    name: "start",
    unit: Unit::Start,
    default: None,
    doc: "How it is started again; where not given as the health-monitor table says about a memory violation.",
};
const LASTS: Parameter = time("for", 100 * MS, "For how long.");
const LINES: Parameter = count("lines", 8, "How many lines it moves in each turn, where one is granted.");

/// A number that the declaration gives a default, so that there always is one.
fn number(value: Option<u64>) -> u64 {
    value.unwrap_or(1)
}

fn start(value: Option<u64>) -> Option<Start> {
    let index = usize::try_from(value?).ok()?;
    STARTS.get(index).map(|(_, start)| *start)
}

/// All kinds, in the order of the page.
pub static KINDS: [Declared; 13] = [
    Declared {
        word: "overrun",
        stands_for: "A task takes longer than the time it was given: a wrong measurement, or input that nobody tried.",
        does: "Jobs that first execute from then on take that much more than their charged time, at their priority.",
        leaves_out: "The overrun's own memory traffic.",
        held_by: &[Protection::WindowEnforcement],
        places: &[Task, Partition],
        parameters: &[
            time("extra", MS, "By how much each passes its charged time."),
            count("jobs", 1, "How many jobs of each task do."),
        ],
        make: |[extra, jobs, _]| Kind::Overrun { extra_ns: number(extra), jobs: number(jobs) },
    },
    Declared {
        word: "endless-loop",
        stands_for: "A job that waits for what never comes, or loops for ever.",
        does: "The next job of the task to execute never completes and keeps its priority; of a partition, of its task of the highest priority. A restart of the process or of the partition drops it.",
        leaves_out: "Memory traffic of the loop.",
        held_by: &[Protection::WindowEnforcement, Protection::HealthMonitor],
        places: &[Task, Partition],
        parameters: &[],
        make: |_| Kind::EndlessLoop,
    },
    Declared {
        word: "crash",
        stands_for: "A partition that dies: a memory violation, a stack overflow, a failed assertion.",
        does: "The partition executes nothing, and its windows pass unused, until it is started again: noticed after the declared detection time, started after the declared action time, then initialised in its own windows. Jobs under way are dropped and its queues emptied when the action begins.",
        leaves_out: "Wrong output before it dies.",
        held_by: &[Protection::HealthMonitor],
        places: &[Partition],
        parameters: &[START],
        make: |[how, ..]| Kind::Crash { start: start(how) },
    },
    Declared {
        word: "restart-storm",
        stands_for: "A partition that dies again as soon as it is up, as with a bad configuration or a lasting hardware fault.",
        does: "That many crashes, one after the other; one that comes while the partition does not run is skipped.",
        leaves_out: "A cause that a start would remove.",
        held_by: &[Protection::HealthMonitor],
        places: &[Partition],
        parameters: &[
            count("count", 3, "How many crashes."),
            time("every", 500 * MS, "The time from one to the next."),
            START,
        ],
        make: |[count, every, how]| Kind::RestartStorm {
            count: number(count),
            every_ns: number(every),
            start: start(how),
        },
    },
    Declared {
        word: "babble",
        stands_for: "A sender out of control that writes far too often.",
        does: "A message on each channel of the target every so often, beside what its jobs write. Without port protection on every other channel too.",
        leaves_out: "The sender's execution time for it.",
        held_by: &[Protection::PortProtection],
        places: &[Partition, Channel, Task],
        parameters: &[time("every", MS, "The time between two messages of a channel."), LASTS],
        make: |[every, lasts, _]| Kind::Babble { every_ns: number(every), for_ns: number(lasts) },
    },
    Declared {
        word: "silence",
        stands_for: "A sender that runs and sends nothing: a mute sensor, a blocked driver.",
        does: "What the target's jobs would write meanwhile is not written.",
        leaves_out: "What makes it mute.",
        held_by: &[],
        places: &[Partition, Channel, Task],
        parameters: &[time("for", 1000 * MS, "For how long.")],
        make: |[lasts, ..]| Kind::Silence { for_ns: number(lasts) },
    },
    Declared {
        word: "queue-flood",
        stands_for: "A burst of messages that nobody declared, such as an alarm shower.",
        does: "That many messages at once on each queuing channel of the target; what a queue has no room for is lost. Without port protection on every other queuing channel too.",
        leaves_out: "The sender's execution time for it.",
        held_by: &[Protection::PortProtection],
        places: &[Partition, Channel],
        parameters: &[count("messages", 100, "How many.")],
        make: |[messages, ..]| Kind::QueueFlood { messages: number(messages) },
    },
    Declared {
        word: "memory-burst",
        stands_for: "A partition that moves memory without restraint: a runaway copy, an attack on the shared path.",
        does: "Whenever the partition is up and served, its core keeps the path busy. With regulation it executes nothing in a regulation period once the time of its budget's lines has passed, and others wait no longer than they are charged for. Without, or without a budget, every line request of others waits that many lines for it, where one is charged. Without cache partitioning every other partition also fetches its declared working set anew, each line at the full wait, after each begin of its turns.",
        leaves_out: "A regulator that counts for the core and not for the partition: it would also throttle who is served next there, for the rest of the regulation period. Lines within the budget that come in one burst: the guaranteed rate is taken to serve them.",
        held_by: &[Protection::Regulation, Protection::CachePartition],
        places: &[Partition],
        parameters: &[LINES, LASTS],
        make: |[lines, lasts, _]| Kind::MemoryBurst { lines: number(lines), for_ns: number(lasts) },
    },
    Declared {
        word: "dma-burst",
        stands_for: "A device that moves memory without restraint, or is told to by a runaway driver.",
        does: "With regulation of its master it moves its budget and no more, which others are charged for. Without, or without a budget, every line request of others waits that many lines for it, where one is charged.",
        leaves_out: "Where it writes: the I/O MMU is a claim about the memory map.",
        held_by: &[Protection::Regulation],
        places: &[Device],
        parameters: &[LINES, LASTS],
        make: |[lines, lasts, _]| Kind::DmaBurst { lines: number(lines), for_ns: number(lasts) },
    },
    Declared {
        word: "interrupt-storm",
        stands_for: "A device that interrupts without end: a stuck line, a flood from outside.",
        does: "Kept interrupts are handled in their owner's windows, before everything else there; a line that waits is one interrupt, however often it came. Without interrupt pending each is handled at once, in the time of whoever runs on its core. A line that is handled at once by declaration is held to its least gap while interrupt pending is on.",
        leaves_out: "Where no handler time is declared, 10 us are taken.",
        held_by: &[Protection::InterruptPending],
        places: &[Device],
        parameters: &[time("every", MS / 10, "The time between two interrupts."), LASTS],
        make: |[every, lasts, _]| Kind::InterruptStorm { every_ns: number(every), for_ns: number(lasts) },
    },
    Declared {
        word: "late-window",
        stands_for: "Core software that switches late: a long hypercall, a masked interrupt.",
        does: "Windows of the target begin late and end as planned; what is left of them begins with the head.",
        leaves_out: "Cores without a window table, where it does nothing.",
        held_by: &[],
        places: &[Partition, Core],
        parameters: &[
            time("by", MS, "By how much."),
            count("windows", 1, "How many windows, one after the other, do."),
        ],
        make: |[by, windows, _]| Kind::LateWindow { by_ns: number(by), windows: number(windows) },
    },
    Declared {
        word: "lost-tick",
        stands_for: "A guest that misses ticks of its clock: a lost or masked timer interrupt.",
        does: "Jobs of the partition that arrive meanwhile are released at the end of that time. Their response counts from arrival.",
        leaves_out: "A clock that stays wrong afterwards.",
        held_by: &[],
        places: &[Partition],
        parameters: &[time("for", 10 * MS, "For how long.")],
        make: |[lasts, ..]| Kind::LostTick { for_ns: number(lasts) },
    },
    Declared {
        word: "core-stop",
        stands_for: "A core that stands: a hardware fault, a power state, a debugger.",
        does: "Nothing executes on the core; its windows pass.",
        leaves_out: "Moving its partitions to another core; a hardware fault that the health monitor would answer for the whole module.",
        held_by: &[],
        places: &[Core],
        parameters: &[Parameter {
            name: "for",
            unit: Unit::Time,
            default: None,
            doc: "For how long; for good where not given.",
        }],
        make: |[lasts, ..]| Kind::CoreStop { for_ns: lasts },
    },
];

impl Declared {
    /// The kind of that word.
    pub fn named(word: &str) -> Option<&'static Self> {
        KINDS.iter().find(|kind| kind.word == word)
    }

    /// The values where no parameter is given.
    pub fn defaults(&self) -> Values {
        let mut values = Values::default();
        values.iter_mut().zip(self.parameters).for_each(|(value, parameter)| *value = parameter.default);
        values
    }

    /// The kind with these values, in the order of [`Self::parameters`].
    pub fn make(&self, values: Values) -> Kind {
        (self.make)(values)
    }

    /// The place of a parameter among the values.
    pub fn position(&self, parameter: &str) -> Option<usize> {
        self.parameters.iter().position(|known| known.name == parameter)
    }
}

impl Kind {
    /// Its declaration and the values of its parameters; [`Declared::make`] makes the same kind of them.
    pub fn declared(&self) -> (&'static Declared, Values) {
        let (word, values) = match *self {
            Self::Overrun { extra_ns, jobs } => ("overrun", [Some(extra_ns), Some(jobs), None]),
            Self::EndlessLoop => ("endless-loop", [None; 3]),
            Self::Crash { start } => ("crash", [start_value(start), None, None]),
            Self::RestartStorm { count, every_ns, start } => {
                ("restart-storm", [Some(count), Some(every_ns), start_value(start)])
            }
            Self::Babble { every_ns, for_ns } => ("babble", [Some(every_ns), Some(for_ns), None]),
            Self::Silence { for_ns } => ("silence", [Some(for_ns), None, None]),
            Self::QueueFlood { messages } => ("queue-flood", [Some(messages), None, None]),
            Self::MemoryBurst { lines, for_ns } => ("memory-burst", [Some(lines), Some(for_ns), None]),
            Self::DmaBurst { lines, for_ns } => ("dma-burst", [Some(lines), Some(for_ns), None]),
            Self::InterruptStorm { every_ns, for_ns } => ("interrupt-storm", [Some(every_ns), Some(for_ns), None]),
            Self::LateWindow { by_ns, windows } => ("late-window", [Some(by_ns), Some(windows), None]),
            Self::LostTick { for_ns } => ("lost-tick", [Some(for_ns), None, None]),
            Self::CoreStop { for_ns } => ("core-stop", [for_ns, None, None]),
        };
        // Every word above is in the table; a test makes each kind and takes it apart again.
        let declared = Declared::named(word).expect("every kind is declared");
        (declared, values)
    }
}

fn start_value(start: Option<Start>) -> Option<u64> {
    start.map(|start| u64::from(start == Start::Cold))
}

/// Every kind as its part of the guide's page.
pub fn page() -> String {
    KINDS.iter().map(Declared::section).collect()
}

impl Declared {
    fn section(&self) -> String {
        let places: Vec<_> = self.places.iter().map(|place| place.word()).collect();
        let held_by: Vec<_> = self.held_by.iter().map(|one| format!("`{}`", one.key())).collect();
        let held_by = match held_by[..] {
            [] => "no protection; it stays where it is".to_owned(),
            _ => held_by.join(", "),
        };
        format!(
            "### `{}`\n\n{}\n\n- Happens to: a {}.\n- In the run: {}\n- Not modelled: {}\n- Held from others by: {held_by}.\n\n{}",
            self.word,
            self.stands_for,
            places.join(" or a "),
            self.does,
            self.leaves_out,
            self.rows(),
        )
    }

    fn rows(&self) -> String {
        if self.parameters.is_empty() {
            return "No parameters.\n\n".to_owned();
        }
        let row = |parameter: &Parameter| {
            let unit = match parameter.unit {
                Unit::Time => "a time",
                Unit::Count => "a count",
                Unit::Start => "`warm` or `cold`",
            };
            let default = parameter.default.map_or("none".to_owned(), |value| parameter.unit.text(value));
            format!("| `{}` | {unit} | {default} | {} |\n", parameter.name, parameter.doc)
        };
        let rows: String = self.parameters.iter().map(row).collect();
        format!("| Parameter | Value | Default | Meaning |\n|---|---|---|---|\n{rows}\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_made_and_taken_apart_again() {
        for kind in &KINDS {
            let defaults = kind.defaults();
            let (declared, values) = kind.make(defaults).declared();
            assert_eq!((declared.word, values), (kind.word, defaults));
            let given: Values = std::array::from_fn(|at| {
                let parameter = kind.parameters.get(at)?;
                Some(if parameter.unit == Unit::Start { 1 } else { 7 + at as u64 })
            });
            assert_eq!(kind.make(given).declared().1, given, "{}", kind.word);
        }
    }
}
