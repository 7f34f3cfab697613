//! What was found in recordings, in words that every answer shares.

use super::{Beside, Level};
use crate::show::amount;
use claim::Unit;
use quantity::Duration;
use statistics::two_samples::{Shift, Within};
use trace::judge::{Extent, Finding, Relation};
use trace::names::Names;
use trace::note::{At, Matter, Place};

/// Where something is, behind the name of its source.
pub fn place_words(place: Place, sources: &[(String, &'static str)]) -> String {
    let name = sources.get(usize::from(place.source)).map_or("?", |(name, _)| name.as_str());
    match place.at {
        At::Line(line) => format!("{name}:{line}"),
        At::Byte(byte) => format!("{name}, byte {byte}"),
        At::Within { file, byte } => format!("{name}, byte {byte} of its stream {}", u32::from(file) + 1),
        At::Instant(at_ns) => format!("{name}, at {} of its clock", Duration::from_ns(at_ns)),
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

/// The unit of a finding's values.
pub fn unit_of(found: &Finding) -> Unit {
    if found.rule.unit() == "ns" { Unit::Nanoseconds } else { Unit::Count }
}

/// The limit of a finding; nothing where it is not known.
pub fn limit_words(found: &Finding) -> String {
    let side = match found.rule.relation() {
        Relation::AtMost => "at most",
        Relation::AtLeast => "at least",
    };
    found.limit.map_or_else(String::new, |limit| format!("{side} {}", amount(limit, unit_of(found))))
}

/// The worst that was seen, and when.
pub fn worst_words(found: &Finding) -> String {
    let side = match found.rule.relation() {
        Relation::AtMost => "most",
        Relation::AtLeast => "least",
    };
    match (found.worst, found.worst_at_ns) {
        (Some(worst), Some(at_ns)) => {
            format!("the {side} was {}, at {}", amount(worst, unit_of(found)), Duration::from_ns(at_ns))
        }
        _ => "nothing was measured".to_owned(),
    }
}

/// Between which times something lay that was measured; a dash where it was not.
pub fn extent_words(extent: Extent) -> String {
    match extent {
        Extent { times: 0, .. } => "–".to_owned(),
        Extent { least_ns, most_ns, .. } if least_ns == most_ns => Duration::from_ns(most_ns).to_string(),
        Extent { least_ns, most_ns, .. } => {
            format!("{} to {}", Duration::from_ns(least_ns), Duration::from_ns(most_ns))
        }
    }
}

/// What stands behind what was seen and its bound; nothing where the bound was kept.
pub fn beside_words(beside: &Beside) -> &'static str {
    match beside.bound {
        Some(_) if beside.is_alarm() => "ABOVE ITS BOUND",
        Some(bound) if beside.surely > bound => "above: the bound does not speak of a fault",
        Some(bound) if beside.seen > bound => "above, by no more than the clocks are off",
        _ => "",
    }
}

/// What was seen above its bound, and what that means.
pub fn alarm_words(alarm: &Beside) -> String {
    let (seen, bound) =
        (amount(alarm.seen, alarm.unit), alarm.bound.map_or_else(String::new, |b| amount(b, alarm.unit)));
    format!(
        "ALARM: {} was seen at {seen}, above its bound {bound}, at {} of the recording. Either an input of the analysis is wrong, \
         or the analysis is: no verdict that rests on it holds until that is known.",
        alarm.claim,
        Duration::from_ns(alarm.at_ns)
    )
}

/// Between what a shift may lie as far as the data say.
pub fn shift_words(shift: &Shift) -> String {
    match (shift.least, shift.most) {
        (Some(least), Some(most)) => format!("{} to {}", signed(least), signed(most)),
        _ => "any: too few values".to_owned(),
    }
}

fn signed(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "+" };
    format!("{sign}{}", Duration::from_ns(ns.unsigned_abs()))
}

/// The word for all shifts of a pair; nothing where no tolerance was given.
pub fn shifts_word(shifts: &[Shift]) -> &'static str {
    let has = |within: Within| shifts.iter().any(|shift| shift.within == within);
    match () {
        () if has(Within::Violated) => "violated",
        () if has(Within::NotShown) => "not shown",
        () if has(Within::Shown) => "shown",
        () => "",
    }
}

/// How a high-water mark lies to its limit: above four fifths of it, it is worth a look.
pub fn nearness_words(seen: u64, claimed: u64) -> &'static str {
    match () {
        () if seen > claimed => "PASSED",
        () if u128::from(seen) * 5 > u128::from(claimed) * 4 => "near",
        () => "",
    }
}

/// A rare level with its interval.
pub fn level_words((value, low, high): Level) -> String {
    let shown = |ns: u64| Duration::from_ns(ns).to_string();
    let end = |end: Option<u64>| end.map_or_else(|| "no bound".to_owned(), shown);
    format!("{} ({} to {})", shown(value), end(low), end(high))
}
