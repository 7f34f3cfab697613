//! What `draft` says of what it wrote: what was measured, what was left out, and what stayed unknown.

use crate::exit::Exit;
use evidence::json::SCHEMA_VERSION;
use evidence::recording::{matter_words, place_words};
use quantity::Duration;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;
use trace::draft::{Draft, Marks, Measures, Names, Rhythm};
use trace::recording::Taking;

/// So many names are listed in a row.
const MOST_LISTED: usize = 12;

/// A draft with what it was made from.
pub struct Drafted<'a> {
    pub names: &'a Names,
    pub measures: &'a Measures,
    pub taking: &'a Taking,
    pub draft: &'a Draft,
    /// The name and format of each recording.
    pub sources: &'a [(String, &'static str)],
}

impl Drafted<'_> {
    /// For people.
    pub fn text(&self, out: &Path) -> String {
        let mut text = format!("Wrote {0}/system.toml, {0}/plan.toml and {0}/measured.csv.\n", out.display());
        let [partitions, tasks, channels] = self.draft.declared;
        let of = |(declared, found): (usize, usize)| format!("{declared} of {found}");
        text += &format!(
            "Declared: {} partitions, {} tasks, {} channels; the others stand there as comments.\n\nRecordings\n",
            of(partitions),
            of(tasks),
            of(channels)
        );
        self.recordings(&mut text);
        self.tasks(&mut text);
        text += "\nUnknown, and what each decides\n";
        self.unknown(&mut text);
        text += &format!(
            "\nCaution: what was measured holds for what was recorded. The highest execution time seen is no WCET, and a draft is \
             no evidence.\nNext: complete {0}/system.toml, then cofferdam check {0}\n",
            out.display()
        );
        text
    }

    fn recordings(&self, text: &mut String) {
        for (index, (name, format)) in self.sources.iter().enumerate() {
            let events = self.taking.events.get(index).copied().unwrap_or_default();
            *text += &format!("  {name}: {format}, {events} events\n");
            for found in self.matters(index) {
                *text += &format!("    {found}\n");
            }
            let left_out = self.taking.unmapped.get(index).map(Vec::as_slice).unwrap_or_default();
            if !left_out.is_empty() {
                let names: Vec<String> =
                    left_out.iter().map(|one| format!("{} {} ({})", one.kind, one.name, one.events)).collect();
                *text += &format!("    left out, as nobody maps it, with its events: {}\n", some_of(&names));
            }
        }
        for refusal in &self.taking.refusals {
            let place = place_words(refusal.place, self.sources);
            *text += &format!("  not read on from {place}: {}; {}\n", refusal.why, refusal.remedy);
        }
    }

    /// What stayed unknown: of which things the same, in one line.
    fn unknown(&self, text: &mut String) {
        let mut told: Vec<(Vec<&str>, &str, &str)> = Vec::new();
        for unknown in &self.draft.unknown {
            let same = told.iter_mut().find(|(_, what, decides)| *what == unknown.what && *decides == unknown.decides);
            match same {
                Some((of, ..)) => of.push(&unknown.of),
                None => told.push((vec![&unknown.of], &unknown.what, unknown.decides)),
            }
        }
        for (of, what, decides) in told {
            *text += &format!("  {}: {what}; decides {decides}\n", some_of(&of));
        }
    }

    fn matters(&self, index: usize) -> impl Iterator<Item = String> {
        let mine = self.taking.matters.iter().filter(move |matter| usize::from(matter.source) == index);
        mine.map(move |found| {
            let words = matter_words(found.matter, found.count, self.taking.names.get(index));
            format!("{words}; first at {}", place_words(found.first, self.sources))
        })
    }

    fn tasks(&self, text: &mut String) {
        let system = &self.names.system;
        let labels: Vec<String> = system.task_ids().map(|id| system.task_label(id)).collect();
        let width = labels.iter().map(|label| label.chars().count()).max().unwrap_or_default();
        if !labels.is_empty() {
            *text += "\nTasks: arrivals; execution, response, each the highest seen with its samples\n";
        }
        for (label, measured) in labels.iter().zip(&self.measures.tasks) {
            let rhythm = match measured.arrivals.rhythm() {
                Rhythm::Periodic { period_ns, jitter_ns, steps, .. } => {
                    format!("every {}, jitter {} ({steps})", time(period_ns), time(jitter_ns))
                }
                Rhythm::Sporadic { least_ns, steps } => format!("no sooner than {} ({steps})", time(least_ns)),
                Rhythm::Bursts => "several at one instant".to_owned(),
                Rhythm::TooFew { steps } => format!("too few to tell ({steps})"),
            };
            let (execution, response) = (mark(measured.execution), mark(measured.response));
            writeln!(text, "  {label:width$}  {rhythm}; {execution}, {response}")
                .expect("a text takes all that is written");
        }
    }

    /// For programs.
    pub fn json(&self, out: &Path, exit: Exit) -> String {
        let [partitions, tasks, channels] = self.draft.declared;
        let of = |(declared, found): (usize, usize)| json!({ "declared": declared, "found": found });
        let unknown = self.draft.unknown.iter();
        let written = ["system.toml", "plan.toml", "measured.csv"].map(|name| format!("{}/{name}", out.display()));
        let answer = json!({
            "schema_version": SCHEMA_VERSION,
            "tool_version": env!("CARGO_PKG_VERSION"),
            "exit_status": exit.code(),
            "written": written,
            "partitions": of(partitions),
            "channels": of(channels),
            "tasks": of(tasks),
            "measured": self.measured(),
            "gaps": self.measures.gaps,
            "recordings": (0..self.sources.len()).map(|index| self.recording(index)).collect::<Vec<_>>(),
            "unknown": unknown.map(|one| json!({ "of": one.of, "what": one.what, "decides": one.decides })).collect::<Vec<_>>(),
            "diagnostics": [],
        });
        format!("{answer:#}\n")
    }

    fn measured(&self) -> Vec<Value> {
        let system = &self.names.system;
        let tasks = system.task_ids().zip(&self.measures.tasks);
        let one = |(id, measured): (_, &trace::draft::OfTask)| {
            let (period, jitter, least, steps) = match measured.arrivals.rhythm() {
                Rhythm::Periodic { period_ns, jitter_ns, steps, .. } => (Some(period_ns), Some(jitter_ns), None, steps),
                Rhythm::Sporadic { least_ns, steps } => (None, None, Some(least_ns), steps),
                Rhythm::Bursts => (None, None, Some(0), measured.arrivals.curve.steps(1).samples),
                Rhythm::TooFew { steps } => (None, None, None, steps),
            };
            json!({
                "task": system.task_label(id),
                "period_ns": period, "jitter_ns": jitter, "least_interarrival_ns": least, "steps": steps,
                "execution": marks(measured.execution), "response": marks(measured.response),
            })
        };
        tasks.map(one).collect()
    }

    fn recording(&self, index: usize) -> Value {
        let (name, format) = &self.sources[index];
        let left_out = self.taking.unmapped.get(index).map(Vec::as_slice).unwrap_or_default().iter();
        let refused = self.taking.refusals.iter().find(|refusal| usize::from(refusal.place.source) == index);
        json!({
            "name": name,
            "format": format,
            "events": self.taking.events.get(index),
            "matters": self.matters(index).collect::<Vec<_>>(),
            "left_out": left_out.map(|one| json!({ "kind": one.kind, "name": one.name, "events": one.events })).collect::<Vec<_>>(),
            "refused": refused.map(|refusal| json!({ "why": refusal.why, "remedy": refusal.remedy })),
        })
    }
}

/// The first of many.
fn some_of(names: &[impl AsRef<str>]) -> String {
    let shown: Vec<&str> = names.iter().take(MOST_LISTED).map(AsRef::as_ref).collect();
    let more = names.len() - shown.len();
    let more = if more > 0 { format!(", and {more} more") } else { String::new() };
    format!("{}{more}", shown.join(", "))
}

fn time(ns: u64) -> String {
    Duration::from_ns(ns).to_string()
}

fn mark(marks: Marks) -> String {
    marks.most().map_or_else(|| "not seen".to_owned(), |most| format!("{} ({})", time(most), marks.samples))
}

fn marks(marks: Marks) -> Value {
    let (least, most) = marks.range().unzip();
    json!({ "least_ns": least, "most_ns": most, "samples": marks.samples, "sum_ns": marks.sum })
}
