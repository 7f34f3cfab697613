//! The command line: arguments, files, clock, terminal, exit status. Wires, decides nothing.

#![allow(clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod args;
mod commands;
mod exit;
mod files;
mod interrupt;
mod terminal;

use clap::Parser;
use exit::Exit;
use std::process::ExitCode;

fn main() -> ExitCode {
    interrupt::install();
    let words: Vec<_> = std::env::args_os().collect();
    match args::Cli::try_parse_from(&words) {
        Ok(cli) => exit::guarded(|| commands::run(cli)).into(),
        Err(error) => refused_call(&error, &words).into(),
    }
}

/// Help and version are answers; anything else is a wrong call, said in JSON where JSON was asked for.
fn refused_call(error: &clap::Error, words: &[std::ffi::OsString]) -> Exit {
    if !error.use_stderr() {
        terminal::print(&error.render().ansi().to_string());
        return Exit::Shown;
    }
    terminal::complain(&error.render().ansi().to_string());
    if args::asks_for_json(words) {
        terminal::print(&commands::wrong_call_json(&error.render().to_string()));
    }
    Exit::Wrong
}
