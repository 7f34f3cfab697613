//! `check`: every claim of a system under a plan.

use super::session;
use crate::args::{CheckArgs, ColorChoice, Format};
use crate::exit::Exit;
use crate::terminal;
use anyhow::Result;
use evidence::Dossier;
use evidence::text::{Detail, Style};

pub fn run(args: &CheckArgs, color: ColorChoice) -> Result<Exit> {
    let baseline = session::load(&args.baseline.system, args.baseline.plan.as_deref())?;
    session::complain(&baseline, color);
    let dossier = baseline::dossier(&baseline, session::extras(args.allow_not_analysed));
    match args.format {
        Format::Json => terminal::print(&evidence::json::render(&dossier)),
        Format::Text if baseline.has_errors() => {}
        Format::Text => {
            let detail = if args.all { Detail::All } else { Detail::Default };
            terminal::print(&evidence::text::render(&dossier, detail, style(color)));
        }
    }
    Ok(exit(&dossier))
}

/// The look of answers on standard output.
pub fn style(color: ColorChoice) -> Style {
    Style { colour: terminal::colour_output(color), unicode: true, width: terminal::width() }
}

/// The exit status that the dossier calls for.
pub fn exit(dossier: &Dossier) -> Exit {
    match dossier.exit_status() {
        0 => Exit::Shown,
        1 => Exit::Open,
        _ => Exit::Wrong,
    }
}
