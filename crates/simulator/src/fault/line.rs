//! A fault on one line: `KIND:TARGET[@TIME][,key=value...]`.

use super::ask;
use super::declared::{Declared, Unit};
use super::{Fault, Target};
use crate::Machine;
use diagnostic::codes::scenario::{BAD_PARAMETER, FAULT_SYNTAX};
use diagnostic::{Diagnostic, FileId, Located, Sources, Span};
use quantity::Duration;

/// Reads a fault as the command line gives it. `name` is what messages call the text, such as `--fault`.
///
/// # Errors
/// Everything that is wrong with it, placed in a text that is added to `sources`.
pub fn read_fault(
    name: &str,
    text: &str,
    machine: &Machine,
    span_ns: u64,
    sources: &mut Sources,
) -> Result<Fault, Vec<Diagnostic>> {
    let mut line = Line { text, file: sources.add(name, text), out: Vec::new() };
    let fault = line.fault(machine, span_ns);
    fault.filter(|_| line.out.is_empty()).ok_or(line.out)
}

/// A fault as [`read_fault`] reads it, with every parameter that differs from its default.
pub fn fault_text(fault: &Fault, machine: &Machine) -> String {
    let (kind, values) = fault.kind.declared();
    let target = ask::target_text(fault.target, kind, machine);
    let mut text = format!("{}:{target}@{}", kind.word, spaceless(Duration::from_ns(fault.at_ns)));
    for (parameter, value) in kind.parameters.iter().zip(values) {
        if let Some(value) = value.filter(|_| value != parameter.default) {
            text += &format!(",{}={}", parameter.name, parameter.unit.text(value).replace(' ', ""));
        }
    }
    text
}

fn spaceless(time: Duration) -> String {
    time.to_string().replace(' ', "")
}

struct Line<'a> {
    text: &'a str,
    file: FileId,
    out: Vec<Diagnostic>,
}

impl<'a> Line<'a> {
    fn fault(&mut self, machine: &Machine, span_ns: u64) -> Option<Fault> {
        let Some((word, rest)) = self.text.split_once(':') else {
            let message = "a fault is written KIND:TARGET[@TIME][,key=value...]";
            let help = "write for example `crash:NAV@2.5ms,start=cold`";
            self.out.push(Diagnostic::new(&FAULT_SYNTAX, self.place(self.text).span, message).help(help));
            return None;
        };
        let (name, after) = parted(rest);
        let mut pieces = after.split(',');
        let at = self.at(pieces.next().unwrap_or_default());
        let kind = ask::kind(&self.place(word), &mut self.out)?;
        let name = self.place(name);
        let target = ask::target(kind, &name, machine, &mut self.out);
        let kind = self.kind(kind, pieces);
        let at = at?;
        self.out.extend(ask::after_the_end("fault", &at, span_ns));
        Some(Fault { kind, target: target?, at_ns: at.value })
    }

    /// The instant; 0 where there is none.
    fn at(&mut self, text: &'a str) -> Option<Located<u64>> {
        if text.is_empty() {
            return Some(Located::new(0, self.place(text).span));
        }
        // `parted` leaves the mark before an instant.
        let text = text.strip_prefix('@').unwrap_or(text);
        let place = self.place(text);
        match text.parse::<Duration>() {
            Ok(at) => Some(Located::new(at.ns(), place.span)),
            Err(why) => {
                self.out.push(Diagnostic::new(&BAD_PARAMETER, place.span, format!("the instant `{text}` {why}")));
                None
            }
        }
    }

    fn kind(&mut self, kind: &'static Declared, pieces: impl Iterator<Item = &'a str>) -> super::Kind {
        let mut values = kind.defaults();
        let mut given = [false; 3];
        for piece in pieces {
            if let Some((at, value)) = self.parameter(kind, piece) {
                if std::mem::replace(&mut given[at], true) {
                    let message = format!("`{}` is given twice", kind.parameters[at].name);
                    self.out
                        .push(Diagnostic::new(&FAULT_SYNTAX, self.place(piece).span, message).help("leave one out"));
                }
                values[at] = Some(value);
            }
        }
        kind.make(values)
    }

    fn parameter(&mut self, kind: &Declared, piece: &'a str) -> Option<(usize, u64)> {
        let Some((key, value)) = piece.split_once('=') else {
            let message = format!("`{piece}` is not of the form key=value");
            let help = "parameters follow the instant, such as `@2.5ms,start=cold`";
            self.out.push(Diagnostic::new(&FAULT_SYNTAX, self.place(piece).span, message).help(help));
            return None;
        };
        let Some(at) = kind.position(key.trim()) else {
            self.out.push(ask::others_parameter(kind, &self.place(key)));
            return None;
        };
        let parameter = &kind.parameters[at];
        let in_range = |read: u64| match ask::out_of_range(parameter, read) {
            Some(why) if parameter.unit != Unit::Start => Err(why),
            _ => Ok(read),
        };
        match parameter.unit.read(value.trim()).and_then(in_range) {
            Ok(value) => Some((at, value)),
            Err(why) => {
                let message = format!("`{}` {why}", key.trim());
                self.out.push(Diagnostic::new(&BAD_PARAMETER, self.place(value).span, message));
                None
            }
        }
    }

    /// A piece of the text, without white space around it, with its place.
    fn place(&self, piece: &str) -> Located<String> {
        let trimmed = piece.trim();
        // A piece is a slice of the text, so its distance from the text's begin is its place.
        let start = (trimmed.as_ptr() as usize).saturating_sub(self.text.as_ptr() as usize);
        Located::new(trimmed.to_owned(), Span::new(self.file, start..start + trimmed.len()))
    }
}

/// The target, and what follows it from the instant's mark on; a name with a comma needs that mark.
fn parted(rest: &str) -> (&str, &str) {
    let end = rest.find('@').or_else(|| rest.find(',')).unwrap_or(rest.len());
    rest.split_at(end)
}

impl Target {
    /// The partition that the fault is in, where it is in one: the owner, for a device.
    pub fn partition(self, machine: &Machine) -> Option<usize> {
        match self {
            Self::Partition(partition) => Some(partition),
            Self::Task(task) => Some(machine.tasks.get(task)?.partition),
            Self::Channel(channel) => Some(machine.channels.get(channel)?.source),
            Self::Device(device) => machine.devices.get(device)?.owner,
            Self::Core(_) => None,
        }
    }
}
