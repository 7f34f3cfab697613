//! `plan`: a plan from a system's demands, or the reason why there is none.

use super::session::{self, Session, Wanted};
use crate::args::{ColorChoice, Format, PlanArgs};
use crate::exit::Exit;
use crate::{files, interrupt, terminal};
use anyhow::Result;
use model::System;
use planner::{Answer, Options, Outcome, Progress};
use std::ops::ControlFlow;
use std::time::{Duration, Instant};

/// What ends a search early.
#[derive(Debug)]
pub struct Limits {
    pub seed: u64,
    pub time: Option<Duration>,
}

/// How a search ended.
pub struct Searched {
    pub outcome: Outcome,
    /// The clock ended it, so that another run may give another plan.
    pub timed_out: bool,
    pub interrupted: bool,
}

pub fn run(args: &PlanArgs, color: ColorChoice) -> Result<Exit> {
    let session = session::load(&args.system, args.keep.as_ref().map_or(Wanted::NoPlan, |path| Wanted::Given(path)))?;
    session.complain(color);
    let baseline = &session.baseline;
    let Some(system) = baseline.system.as_ref().filter(|_| !baseline.has_errors()) else {
        return session.refused(args.format == Format::Json);
    };
    files::expect_writable(&args.out)?;
    let limits = Limits { seed: args.seed, time: args.time_limit.map(Duration::from_secs) };
    let searched = search(system, baseline.plan.as_deref(), &limits);
    if let Some(plan) = searched.outcome.answer.plan() {
        files::write_whole(&args.out, &plan::write_plan(plan, system))?;
    }
    terminal::print(&match args.format {
        Format::Text => text(&searched, args),
        Format::Json => json(&searched, &session, system, args),
    })?;
    Ok(exit(&searched))
}

/// Plans a system with a progress bar on a terminal; ends at the limits or at Ctrl-C with what it has.
pub fn search(system: &System, keep: Option<&plan::Plan>, limits: &Limits) -> Searched {
    let bar = terminal::progress("planning", 0, "steps");
    let begun = Instant::now();
    let (mut timed_out, mut interrupted) = (false, false);
    let mut watch = |progress: Progress| {
        bar.set_length(progress.step_limit);
        bar.set_position(progress.steps);
        interrupted = interrupt::requested();
        timed_out = limits.time.is_some_and(|limit| begun.elapsed() >= limit);
        if interrupted || timed_out { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let options = Options { seed: limits.seed, ..Options::default() };
    let outcome = interrupt::watched(|| planner::plan(system, keep, options, &mut watch));
    bar.finish_and_clear();
    Searched { outcome, timed_out, interrupted }
}

fn exit(searched: &Searched) -> Exit {
    match searched.outcome.answer {
        _ if searched.interrupted => Exit::Interrupted,
        Answer::Optimal(_) | Answer::Feasible(_) => Exit::Shown,
        Answer::Impossible(_) | Answer::GaveUp { .. } => Exit::Open,
    }
}

fn reasons(answer: &Answer) -> &[String] {
    match answer {
        Answer::Optimal(_) | Answer::Feasible(_) => &[],
        Answer::Impossible(reasons) | Answer::GaveUp { reasons, .. } => reasons,
    }
}

fn text(searched: &Searched, args: &PlanArgs) -> String {
    let answer = &searched.outcome.answer;
    let mut text = format!("{}\n", answer.words());
    for reason in reasons(answer) {
        text.push_str(&format!("  {reason}\n"));
    }
    if searched.timed_out {
        text.push_str("  The time limit ended the search; another run may find another plan.\n");
    }
    if searched.interrupted {
        text.push_str("  Interrupted: this is what was found so far; another run may find another plan.\n");
    }
    for note in &searched.outcome.notes {
        text.push_str(&format!("  {note}\n"));
    }
    if answer.plan().is_some() {
        let unfinished = if matches!(answer, Answer::GaveUp { .. }) { " (it does not keep every demand)" } else { "" };
        let (out, system) = (args.out.display(), args.system.display());
        text.push_str(&format!("The plan is {out}{unfinished}\nNext: cofferdam check {system} --plan {out}\n"));
    }
    text
}

fn json(searched: &Searched, session: &Session, system: &System, args: &PlanArgs) -> String {
    let answer = &searched.outcome.answer;
    let object = serde_json::json!({
        "schema_version": evidence::json::SCHEMA_VERSION,
        "tool_version": env!("CARGO_PKG_VERSION"),
        "exit_status": exit(searched).code(),
        "system": system.digest(),
        "answer": answer.words(),
        "reasons": reasons(answer),
        "notes": searched.outcome.notes,
        "time_limit_reached": searched.timed_out,
        "interrupted": searched.interrupted,
        "plan": answer.plan().map(|_| args.out.display().to_string()),
        "diagnostics": session.plain_diagnostics(),
    });
    format!("{object:#}\n")
}
