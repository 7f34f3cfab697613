//! `trace`: recordings held against plan and claims.

pub(super) mod sources;

use super::map_file::{MapFile, refuse};
use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, TraceArgs};
use crate::commands::check;
use crate::exit::Exit;
use crate::terminal;
use anyhow::{Context, Result};
use evidence::json::Recorded;
use evidence::recording::Judged;
use sources::Files;
use trace::judge::{Allowed, Judge, Status};
use trace::recording;

pub fn run(args: &TraceArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let Some(system) = session.baseline.system.as_ref().filter(|_| !session.baseline.has_errors()) else {
        return session.refused(args.format == Format::Json);
    };
    let plan = session.baseline.plan.as_ref().context("there is no plan to judge by: name one with --plan")?;
    let mut sources = (*session.baseline.sources).clone();
    let map = MapFile::read(args.map.as_deref(), &mut sources).and_then(|map| map.resolve(system, &mut sources));
    let map = match map {
        Ok(map) => map,
        Err(found) => return refuse(&found, &sources, args.format, color),
    };
    let files = Files::find(&args.traces)?;
    let allowed = Allowed {
        window_ns: args.tolerance.map(|time| time.ns()).or(map.tolerance_ns),
        origin_ns: args.frame_at.map(|time| time.ns()).or(map.frame_at_ns),
    };
    let fits = files.fits(&map)?;
    let mut judge = Judge::new(system, plan, allowed);
    let taking = recording::take(system, &map, files.open()?, fits, &mut judge);
    let judgement = judge.finish();
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
    let is_open = |status: &Status| match status {
        Status::Kept => false,
        Status::Violated => true,
        Status::NotAnalysed(_) => !allow_not_analysed,
    };
    match () {
        () if judged.beside.iter().any(|beside| beside.is_alarm()) => Exit::Alarm,
        () if !judged.taking.refusals.is_empty() => Exit::Wrong,
        () if judged.judgement.findings.iter().any(|found| is_open(&found.status)) => Exit::Open,
        () => Exit::Shown,
    }
}
