//! A run in the open Trace Event JSON format, which general-purpose viewers of traces draw.
//!
//! The fields used are from memory of the format's public description; `docs/timeline.md` lists them.

use crate::run::{Told, event_words, stall_words};
use simulator::What;
use simulator::timeline::{Doing, Stretch};
use std::fmt::Write as _;

/// The groups of tracks.
const CORES: u32 = 1;
const STALLS: u32 = 2;
const TASKS: u32 = 3;
const HAPPENINGS: u32 = 4;

/// The part of a run as one JSON object with a final line break.
pub fn trace_event(told: &Told<'_>) -> String {
    let mut out = Out::default();
    name_tracks(&mut out, told);
    for (core, line) in told.timeline.cores.iter().enumerate() {
        for served in &line.served {
            out.span(CORES, core, "window", &told.lane(served.lane), (served.from_ns, served.to_ns), "");
            let head = (served.from_ns, served.from_ns.saturating_add(served.head_ns));
            if served.head_ns > 0 {
                out.span(CORES, core, "head", "head", head, "");
            }
        }
        line.stretches.iter().for_each(|stretch| out.stretch(told, core, stretch));
    }
    told.timeline.events.iter().for_each(|event| out.event(told, event.at_ns, event.what));
    out.finish(told)
}

fn name_tracks(out: &mut Out, told: &Told<'_>) {
    let cores: Vec<&str> = told.machine.cores.iter().map(|core| core.name.as_str()).collect();
    let tasks: Vec<&str> = told.machine.tasks.iter().map(|task| task.label.as_str()).collect();
    let core_tracks: Vec<String> = cores.iter().map(|name| format!("core {name}")).collect();
    for (pid, title, tracks) in [
        (CORES, "cores", core_tracks.clone()),
        (STALLS, "cores that stand still", core_tracks),
        (TASKS, "tasks", tasks.into_iter().map(str::to_owned).collect()),
        (HAPPENINGS, "faults, starts, messages", vec!["all".to_owned()]),
    ] {
        out.meta(pid, 0, "process_name", title);
        tracks.iter().enumerate().for_each(|(tid, track)| out.meta(pid, tid, "thread_name", track));
    }
}

/// The list under construction.
#[derive(Default)]
struct Out {
    text: String,
}

impl Out {
    fn entry(&mut self, entry: &str) {
        self.text.push_str(if self.text.is_empty() { "\n" } else { ",\n" });
        self.text.push_str(entry);
    }

    fn meta(&mut self, pid: u32, tid: usize, name: &str, value: &str) {
        let value = quoted(value);
        self.entry(&format!(r#"{{"ph":"M","pid":{pid},"tid":{tid},"name":"{name}","args":{{"name":{value}}}}}"#));
    }

    /// A complete event: something that lasts.
    fn span(&mut self, pid: u32, tid: usize, category: &str, name: &str, (from, to): (u64, u64), args: &str) {
        let (ts, dur, name) = (micros(from), micros(to.saturating_sub(from)), quoted(name));
        let args = if args.is_empty() { String::new() } else { format!(r#","args":{{{args}}}"#) };
        self.entry(&format!(
            r#"{{"ph":"X","pid":{pid},"tid":{tid},"cat":"{category}","name":{name},"ts":{ts},"dur":{dur}{args}}}"#
        ));
    }

    /// An instant event.
    fn instant(&mut self, pid: u32, tid: usize, category: &str, name: &str, at: u64) {
        let (ts, name) = (micros(at), quoted(name));
        self.entry(&format!(
            r#"{{"ph":"i","s":"t","pid":{pid},"tid":{tid},"cat":"{category}","name":{name},"ts":{ts}}}"#
        ));
    }

    fn stretch(&mut self, told: &Told<'_>, core: usize, stretch: &Stretch) {
        let span = (stretch.from_ns, stretch.to_ns);
        match stretch.doing {
            Doing::Job { task, job } => {
                let args = format!(r#""job":{job}"#);
                self.span(CORES, core, "job", told.task(task), span, &args);
                self.span(TASKS, task, "executes", told.task(task), span, &args);
            }
            Doing::Initialises { partition } => {
                let name = format!("{} initialises", told.partition(partition));
                self.span(CORES, core, "initialises", &name, span, "");
            }
            Doing::Stalls(why) => self.span(STALLS, core, "stall", stall_words(why), span, ""),
        }
    }

    fn event(&mut self, told: &Told<'_>, at: u64, what: What) {
        let words = event_words(what, told.machine, told.scenario);
        match what {
            What::Arrives { task, .. } => self.instant(TASKS, task, "arrival", &words, at),
            What::Released { task, .. } => self.instant(TASKS, task, "release", &words, at),
            What::Completes { task, .. } => self.instant(TASKS, task, "completion", &words, at),
            What::Misses { task, .. } => self.instant(TASKS, task, "miss", &words, at),
            What::Dropped { task, .. } => self.instant(TASKS, task, "drop", &words, at),
            What::Writes { .. } | What::Reads { .. } | What::Lost { .. } | What::Forwarded { .. } => {
                self.instant(HAPPENINGS, 0, "message", &words, at);
            }
            What::FaultBegins { .. } | What::FaultEnds { .. } => self.instant(HAPPENINGS, 0, "fault", &words, at),
            _ => self.instant(HAPPENINGS, 0, "start", &words, at),
        }
    }

    fn finish(self, told: &Told<'_>) -> String {
        let line = told.timeline;
        let mut text = format!("{{\"displayTimeUnit\":\"ns\",\"traceEvents\":[{}\n],\"otherData\":{{", self.text);
        // Writing to a text cannot fail.
        let _ = write!(
            text,
            r#""caution":{},"from_ns":{},"to_ns":{},"left_out":{}}}}}"#,
            quoted(crate::run::CAUTION),
            line.from_ns,
            line.to_ns,
            line.left_out
        );
        text.push('\n');
        text
    }
}

/// Nanoseconds as a JSON number of microseconds, exactly.
fn micros(ns: u64) -> String {
    let (whole, rest) = (ns / 1_000, ns % 1_000);
    if rest == 0 { whole.to_string() } else { format!("{whole}.{rest:03}").trim_end_matches('0').to_owned() }
}

fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn microseconds_keep_every_nanosecond() {
        assert_eq!([0, 1, 1_000, 1_050, 12_345_678].map(micros), ["0", "0.001", "1", "1.05", "12345.678"]);
    }
}
