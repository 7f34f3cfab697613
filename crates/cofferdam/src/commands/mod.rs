//! One file a command.

mod campaign;
mod check;
mod demo;
mod draft;
mod explain;
mod generate;
mod judging;
mod map_file;
mod new;
mod plan;
mod rehearse;
mod report;
mod session;
mod simulate;
mod trace;

use crate::args::{Cli, ColorChoice, Command, Format};
use crate::exit::Exit;
use crate::terminal;
use anyhow::Result;
use diagnostic::{Diagnostic, Look, Plain, Sources, render_text};

/// Runs the command of the call.
pub fn run(cli: Cli) -> Result<Exit> {
    let color = cli.color;
    match cli.command {
        Command::Demo(args) => demo::run(&args, color),
        Command::New(args) => new::run(&args),
        Command::Check(args) => check::run(&args, color),
        Command::Plan(args) => plan::run(&args, color),
        Command::Campaign(args) => campaign::run(&args, color),
        Command::Report(args) => report::run(&args, color),
        Command::Simulate(args) => simulate::run(&args, color),
        Command::Rehearse(args) => rehearse::run(&args, color),
        Command::RehearsalProcess(args) => rehearse::serve(&args),
        Command::Trace(args) => trace::run(&args, color),
        Command::Draft(args) => draft::run(&args, color),
        Command::Explain(args) => explain::run(&args),
        Command::Schema => generate::schema(),
        Command::Completions(args) => generate::completions(args.shell),
        Command::Manual(args) => generate::manual(&args.out),
    }
}

/// The answer in JSON of a command that gave none of its own.
pub fn refusal_json(exit: Exit, message: &str) -> String {
    refusal_of(
        exit,
        &serde_json::json!([{
            "code": if exit == Exit::Alarm { "alarm" } else { "call" },
            "severity": "error",
            "message": message,
            "file": null,
            "line": null,
            "column": null,
            "labels": [],
            "help": null,
        }]),
    )
}

/// The same with these diagnostics.
fn refusal_of(exit: Exit, diagnostics: &serde_json::Value) -> String {
    let answer = serde_json::json!({
        "schema_version": evidence::json::SCHEMA_VERSION,
        "tool_version": env!("CARGO_PKG_VERSION"),
        "baseline": null,
        "exit_status": exit.code(),
        "verdicts": [],
        "diagnostics": diagnostics,
    });
    format!("{answer:#}\n")
}

/// Says all that is wrong with a file beside system and plan, such as a scenario or a map.
fn refuse(found: &[Diagnostic], sources: &Sources, format: Format, color: ColorChoice) -> Result<Exit> {
    let look = if terminal::colour_remarks(color) { Look::Coloured } else { Look::Plain };
    for diagnostic in found {
        terminal::complain(&format!("{}\n\n", render_text(diagnostic, sources, look)));
    }
    if format == Format::Json {
        let plain: Vec<_> = found.iter().map(|d| Plain::new(d, sources)).collect();
        terminal::print(&refusal_of(Exit::Wrong, &serde_json::json!(plain)))?;
    }
    Ok(Exit::Wrong)
}
