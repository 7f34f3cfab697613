//! Standard output and standard error.

use crate::args::ColorChoice;
use anyhow::{Context, Result};
use indicatif::{ProgressBar, ProgressFinish, ProgressStyle};
use std::io::{ErrorKind, IsTerminal, Write};
use std::time::Duration;

/// Writes to standard output. A reader that went away early is no error; a full disk is.
pub fn print(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(why) if why.kind() != ErrorKind::BrokenPipe => Err(why).context("cannot write the answer"),
        _ => Ok(()),
    }
}

/// Writes to standard error, where every remark goes that is not the answer.
pub fn complain(text: &str) {
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

/// Leaves the line of a bar, where somebody watches, so that what the shell writes next does not stand behind it.
pub fn end_line() {
    if remarks_are_seen() {
        complain("\n");
    }
}

/// Whether what goes to standard output may be coloured: on a terminal, and `NO_COLOR` unset or empty.
pub fn colour_output(choice: ColorChoice) -> bool {
    coloured(choice, std::io::stdout().is_terminal())
}

/// The same for standard error.
pub fn colour_remarks(choice: ColorChoice) -> bool {
    coloured(choice, remarks_are_seen())
}

/// Whether standard error goes to a terminal, where somebody watches.
pub fn remarks_are_seen() -> bool {
    std::io::stderr().is_terminal()
}

/// A bar for long work with its rate and the time left, where somebody watches.
pub fn progress(doing: &str, steps: u64, noun: &str) -> ProgressBar {
    let shape = format!("{doing} {{wide_bar}} {{human_pos}}/{{human_len}} {noun}, {{per_sec}}, {{eta}} left");
    bar(&shape, steps)
}

/// The same for bytes that are read, whose number is added as files are opened; it goes away with whoever reads.
pub fn reading() -> ProgressBar {
    let shape = "reading {wide_bar} {decimal_bytes}/{decimal_total_bytes}, {decimal_bytes_per_sec}, {eta} left";
    bar(shape, 0).with_finish(ProgressFinish::AndClear)
}

fn bar(shape: &str, steps: u64) -> ProgressBar {
    if !remarks_are_seen() {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template(shape).unwrap_or_else(|_| ProgressStyle::default_bar());
    let bar = ProgressBar::new(steps).with_style(style);
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}

fn coloured(choice: ColorChoice, is_terminal: bool) -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    match choice {
        ColorChoice::Always => true,
        ColorChoice::Never => false,
        ColorChoice::Auto => is_terminal && !refused,
    }
}

/// The columns that answers may take: `COLUMNS` where it is set, else the terminal's, else 100.
pub fn width() -> usize {
    let told = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let seen = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    told.or_else(seen).unwrap_or(100).clamp(60, 160)
}
