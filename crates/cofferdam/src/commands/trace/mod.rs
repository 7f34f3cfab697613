//! `trace`: recordings held against plan and claims.

pub(super) mod sources;

use super::judging::{self, Found, exit_of, is_silent};
use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, TraceArgs};
use crate::commands::check;
use crate::exit::Exit;
use crate::terminal;
use anyhow::{Context, Result};
use evidence::json::Recorded;
use evidence::recording::Judged;

/// What to do where nothing was judged.
const SILENT: &str = "nothing of this system was judged: check that the recording is of it, and name what the sources list as not \
                      mapped in a map (--map), as docs/judging.md says\n";

pub fn run(args: &TraceArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let Some(system) = session.baseline.system.as_ref().filter(|_| !session.baseline.has_errors()) else {
        return session.refused(args.answer.format == Format::Json);
    };
    let plan = session.baseline.plan.as_ref().context("there is no plan to judge by: name one with --plan")?;
    let claims = baseline::claims(&session.baseline);
    let against = (&**system, &**plan, claims.as_slice());
    let found = judging::recordings(&args.judging, &args.recordings, against, &session, args.samples)?;
    let found = match found {
        Found::Judged(found) => found,
        Found::WrongMap(wrong, sources) => return super::refuse(&wrong, &sources, args.answer.format, color),
    };
    let judged = found.judged(system);
    if is_silent(&judged.found.judgement.findings) {
        terminal::complain(SILENT);
    }
    let exit = exit_of(&judged, args.answer.allow_not_analysed);
    answer(args, color, &session, &judged, exit)?;
    Ok(exit)
}

fn answer(args: &TraceArgs, color: ColorChoice, session: &Session, judged: &Judged<'_>, exit: Exit) -> Result<()> {
    terminal::print(&match args.answer.format {
        Format::Text => {
            let head = format!("{}: {} judged", judged.system.name.value, recordings(judged.found.sources.len()));
            let style = evidence::text::Style { unicode: !args.answer.ascii, ..check::style(color) };
            evidence::text::recording(&head, judged, args.answer.all, style)
        }
        Format::Json => in_json(session, judged, exit),
    })
}

/// The answer for programs.
pub(super) fn in_json(session: &Session, judged: &Judged<'_>, exit: Exit) -> String {
    evidence::json::recorded(&Recorded {
        tool_version: env!("CARGO_PKG_VERSION"),
        exit_status: exit.code(),
        inputs: &session.baseline.input_digests(),
        diagnostics: &session.plain_diagnostics(),
        judged: *judged,
    })
}

fn recordings(count: usize) -> String {
    if count == 1 { "a recording".to_owned() } else { format!("a recording of {count} sources") }
}
