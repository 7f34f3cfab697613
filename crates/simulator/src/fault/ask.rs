//! Words become a fault: kinds, targets and parameters are looked up, and what does not fit is said.

use super::declared::{Declared, KINDS, Parameter, STARTS, Unit};
use super::{Place, Target};
use crate::Machine;
use crate::machine::Port;
use diagnostic::codes::scenario::{
    AFTER_THE_END, OTHERS_PARAMETER, TWO_TARGETS, UNKNOWN_FAULT, UNKNOWN_TARGET, WRONG_TARGET,
};
use diagnostic::{Diagnostic, Located};
use model::tables::nearest;
use quantity::Duration;

/// The kind of that word.
pub(super) fn kind(word: &Located<String>, out: &mut Vec<Diagnostic>) -> Option<&'static Declared> {
    let found = Declared::named(&word.value);
    if found.is_none() {
        let message = format!("there is no fault `{}`", word.value);
        let words = || KINDS.iter().map(|kind| kind.word);
        let help = match nearest(&word.value, words()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("the faults are {}", listed(words())),
        };
        out.push(Diagnostic::new(&UNKNOWN_FAULT, word.span, message).help(help));
    }
    found
}

/// `a`, `b` and `c`, each quoted.
fn listed<'a>(words: impl Iterator<Item = &'a str>) -> String {
    let words: Vec<_> = words.map(|word| format!("`{word}`")).collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

/// The names of everything of a kind, in the machine's order.
fn names(place: Place, machine: &Machine) -> Vec<&str> {
    match place {
        Place::Partition => machine.partitions.iter().map(|one| one.name.as_str()).collect(),
        Place::Task => machine.tasks.iter().map(|one| one.label.as_str()).collect(),
        Place::Channel => machine.channels.iter().map(|one| one.name.as_str()).collect(),
        Place::Device => machine.devices.iter().map(|one| one.name.as_str()).collect(),
        Place::Core => machine.cores.iter().map(|one| one.name.as_str()).collect(),
    }
}

fn targets(name: &str, places: &[Place], machine: &Machine) -> Vec<Target> {
    let (place, name) = match name.split_once('/') {
        Some((word, rest)) => (Some(word), rest),
        None => (None, name),
    };
    let wanted = places.iter().filter(|kind| place.is_none_or(|word| word == kind.word()));
    wanted.filter_map(|&kind| Some(kind.at(names(kind, machine).iter().position(|known| *known == name)?))).collect()
}

impl Place {
    fn at(self, index: usize) -> Target {
        match self {
            Self::Partition => Target::Partition(index),
            Self::Task => Target::Task(index),
            Self::Channel => Target::Channel(index),
            Self::Device => Target::Device(index),
            Self::Core => Target::Core(index),
        }
    }
}

impl Declared {
    /// Everything of the machine that the kind may happen to.
    pub fn targets(&'static self, machine: &Machine) -> Vec<Target> {
        let everything = |place: Place| (0..names(place, machine).len()).map(move |index| place.at(index));
        let all = self.places.iter().flat_map(|&place| everything(place));
        all.filter(|target| misfit(self, *target, machine).is_none()).collect()
    }
}

impl Target {
    fn place(self) -> (Place, usize) {
        match self {
            Self::Partition(index) => (Place::Partition, index),
            Self::Task(index) => (Place::Task, index),
            Self::Channel(index) => (Place::Channel, index),
            Self::Device(index) => (Place::Device, index),
            Self::Core(index) => (Place::Core, index),
        }
    }
}

/// The name of a target as it is read again: with its kind before it where something else that the fault may happen to
/// has the same name.
pub(super) fn target_text(target: Target, kind: &Declared, machine: &Machine) -> String {
    let (place, index) = target.place();
    let name = names(place, machine).get(index).copied().unwrap_or_default();
    if targets(name, kind.places, machine).len() > 1 { format!("{}/{name}", place.word()) } else { name.to_owned() }
}

/// What the fault happens to.
pub(super) fn target(
    kind: &Declared,
    name: &Located<String>,
    machine: &Machine,
    out: &mut Vec<Diagnostic>,
) -> Option<Target> {
    let wrong = |code, message: String, help: String| Diagnostic::new(code, name.span, message).help(help);
    let found = targets(&name.value, kind.places, machine);
    let problem = match found[..] {
        [one] => match misfit(kind, one, machine) {
            None => return Some(one),
            Some((message, help)) => wrong(&WRONG_TARGET, message, help),
        },
        [one, other, ..] => {
            let (one, other) = (one.place().0.word(), other.place().0.word());
            let message = format!("`{}` is the name of a {one} and of a {other}", name.value);
            wrong(&TWO_TARGETS, message, format!("write `{one}/{0}` or `{other}/{0}`", name.value))
        }
        [] => unknown(kind, name, machine),
    };
    out.push(problem);
    None
}

fn unknown(kind: &Declared, name: &Located<String>, machine: &Machine) -> Diagnostic {
    let allowed = kind.places.iter().map(|place| place.word()).collect::<Vec<_>>().join(" or a ");
    if let Some(other) = targets(&name.value, &Place::ALL, machine).first() {
        let message =
            format!("`{}` is a {}, and `{}` happens to a {allowed}", name.value, other.place().0.word(), kind.word);
        return Diagnostic::new(&WRONG_TARGET, name.span, message).help(format!("name a {allowed}"));
    }
    let message = format!("there is no {} `{}`", allowed.replace(" or a ", " or "), name.value);
    let known: Vec<_> = kind.places.iter().flat_map(|&place| names(place, machine)).collect();
    let help = match nearest(&name.value, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("`{}` happens to a {allowed}; use the name of one of the system", kind.word),
    };
    Diagnostic::new(&UNKNOWN_TARGET, name.span, message).help(help)
}

/// What keeps this one target from the fault, and what would do.
fn misfit(kind: &Declared, target: Target, machine: &Machine) -> Option<(String, String)> {
    let queuing = |channel: usize| matches!(machine.channels[channel].port, Port::Queuing { .. });
    let said = |name: &str, why: &str, help: &str| Some((format!("`{name}` {why}"), help.to_owned()));
    match (kind.word, target) {
        ("queue-flood", Target::Channel(channel)) if !queuing(channel) => {
            said(&machine.channels[channel].name, "holds one message and has no queue", "name a queuing port")
        }
        ("dma-burst", Target::Device(device)) if !machine.devices[device].moves_memory => {
            said(&machine.devices[device].name, "does not move memory by itself", "name a device with a DMA stream")
        }
        ("interrupt-storm", Target::Device(device)) if machine.devices[device].interrupts.is_empty() => {
            said(&machine.devices[device].name, "has no interrupt", "name a device with one")
        }
        ("overrun" | "endless-loop", Target::Partition(partition))
            if machine.partitions[partition].tasks.is_empty() =>
        {
            said(&machine.partitions[partition].name, "has no task", "name a task, or a partition with one")
        }
        _ => None,
    }
}

/// Reports a parameter that the kind does not have.
pub(super) fn others_parameter(kind: &Declared, name: &Located<String>) -> Diagnostic {
    let message = format!("`{}` has no parameter `{}`", kind.word, name.value);
    let names = || kind.parameters.iter().map(|parameter| parameter.name);
    let help = match nearest(&name.value, names()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if kind.parameters.is_empty() => "it has none".to_owned(),
        None => format!("it has {}", listed(names())),
    };
    Diagnostic::new(&OTHERS_PARAMETER, name.span, message).help(help)
}

/// Why a value is none that the parameter may have.
pub(super) fn out_of_range(parameter: &Parameter, value: u64) -> Option<String> {
    let (least, most) = parameter.range();
    if value == 0 {
        Some("is zero; it must be above".to_owned())
    } else if value < least {
        Some(format!("is {}; it is {} at least", parameter.unit.text(value), parameter.unit.text(least)))
    } else if value > most {
        Some(format!("is {}; it is {} at most", parameter.unit.text(value), parameter.unit.text(most)))
    } else {
        None
    }
}

/// Reports what is to happen when the run is over.
pub(super) fn after_the_end(what: &str, at: &Located<u64>, span_ns: u64) -> Option<Diagnostic> {
    if at.value < span_ns {
        return None;
    }
    let (at_ns, end) = (Duration::from_ns(at.value), Duration::from_ns(span_ns));
    let message = format!("the {what} comes at {at_ns}, the run ends at {end}");
    Some(Diagnostic::new(&AFTER_THE_END, at.span, message).help("let it come earlier, or make the run longer"))
}

impl Unit {
    /// The value that a text gives, or why it gives none.
    pub(super) fn read(self, text: &str) -> Result<u64, String> {
        match self {
            Self::Time => text.parse::<Duration>().map(Duration::ns).map_err(|why| why.to_string()),
            Self::Count => text.parse::<u64>().map_err(|_| "is no whole number, such as 10".to_owned()),
            Self::Start => {
                let index = STARTS.iter().position(|(word, _)| *word == text);
                index.map(|index| index as u64).ok_or_else(|| "is neither `warm` nor `cold`".to_owned())
            }
        }
    }

    /// The value as it is read again.
    pub(super) fn text(self, value: u64) -> String {
        match self {
            Self::Time => Duration::from_ns(value).to_string(),
            Self::Count => value.to_string(),
            Self::Start => {
                usize::try_from(value).ok().and_then(|at| STARTS.get(at)).map_or("cold", |(word, _)| word).into()
            }
        }
    }
}
