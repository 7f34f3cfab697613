//! What `trace`, `report` and `rehearse` share: recordings are held against system, plan and map.

use super::map_file::MapFile;
use super::session::Session;
use super::trace::sources::Files;
use crate::args::JudgingArgs;
use crate::exit::Exit;
use crate::terminal;
use anyhow::{Context, Result};
use baseline::measured::Cut;
use claim::Verdict;
use diagnostic::{Diagnostic, Sources};
use evidence::recording::{Beside, Judged, RecordingFound};
use model::System;
use model::tables::nearest;
use plan::Plan;
use std::path::PathBuf;
use trace::clock::Fit;
use trace::judge::{Allowed, Finding, Judge, Judgement, Status};
use trace::map::Map;
use trace::rebuilt::Both;
use trace::recording::{self, Source, Taking};
use trace::spans::{Given, Measure, Spans, Values};

/// What came of the recordings of a call, or what is wrong with its map.
pub enum Found {
    Judged(Box<RecordingFound>),
    WrongMap(Vec<Diagnostic>, Box<Sources>),
}

/// Judges the recordings of a call, and says what was seen above a bound, as `claims` has it. `samples`: measured times are told as samples too.
pub fn recordings(
    args: &JudgingArgs,
    paths: &[PathBuf],
    (system, plan, claims): (&System, &Plan, &[Verdict]),
    session: &Session,
    samples: bool,
) -> Result<Found> {
    let mut sources = (*session.baseline.sources).clone();
    let map = match MapFile::read(args.map.as_deref(), &mut sources).and_then(|map| map.resolve(system, &mut sources)) {
        Ok(map) => map,
        Err(wrong) => return Ok(Found::WrongMap(wrong, Box::new(sources))),
    };
    let files = Files::find(paths)?;
    let by_map = Against::by_map(system, plan, &map);
    let allowed = Allowed {
        window_ns: args.tolerance.map(|time| time.ns()).or(by_map.allowed.window_ns),
        origin_ns: args.frame_at.map(|time| time.ns()).or(by_map.allowed.origin_ns),
    };
    let fits = files.fits(&map)?;
    let faulty = faulty(&args.faulty, system)?;
    let given = Given { from_ns: args.fault_from.map(|time| time.ns()), to_ns: args.fault_to.map(|time| time.ns()) };
    let Heard { taking, judgement, fault, values } = Against { allowed, ..by_map }.judge(files.open()?, fits, given);
    let faulty: Vec<bool> = faulty.iter().zip(&judgement.failed).map(|(given, seen)| *given || *seen).collect();
    let shift = args.shift.map(|time| time.ns());
    let victims = fault.map(|fault| evidence::recording::compare(system, fault, &values, &faulty, shift));
    let measured =
        if samples { evidence::recording::measured(system, &values, &judgement.findings) } else { Vec::new() };
    // Bounds speak of the target, so nothing that was seen elsewhere is set beside them.
    let beside = if map.is_rehearsal { Vec::new() } else { baseline::measured::beside(system, &judgement, claims) };
    for alarm in beside.iter().filter(|beside| beside.is_alarm()) {
        tell_alarm(alarm, (system, plan), &map, &files, &judgement)?;
    }
    let sources = files.told().to_vec();
    let is_rehearsal = map.is_rehearsal;
    let found = RecordingFound { sources, taking, judgement, beside, victims, measured, is_rehearsal };
    Ok(Found::Judged(Box::new(found)))
}

/// The exit status that recordings call for.
pub fn exit_of(judged: &Judged<'_>, allow_not_analysed: bool) -> Exit {
    match () {
        () if judged.found.beside.iter().any(Beside::is_alarm) => Exit::Alarm,
        () if !judged.found.taking.refusals.is_empty() => Exit::Wrong,
        () if is_silent(&judged.found.judgement.findings) => Exit::Open,
        () if is_open(&judged.found.judgement.findings, allow_not_analysed) => Exit::Open,
        () => Exit::Shown,
    }
}

/// What recordings are held against.
#[derive(Clone, Copy)]
pub struct Against<'a> {
    pub system: &'a System,
    pub plan: &'a Plan,
    pub map: &'a Map,
    pub allowed: Allowed,
}

impl<'a> Against<'a> {
    /// The same with what the map alone allows.
    pub fn by_map(system: &'a System, plan: &'a Plan, map: &'a Map) -> Self {
        let allowed = Allowed { window_ns: map.tolerance_ns, origin_ns: map.frame_at_ns };
        Self { system, plan, map, allowed }
    }

    /// Takes a recording in, judges it, and measures around its faults, all in one reading.
    pub fn judge(&self, sources: Vec<Box<dyn Source>>, fits: Vec<Fit>, given: Given) -> Heard {
        let mut judge = Judge::new(self.system, self.plan, self.allowed);
        let mut spans = Spans::new(self.system, given);
        let taking = recording::take(self.system, self.map, sources, fits, &mut Both(&mut judge, &mut spans));
        Heard { taking, judgement: judge.finish(), fault: spans.fault_ns(), values: spans.finish() }
    }
}

/// What was heard of a recording.
pub struct Heard {
    pub taking: Taking,
    pub judgement: Judgement,
    /// When the fault began and ended, as given or recorded.
    pub fault: Option<(u64, Option<u64>)>,
    /// What was measured before it, while it lasted, and after it.
    pub values: Vec<(Measure, Values)>,
}

/// Whether a recording says nothing of any rule: then nothing is to be let pass.
pub(super) fn is_silent(findings: &[Finding]) -> bool {
    findings.iter().all(|found| matches!(found.status, Status::NotAnalysed(_)))
}

/// Whether some rule was not seen to be kept.
pub fn is_open(findings: &[Finding], allow_not_analysed: bool) -> bool {
    findings.iter().any(|found| match found.status {
        Status::Kept => false,
        Status::NotShown(_) | Status::Violated => true,
        Status::NotAnalysed(_) => !allow_not_analysed,
    })
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
fn faulty(names: &[String], system: &System) -> Result<Vec<bool>> {
    let mut faulty = vec![false; system.partitions.len()];
    for name in names {
        let found = system.partition_named(name).with_context(|| {
            let known = system.partitions.iter().map(|partition| partition.name.value.as_str());
            let near = nearest(name, known).map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
            format!("there is no partition `{name}`{near}")
        })?;
        faulty[found.index()] = true;
    }
    Ok(faulty)
}
