//! `rehearse`: a plan run on this machine, and what was recorded of it judged by the checkers of recordings.

mod answer;

use super::check;
use super::judging::{Against, Heard, is_open};
use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, RehearsalProcessArgs, RehearseArgs};
use crate::exit::Exit;
use crate::{files, interrupt, terminal};
use answer::Answer;
use anyhow::{Context, Result, anyhow, bail};
use diagnostic::{Diagnostic, Sources};
use evidence::recording::{RecordingFound, Victims, compare};
use evidence::text::Style;
use model::System;
use quantity::Duration;
use rehearsal::{Asked, Means, Prepared, Recorded, measure, prepare};
use simulator::fault::{fault_text, read_fault};
use simulator::{Fault, Machine, compile};
use std::path::{Path, PathBuf};
use trace::clock::Fit;
use trace::intake::Reader;
use trace::intake::csv::CsvReader;
use trace::intake::lines::LineReader;
use trace::intake::text::SchedulerText;
use trace::map::{Map, read_map};
use trace::recording::{Source, Stream};
use trace::spans::Given;

/// The word by which this program becomes the process of a partition.
const PROCESS: &str = "rehearsal-process";
/// The files of recordings: by the stand-ins, and by the kernel with the windows that it does not know.
const OWN: &str = "recording.csv";
const WINDOWS: &str = "windows.csv";
const KERNEL: &str = "kernel.txt";
const TABLE: &str = "CSV table";
/// The longest rehearsal, in minutes.
const MOST_MINUTES: u64 = 10;

pub fn run(args: &RehearseArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.baseline.system, Wanted::given_or_named(args.baseline.plan.as_ref()))?;
    session.complain(color);
    let Some(system) = session.baseline.system.as_ref().filter(|_| !session.baseline.has_errors()) else {
        return session.refused(args.answer.format == Format::Json);
    };
    let plan = session.baseline.plan.as_ref().context("there is no plan to rehearse: name one with --plan")?;
    expect_span(args.span, system)?;
    if let Some(folder) = args.out.as_ref().filter(|folder| !matches!(files::is_free(folder), Ok(true))) {
        bail!("{} is not empty; name a folder that does not exist yet", folder.display());
    }
    let machine = compile::machine(system, plan);
    let faults = match faults(args, &machine, &session) {
        Ok(faults) => faults,
        Err((found, sources)) => return super::refuse(&found, &sources, args.answer.format, color),
    };
    let prepared = prepare(system, &machine, &faults).map_err(|why| anyhow!("{}", why.join("\n       ")))?;
    let recorded = rehearse(args, &prepared)?;
    let (map, text) = map_of(&recorded, args.tolerance, system, &session)?;
    let faulty = faults.iter().filter_map(|fault| fault.target.partition(&machine)).collect::<Vec<_>>();
    let heard = heard(&Against::by_map(system, plan, &map), &recorded, &faulty, args.shift.map(|time| time.ns()));
    let told = faults.iter().map(|fault| fault_text(fault, &machine)).collect();
    let answer = Answer::new(args, system, (&prepared, &recorded), told, &heard);
    let exit = exit_of(&recorded, &heard, args.answer.allow_not_analysed);
    let kept = args.out.as_ref().map(|folder| keep(folder, &recorded, &text, &answer.text(Style::default())));
    let kept = kept.transpose().map(Option::unwrap_or_default);
    match (args.answer.format, &kept) {
        (Format::Text, _) => terminal::print(&answer.text(check::style(color)))?,
        (Format::Json, Ok(written)) => terminal::print(&answer.json(&session, exit, written))?,
        // What is wrong is the answer then.
        (Format::Json, Err(_)) => {}
    }
    kept.map(|_| exit)
}

/// The process of a partition, and what else is not for users.
pub fn serve(args: &RehearsalProcessArgs) -> Result<Exit> {
    match args.measure {
        Some(rounds) => measured(rounds)?,
        None if args.spin => rehearsal::spin()?,
        None => rehearsal::serve()?,
    }
    Ok(Exit::Shown)
}

fn expect_span(span: Duration, system: &System) -> Result<()> {
    let most = Duration::from_ns(MOST_MINUTES * 60_000_000_000);
    let frame = system.frame.value;
    if span > most {
        bail!("--for {span} is too long: a rehearsal lasts {MOST_MINUTES} minutes at most");
    }
    if span < frame {
        bail!("--for {span} is too short: a rehearsal lasts a frame of {frame} at least");
    }
    Ok(())
}

/// The faults of the call, or all that is wrong with them.
fn faults(args: &RehearseArgs, machine: &Machine, session: &Session) -> Result<Vec<Fault>, (Vec<Diagnostic>, Sources)> {
    let mut sources: Sources = (*session.baseline.sources).clone();
    let (mut faults, mut wrong) = (Vec::new(), Vec::new());
    for text in &args.faults {
        match read_fault("--fault", text, machine, args.span.ns(), &mut sources) {
            Ok(fault) => faults.push(fault),
            Err(found) => wrong.extend(found),
        }
    }
    faults.sort_by_key(|fault| fault.at_ns);
    if wrong.is_empty() { Ok(faults) } else { Err((wrong, sources)) }
}

fn rehearse(args: &RehearseArgs, prepared: &Prepared) -> Result<Recorded> {
    let program = program()?;
    let asked = Asked {
        prepared,
        program: (&program, PROCESS),
        seed: args.seed,
        span_ns: args.span.ns(),
        stopped: &interrupt::requested,
    };
    interrupt::watched(|| rehearsal::rehearse(&asked))
}

fn program() -> Result<PathBuf> {
    std::env::current_exe().context("this program does not find itself to be started again")
}

/// What was heard of a rehearsal: by its own recording, and by the kernel's.
struct Rehearsed {
    own: RecordingFound,
    kernel: Option<RecordingFound>,
}

/// Judges what was recorded. `faulty` are the partitions that were made to fail, and nobody's victims.
fn heard(against: &Against<'_>, recorded: &Recorded, faulty: &[usize], shift_ns: Option<u64>) -> Rehearsed {
    let own = against.judge(vec![table(0, recorded.events())], vec![Fit::SAME], Given::default());
    let kernel = recorded.kernel.as_ref().ok().map(|text| {
        let lines: Box<dyn Reader> = Box::new(LineReader::new(SchedulerText, 1));
        let sources = vec![table(0, recorded.windows()), source(1, text.clone(), lines)];
        let heard = against.judge(sources, vec![Fit::SAME; 2], Given::default());
        found(heard, &[(WINDOWS, TABLE), (KERNEL, "scheduler text")], None)
    });
    let failed = own.judgement.failed.iter().enumerate();
    let faulty: Vec<bool> = failed.map(|(partition, seen)| *seen || faulty.contains(&partition)).collect();
    let victims = own.fault.map(|fault| compare(against.system, fault, &own.values, &faulty, shift_ns));
    Rehearsed { own: found(own, &[(OWN, TABLE)], victims), kernel }
}

/// What is told of a recording: bounds speak of the target, so nothing that was seen here is set beside them.
fn found(heard: Heard, sources: &[(&str, &'static str)], victims: Option<Victims>) -> RecordingFound {
    let Heard { taking, judgement, .. } = heard;
    let sources = sources.iter().map(|(name, format)| ((*name).to_owned(), *format)).collect();
    RecordingFound { sources, taking, judgement, beside: vec![], victims, measured: vec![], is_rehearsal: true }
}

fn table(number: u16, text: String) -> Box<dyn Source> {
    source(number, text, Box::new(CsvReader::new(number)))
}

fn source(number: u16, text: String, reader: Box<dyn Reader>) -> Box<dyn Source> {
    Box::new(Stream::new(number, std::io::Cursor::new(text.into_bytes()), reader))
}

/// The map of the recording, read as a user's would be, with its text.
fn map_of(recorded: &Recorded, tolerance: Duration, system: &System, session: &Session) -> Result<(Map, String)> {
    let text = recorded.map(&tolerance.to_string());
    let (map, _) = read_map("map.toml", text.as_bytes(), system, &mut (*session.baseline.sources).clone());
    Ok((map.context("the map of the recording cannot be read")?, text))
}

/// Keeps the files that `trace` reads once more, and the answer; which.
fn keep(folder: &Path, recorded: &Recorded, map: &str, answer: &str) -> Result<Vec<String>> {
    let mut texts = vec![(OWN, recorded.events()), ("map.toml", map.to_owned())];
    if let Ok(kernel) = &recorded.kernel {
        texts.extend([(WINDOWS, recorded.windows()), (KERNEL, kernel.clone())]);
    }
    texts.push(("judged.txt", answer.to_owned()));
    files::make_folder(folder)?;
    let mut written = Vec::new();
    for (name, text) in texts {
        let path = folder.join(name);
        files::write_whole(&path, &text)?;
        written.push(path.display().to_string());
    }
    terminal::complain(&format!("Kept in {}.\n", folder.display()));
    Ok(written)
}

/// What was seen above a bound on this machine contradicts nothing that is claimed of the target, so there is no alarm.
fn exit_of(recorded: &Recorded, heard: &Rehearsed, allow_not_analysed: bool) -> Exit {
    match () {
        () if recorded.interrupted => Exit::Interrupted,
        () if !heard.own.taking.refusals.is_empty() => Exit::Wrong,
        () if is_open(&heard.own.judgement.findings, allow_not_analysed) => Exit::Open,
        // The kernel's events say nothing of jobs and ports, which the own recording does.
        () if heard.kernel.as_ref().is_some_and(|kernel| is_open(&kernel.judgement.findings, true)) => Exit::Open,
        () => Exit::Shown,
    }
}

/// Says how fast processes are stopped here.
fn measured(rounds: usize) -> Result<()> {
    let program = program()?;
    for (means, name) in [(Means::Signals, "signals"), (Means::Freezer, "freezer")] {
        let text = match measure(means, &program, PROCESS, rounds) {
            Ok(latency) => format!("{name}: stop {}; go on {}\n", of_all(&latency.stop_ns), of_all(&latency.go_on_ns)),
            Err(why) => format!("{name}: cannot be had: {why:#}\n"),
        };
        terminal::print(&text)?;
    }
    Ok(())
}

/// The middle and the largest of values in order.
fn of_all(values: &[u64]) -> String {
    let time =
        |value: Option<&u64>| value.map_or_else(|| "-".to_owned(), |value| Duration::from_ns(*value).to_string());
    format!(
        "{} in the middle, {} at most, of {}",
        time(values.get(values.len() / 2)),
        time(values.last()),
        values.len()
    )
}
