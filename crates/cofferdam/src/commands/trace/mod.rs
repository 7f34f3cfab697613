//! `trace`: recordings held against plan and claims.

mod sources;

use super::judging::{Against, Nobody, is_open};
use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, TraceArgs};
use crate::commands::check;
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Context, Result};
use diagnostic::codes::input::UNREADABLE_FILE;
use diagnostic::{Diagnostic, Look, Plain, Sources, Span, render_text};
use evidence::json::Recorded;
use evidence::recording::Judged;
use model::{FileError, MOST_BYTES, System};
use sources::Files;
use trace::judge::Allowed;
use trace::map::{Map, read_map};

pub fn run(args: &TraceArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let Some(system) = session.baseline.system.as_ref().filter(|_| !session.baseline.has_errors()) else {
        return session.refused(args.format == Format::Json);
    };
    let plan = session.baseline.plan.as_ref().context("there is no plan to judge by: name one with --plan")?;
    let map = match read_the_map(args, system, &session) {
        Ok(map) => map,
        Err((found, sources)) => return refuse(&found, &sources, args.format, color),
    };
    let files = Files::find(&args.traces)?;
    let by_map = Against::by_map(system, plan, &map);
    let allowed = Allowed {
        window_ns: args.tolerance.map(|time| time.ns()).or(by_map.allowed.window_ns),
        origin_ns: args.frame_at.map(|time| time.ns()).or(by_map.allowed.origin_ns),
    };
    let fits = files.fits(&map)?;
    let (taking, judgement) = Against { allowed, ..by_map }.judge(files.open()?, fits, &mut Nobody);
    let verdicts = baseline::verdicts(system, plan);
    let beside = baseline::measured::beside(system, &judgement, &verdicts);
    let judged = Judged { system, sources: files.told(), taking: &taking, judgement: &judgement, beside: &beside };
    let exit = exit_of(&judged, args.allow_not_analysed);
    answer(args, color, &session, &judged, exit)?;
    Ok(exit)
}

fn answer(args: &TraceArgs, color: ColorChoice, session: &Session, judged: &Judged<'_>, exit: Exit) -> Result<()> {
    terminal::print(&match args.format {
        Format::Text => {
            let head = format!("{}: {} judged", judged.system.name.value, recordings(judged.sources.len()));
            let style = evidence::text::Style { unicode: !args.ascii, ..check::style(color) };
            evidence::text::recording(&head, judged, args.all, style)
        }
        Format::Json => evidence::json::recorded(&Recorded {
            tool_version: env!("CARGO_PKG_VERSION"),
            exit_status: exit.code(),
            inputs: &session.baseline.input_digests(),
            diagnostics: &session.plain_diagnostics(),
            judged: *judged,
        }),
    })
}

fn recordings(count: usize) -> String {
    if count == 1 { "a recording".to_owned() } else { format!("a recording of {count} sources") }
}

fn exit_of(judged: &Judged<'_>, allow_not_analysed: bool) -> Exit {
    match () {
        () if judged.beside.iter().any(|beside| beside.is_alarm()) => Exit::Alarm,
        () if !judged.taking.refusals.is_empty() => Exit::Wrong,
        () if is_open(&judged.judgement.findings, allow_not_analysed) => Exit::Open,
        () => Exit::Shown,
    }
}

/// The map of the call; an empty one where none is named.
fn read_the_map(args: &TraceArgs, system: &System, session: &Session) -> Result<Map, (Vec<Diagnostic>, Sources)> {
    let Some(path) = &args.map else { return Ok(Map::default()) };
    let mut sources = (*session.baseline.sources).clone();
    let name = path.display().to_string();
    match files::read_at_most(path, MOST_BYTES) {
        Ok(bytes) => {
            let (map, found) = read_map(&name, &bytes, system, &mut sources);
            map.ok_or((found, sources))
        }
        Err(why) => {
            let message = match why {
                FileError::NotFound => format!("there is no map file `{name}`"),
                FileError::TooLarge => format!("the map file `{name}` is larger than {} MiB", MOST_BYTES >> 20),
                FileError::Other(why) => format!("the map file `{name}` cannot be read: {why}"),
            };
            let file = sources.add_unread(name);
            Err((vec![Diagnostic::new(&UNREADABLE_FILE, Span::new(file, 0..0), message)], sources))
        }
    }
}

/// Says all that is wrong with the map.
fn refuse(found: &[Diagnostic], sources: &Sources, format: Format, color: ColorChoice) -> Result<Exit> {
    let look = if terminal::colour_remarks(color) { Look::Coloured } else { Look::Plain };
    for diagnostic in found {
        terminal::complain(&format!("{}\n\n", render_text(diagnostic, sources, look)));
    }
    if format == Format::Json {
        let plain: Vec<_> = found.iter().map(|d| Plain::new(d, sources)).collect();
        terminal::print(&super::refusal_of(Exit::Wrong, &serde_json::json!(plain)))?;
    }
    Ok(Exit::Wrong)
}
