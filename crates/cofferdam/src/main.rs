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
    let done = match args::Cli::try_parse_from(&words) {
        Ok(cli) => exit::guarded(|| commands::run(cli)).map_err(|(exit, message)| {
            terminal::complain(&format!("error: {message}\n"));
            (exit, message)
        }),
        Err(error) => refused_call(&error, args::asked_color(&words)),
    };
    done.unwrap_or_else(|(exit, message)| stopped(exit, &message, args::asks_for_json(&words))).into()
}

/// Help and version are answers; anything else is a wrong call.
fn refused_call(error: &clap::Error, color: args::ColorChoice) -> Result<Exit, (Exit, String)> {
    let text = error.render();
    let drawn = |colour| if colour { text.ansi().to_string() } else { text.to_string() };
    if error.use_stderr() {
        terminal::complain(&drawn(terminal::colour_remarks(color)));
        return Err((Exit::Wrong, text.to_string()));
    }
    exit::guarded(|| terminal::print(&drawn(terminal::colour_output(color))).map(|()| Exit::Shown))
}

/// The status of a command that gave no answer of its own, said in JSON where JSON was asked for.
fn stopped(exit: Exit, message: &str, in_json: bool) -> Exit {
    if in_json {
        // Where standard output fails, the status has to say it alone.
        let _ = terminal::print(&commands::refusal_json(exit, message));
    }
    exit
}
