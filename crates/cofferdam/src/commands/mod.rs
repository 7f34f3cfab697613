//! One file a command.

mod check;
mod demo;
mod explain;
mod generate;
mod new;
mod plan;
mod report;
mod session;

use crate::args::{Cli, Command};
use crate::exit::Exit;
use anyhow::Result;

/// Runs the command of the call.
pub fn run(cli: Cli) -> Result<Exit> {
    let color = cli.color;
    match cli.command {
        Command::Demo(args) => demo::run(&args, color),
        Command::New(args) => new::run(&args),
        Command::Check(args) => check::run(&args, color),
        Command::Plan(args) => plan::run(&args, color),
        Command::Report(args) => report::run(&args, color),
        Command::Explain(args) => explain::run(&args),
        Command::Schema => generate::schema(),
        Command::Completions(args) => generate::completions(args.shell),
        Command::Manual(args) => generate::manual(&args.out),
    }
}

/// The answer in JSON to a call that could not be understood.
pub fn wrong_call_json(message: &str) -> String {
    let answer = serde_json::json!({
        "schema_version": evidence::json::SCHEMA_VERSION,
        "tool_version": env!("CARGO_PKG_VERSION"),
        "exit_status": Exit::Wrong.code(),
        "verdicts": [],
        "diagnostics": [{ "code": "call", "severity": "error", "message": message }],
    });
    format!("{answer:#}\n")
}
