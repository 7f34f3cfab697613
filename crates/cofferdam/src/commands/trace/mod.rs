//! `trace`: recordings held against plan and claims.

pub(super) mod sources;

use super::judging::{Against, Heard, is_open};
use super::map_file::MapFile;
use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, TraceArgs};
use crate::commands::check;
use crate::exit::Exit;
use crate::terminal;
use anyhow::{Context, Result};
use baseline::measured::Cut;
use evidence::json::Recorded;
use evidence::recording::{Beside, Judged};
use model::System;
use model::tables::nearest;
use plan::Plan;
use sources::Files;
use trace::judge::{Allowed, Judgement};
use trace::map::Map;
use trace::recording;
use trace::spans::Given;

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
        Err(found) => return super::refuse(&found, &sources, args.format, color),
    };
    let files = Files::find(&args.traces)?;
    let by_map = Against::by_map(system, plan, &map);
    let allowed = Allowed {
        window_ns: args.tolerance.map(|time| time.ns()).or(by_map.allowed.window_ns),
        origin_ns: args.frame_at.map(|time| time.ns()).or(by_map.allowed.origin_ns),
    };
    let fits = files.fits(&map)?;
    let faulty = faulty(args, system)?;
    let given = Given { from_ns: args.fault_from.map(|time| time.ns()), to_ns: args.fault_to.map(|time| time.ns()) };
    let Heard { taking, judgement, fault, values } = Against { allowed, ..by_map }.judge(files.open()?, fits, given);
    let faulty: Vec<bool> = faulty.iter().zip(&judgement.failed).map(|(given, seen)| *given || *seen).collect();
    let shift = args.shift.map(|time| time.ns());
    let victims = fault.map(|fault| evidence::recording::compare(system, fault, &values, &faulty, shift));
    let measured =
        if args.samples { evidence::recording::measured(system, &values, &judgement.findings) } else { Vec::new() };
    let verdicts = baseline::verdicts(system, plan);
    let beside = baseline::measured::beside(system, &judgement, &verdicts);
    let judged = Judged {
        system,
        sources: files.told(),
        taking: &taking,
        judgement: &judgement,
        beside: &beside,
        victims: victims.as_ref(),
        measured: &measured,
    };
    for alarm in beside.iter().filter(|beside| beside.is_alarm()) {
        tell_alarm(alarm, (system, plan), &map, &files, &judgement)?;
    }
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

/// Says what was seen above its bound, with the jobs around it cut out of the recording for replay.
fn tell_alarm(
    alarm: &Beside,
    (system, plan): (&System, &Plan),
    map: &Map,
    files: &Files,
    judgement: &Judgement,
) -> Result<()> {
    let (claim, seen, bound) = (&alarm.claim, alarm.seen, alarm.bound.unwrap_or_default());
    let unit = alarm.unit.key();
    let head = format!("internal alarm: {claim} was seen at {seen} {unit}, above its bound {bound} {unit}");
    let Some(mut cut) = Cut::of(system, alarm) else {
        terminal::complain(&format!("{head}\n"));
        return Ok(());
    };
    recording::take(system, map, files.open()?, files.fits(map)?, &mut cut);
    let scenario = cut.scenario(system, plan, judgement.origin_ns.unwrap_or(0));
    terminal::complain(&format!(
        "{head}; this scenario file holds the recorded jobs around it, for `cofferdam simulate --scenario`:\n\n{scenario}\n"
    ));
    Ok(())
}

/// The partitions that the call says to fail; a name that none has is refused.
fn faulty(args: &TraceArgs, system: &System) -> Result<Vec<bool>> {
    let mut faulty = vec![false; system.partitions.len()];
    for name in &args.faulty {
        let found = system.partition_named(name).with_context(|| {
            let names = system.partitions.iter().map(|partition| partition.name.value.as_str());
            let near = nearest(name, names).map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
            format!("there is no partition `{name}`{near}")
        })?;
        faulty[found.index()] = true;
    }
    Ok(faulty)
}
