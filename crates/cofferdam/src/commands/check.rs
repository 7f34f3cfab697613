//! `check`: every claim of a system under a plan.

use super::session::{self, Wanted};
use crate::args::{CheckArgs, ColorChoice, Format};
use crate::exit::Exit;
use crate::terminal;
use anyhow::Result;
use evidence::Dossier;
use evidence::text::{Detail, Style};

pub fn run(args: &CheckArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let campaign = session.campaign(args.campaign.as_deref())?;
    if args.format == Format::Json {
        let dossier = session.dossier(args.allow_not_analysed, campaign)?;
        terminal::print(&evidence::json::render(&dossier))?;
        return Ok(exit(&dossier));
    }
    if session.baseline.has_errors() {
        return Ok(Exit::Wrong);
    }
    let dossier = session.dossier_as_opened(args.allow_not_analysed, campaign)?;
    let detail = match (args.all, args.quiet) {
        (true, _) => Detail::All,
        (false, true) => Detail::Quiet,
        (false, false) => Detail::Default,
    };
    terminal::print(&evidence::text::render(&dossier, detail, style(color)))?;
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
