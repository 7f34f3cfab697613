//! Standard output and standard error.

use crate::args::ColorChoice;
use std::io::{IsTerminal, Write};

/// Writes to standard output. A reader that went away early is no error.
pub fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes to standard error, where every remark goes that is not the answer.
pub fn complain(text: &str) {
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

/// Whether what goes to standard output may be coloured: on a terminal, and `NO_COLOR` unset or empty.
pub fn colour_output(choice: ColorChoice) -> bool {
    coloured(choice, std::io::stdout().is_terminal())
}

/// The same for standard error.
pub fn colour_remarks(choice: ColorChoice) -> bool {
    coloured(choice, std::io::stderr().is_terminal())
}

fn coloured(choice: ColorChoice, is_terminal: bool) -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    match choice {
        ColorChoice::Always => true,
        ColorChoice::Never => false,
        ColorChoice::Auto => is_terminal && !refused,
    }
}

/// The columns of the terminal, or 100 where there is none.
pub fn width() -> usize {
    std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).unwrap_or(100).clamp(60, 160)
}
