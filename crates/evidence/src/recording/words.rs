//! What readers of recordings found, in words.

use trace::names::Names;
use trace::note::{At, Matter, Place};

/// Where something is, behind the name of its source.
pub fn place_words(place: Place, sources: &[(String, &'static str)]) -> String {
    let name = sources.get(usize::from(place.source)).map_or("?", |(name, _)| name.as_str());
    match place.at {
        At::Line(line) => format!("{name}:{line}"),
        At::Byte(byte) => format!("{name}, byte {byte}"),
        At::Within { file, byte } => format!("{name}, byte {byte} of its stream {}", u32::from(file) + 1),
        At::Instant(at_ns) => format!("{name}, at {} of its clock", quantity::Duration::from_ns(at_ns)),
        At::End => format!("the end of {name}"),
    }
}

/// What was the matter, so many times.
pub fn matter_words(matter: Matter, count: u64, names: Option<&Names>) -> String {
    let what = match matter {
        Matter::Unparsed => "lines or records that are no event known: left out",
        Matter::Malformed => "events whose values cannot be read: left out",
        Matter::NotUtf8 => "names that are not UTF-8: kept with replacement characters",
        Matter::Truncated => "events cut off by the end: left out",
        Matter::Snapped => "frames of which only the beginning was recorded: kept",
        Matter::OutOfOrder => "events out of order: put into their place, or left out where that had been passed",
        Matter::Duplicate => "events equal to the one before: left out",
        Matter::NegativeDuration => "spans that end before they begin: left out",
        Matter::Wrapped => "times at which a clock of few bits began anew: carried on",
        Matter::Lost => "marks of the recorder that events were lost: gaps",
        Matter::Unannounced => {
            "switches from a thread to which the cpu had not gone, since some were not recorded: gaps"
        }
        Matter::Unpaired => "spans without a beginning or an end: left out",
        Matter::OutOfRange => "events with a time that cannot be kept: left out",
        Matter::Unknown { kind, .. } => {
            let kind = names.map_or("?", |names| names.get(kind).text.as_str());
            return format!("{count} events `{kind}`, of which nothing is known: left out");
        }
    };
    format!("{count} {what}")
}
