//! Texts as a TOML file holds them.

use quantity::Duration;

/// A text in quotes.
pub(super) fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => quoted.push('\u{fffd}'),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A time.
pub(super) fn time(ns: u64) -> String {
    Duration::from_ns(ns).to_string()
}

/// The least and the greatest time, or one where both are the same.
pub(super) fn times((least, most): (u64, u64)) -> String {
    if least == most { time(most) } else { format!("{} to {}", time(least), time(most)) }
}

/// A number of things: `1 job`, `2 jobs`.
pub(super) fn counted(number: u64, thing: &str) -> String {
    if number == 1 { format!("1 {thing}") } else { format!("{number} {thing}s") }
}
