//! A [`Scenario`] becomes the file that [`read_scenario`](super::read_scenario) reads as the same scenario.

use super::ask;
use super::sections::{BEGINS, CONTENTIONS, SPREADS};
use super::{Fault, declared::Unit};
use crate::machine::Machine;
use crate::protection::Protection;
use crate::scenario::{Contention, Drawn, GivenJob, Scenario, Times};
use quantity::Duration;
use std::fmt::Write as _;

/// The file of a scenario. Names are free of quotes and backslashes, and so need no escaping.
pub fn write_scenario(scenario: &Scenario, machine: &Machine) -> String {
    let off = Protection::ALL.into_iter().filter(|one| !scenario.protections.has(*one));
    let off: Vec<_> = off.map(|one| format!("\"{}\"", one.key())).collect();
    let mut text = String::new();
    if !off.is_empty() {
        text += &format!("off = [{}]\n\n", off.join(", "));
    }
    text += &run(scenario, machine);
    scenario.faults.iter().for_each(|one| text += &fault(one, machine));
    for (at_ns, to) in &scenario.changes {
        text += &format!("\n[[change]]\nat = {}\nto = \"{}\"\n", time(*at_ns), schedule(machine, *to));
    }
    if let Times::Given(jobs) = &scenario.times {
        jobs.iter().for_each(|one| text += &job(one, machine));
    }
    text
}

fn run(scenario: &Scenario, machine: &Machine) -> String {
    let mut text = format!(
        "[run]\nspan = {}\nseed = {}\nrun = {}\nbegin = \"{}\"\nschedule = \"{}\"\n",
        time(scenario.span_ns),
        number(scenario.seed),
        number(scenario.run),
        word(&BEGINS, scenario.begin),
        schedule(machine, scenario.schedule),
    );
    match &scenario.times {
        Times::Given(_) => text += "times = \"given\"\n",
        Times::Drawn(drawn) => spreads(drawn, &mut text),
    }
    if scenario.contention != Contention::default() {
        // Writing to a text cannot fail.
        let _ = writeln!(text, "contention = \"{}\"", word(&CONTENTIONS, scenario.contention));
    }
    text
}

fn spreads(drawn: &Drawn, text: &mut String) {
    let all = [
        ("execution", drawn.executions),
        ("phases", drawn.phases),
        ("jitters", drawn.jitters),
        ("blocking", drawn.blocking),
    ];
    for (key, spread) in all {
        // Writing to a text cannot fail.
        let _ = writeln!(text, "{key} = \"{}\"", word(&SPREADS, spread));
    }
}

fn fault(fault: &Fault, machine: &Machine) -> String {
    let (kind, values) = fault.kind.declared();
    let target = ask::target_text(fault.target, kind, machine);
    let given = kind.parameters.iter().zip(values).filter_map(|(parameter, value)| {
        let text = parameter.unit.text(value?);
        let text = if parameter.unit == Unit::Count { text } else { format!("\"{text}\"") };
        Some(format!("{} = {text}", parameter.name))
    });
    let given: Vec<_> = given.collect();
    let mut text =
        format!("\n[[fault]]\nkind = \"{}\"\ntarget = \"{target}\"\nat = {}\n", kind.word, time(fault.at_ns));
    if !given.is_empty() {
        text += &format!("parameters = {{ {} }}\n", given.join(", "));
    }
    text
}

fn job(job: &GivenJob, machine: &Machine) -> String {
    let task = machine.tasks.get(job.task).map_or("", |task| task.label.as_str());
    let mut text = format!("\n[[job]]\ntask = \"{task}\"\narrival = {}\n", time(job.arrival_ns));
    if job.release_ns != job.arrival_ns {
        text += &format!("release = {}\n", time(job.release_ns));
    }
    text += &format!("execution = {}\n", time(job.execution_ns));
    if job.goes_on_ns > 0 {
        text += &format!("goes_on = {}\n", time(job.goes_on_ns));
    }
    text
}

fn time(ns: u64) -> String {
    format!("\"{}\"", Duration::from_ns(ns))
}

fn number(value: u64) -> String {
    if value <= quantity::LIMIT { value.to_string() } else { format!("\"{value}\"") }
}

fn word<T: PartialEq>(words: &[(&'static str, T)], meaning: T) -> &'static str {
    words.iter().find(|(_, known)| *known == meaning).map_or("", |(word, _)| word)
}

fn schedule(machine: &Machine, index: usize) -> &str {
    machine.schedules.get(index).map_or("", |schedule| schedule.name.as_str())
}
