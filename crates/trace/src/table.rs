//! The table of events as it is written: what `docs/traces.md` says of it, for those who make recordings of their own.

use crate::event::Word;
use std::fmt::Write as _;

/// The first line.
pub const HEAD: &str = "time_ns,core,event,who,number\n";

/// Adds a line. Names are quoted where they hold what would end them.
pub fn line(text: &mut String, at_ns: u64, core: Option<u64>, word: Word, who: &str, number: Option<u64>) {
    let given = |number: Option<u64>| number.map(|number| number.to_string()).unwrap_or_default();
    let (core, number) = (given(core), given(number));
    let who =
        if who.contains([',', '"', '\n', '\r']) { format!("\"{}\"", who.replace('"', "\"\"")) } else { who.to_owned() };
    // A text takes whatever is written to it.
    let _ = writeln!(text, "{at_ns},{core},{},{who},{number}", word.text());
}

/// Adds the line that says that an unsaid number of events is missing up to here.
pub fn lost(text: &mut String, at_ns: u64) {
    let _ = writeln!(text, "{at_ns},,lost,,0");
}
