//! The map file: text in, [`Map`] and diagnostics out.

use super::pattern::Pattern;
use super::sections;
use super::subject::{self, Subject};
use super::{Map, Mark, Span, Thread};
use crate::event::Word;
use crate::seen::Who;
use diagnostic::codes::input::TOML_SYNTAX;
use diagnostic::codes::recording::NOBODY;
use diagnostic::codes::shape::UNKNOWN_NAME;
use diagnostic::{Diagnostic, Diagnostics, Located, Sources};
use model::System;
use model::tables::{Context, Fields, Names, nearest, read_file};
use quantity::{ChannelId, CoreId, PartitionId, TaskId};

/// Reads a map for recordings of `system` from the bytes of a file called `name`, and adds its text to `sources`.
///
/// All that is wrong is found in one run, in the order of places. The map is `None` where an error was found.
pub fn read_map(name: &str, bytes: &[u8], system: &System, sources: &mut Sources) -> (Option<Map>, Vec<Diagnostic>) {
    let mut out = Diagnostics::new();
    let fields = read_file(name, bytes, &sections::MAP_FILE, sources, &mut out);
    let broken = out.has(&TOML_SYNTAX);
    let mut cx = Context::new(out, broken);
    let map = fields.map(|fields| Reader::new(system, &mut cx).map(&fields));
    let map = map.filter(|_| !cx.has_errors());
    (map, cx.into_diagnostics().into_sorted(sources))
}

/// The keys of every section of the map file, for its documentation: head, and rows of key, value, need and meaning.
pub fn key_tables() -> Vec<(&'static str, String)> {
    sections::ALL.iter().map(|section| (section.head, section.key_table())).collect()
}

struct Reader<'a> {
    system: &'a System,
    cx: &'a mut Context,
    cores: Names,
    partitions: Names,
    channels: Names,
    tasks: Names,
}

impl<'a> Reader<'a> {
    fn new(system: &'a System, cx: &'a mut Context) -> Self {
        let labels = system.task_ids().map(|task| Located::new(system.task_label(task), system.task(task).name.span));
        let labels: Vec<_> = labels.collect();
        let mut names = |what, names: Vec<Located<String>>| Names::collect(what, names.into_iter().map(Some), cx);
        Self {
            cores: names("core", system.board.cores.iter().map(|core| core.name.clone()).collect()),
            partitions: names("partition", system.partitions.iter().map(|p| p.name.clone()).collect()),
            channels: names("channel", system.channels.iter().map(|channel| channel.name.clone()).collect()),
            tasks: names("task", labels),
            system,
            cx,
        }
    }

    fn map(&mut self, fields: &Fields) -> Map {
        Map {
            tolerance_ns: fields.time("tolerance").map(|time| time.value.ns()),
            frame_at_ns: fields.time("frame_at").map(|time| time.value.ns()),
            is_rehearsal: fields.flag("rehearsal").is_some_and(|flag| flag.value),
            sync: fields.text("sync").map(|text| Pattern::new(&text.value)),
            cpus: fields.tables("cpu").filter_map(|entry| self.cpu(entry)).collect(),
            threads: fields.tables("thread").filter_map(|entry| self.thread(entry)).collect(),
            marks: fields.tables("mark").filter_map(|entry| self.mark(entry)).collect(),
            spans: fields.tables("span").filter_map(|entry| self.span(entry)).collect(),
            flows: fields.tables("flow").filter_map(|entry| self.flow(entry)).collect(),
        }
    }

    fn cpu(&mut self, entry: &Fields) -> Option<(u16, CoreId)> {
        let core = entry.text("core").and_then(|name| self.cores.resolve(&name, CoreId::new, self.cx));
        let number = u16::try_from(entry.count("number")?.value).ok()?;
        Some((number, core?.value))
    }

    fn thread(&mut self, entry: &Fields) -> Option<Thread> {
        let task = entry.text("task").map(|name| self.tasks.resolve(&name, TaskId::new, self.cx));
        let partition = entry.text("partition").map(|name| self.partitions.resolve(&name, PartitionId::new, self.cx));
        let platform = entry.flag("platform").filter(|flag| flag.value);
        let given = usize::from(task.is_some()) + usize::from(partition.is_some()) + usize::from(platform.is_some());
        if given != 1 {
            let help = "give one of `task`, `partition` and `platform = true`";
            return self.nobody(entry, "an entry says not who a thread is, or says it twice", help);
        }
        let name = entry.text("name").map(|text| Pattern::new(&text.value));
        let id = entry.count("id").and_then(|id| u32::try_from(id.value).ok());
        if name.is_none() && id.is_none() {
            return self.nobody(entry, "an entry says not which thread it is about", "give `name`, `id` or both");
        }
        let jobs = entry.flag("jobs").filter(|flag| flag.value);
        if jobs.is_some() && task.is_none() {
            return self.nobody(
                entry,
                "jobs are those of a task, and none is given",
                "give `task`, or leave out `jobs`",
            );
        }
        let who = match (task, partition) {
            (Some(task), _) => Who::Task(task?.value),
            (_, Some(partition)) => Who::Partition(partition?.value),
            _ => Who::Platform,
        };
        Some(Thread { name, id, who, jobs: jobs.is_some() })
    }

    fn nobody<T>(&mut self, entry: &Fields, message: &str, help: &str) -> Option<T> {
        self.cx.report(Diagnostic::new(&NOBODY, entry.span, message).help(help));
        None
    }

    fn mark(&mut self, entry: &Fields) -> Option<Mark> {
        let means = Word::of(&entry.text("means")?.value)?;
        let of = match (subject::takes(means), entry.text("of")) {
            (Some(_), Some(name)) => Some(self.subject(means, &name)?),
            (Some(kind), None) if means != Word::FaultBegins => {
                let message = format!("the mark says not of which {kind} it speaks");
                return self.nobody(entry, &message, "add `of`");
            }
            _ => None,
        };
        let text = Pattern::new(&entry.text("text")?.value);
        Some(Mark { text, means, of })
    }

    fn subject(&mut self, word: Word, name: &Located<String>) -> Option<Subject> {
        let found = subject::find(self.system, word, &name.value);
        if found.is_none() {
            let kind = subject::takes(word).unwrap_or("subject");
            let message = format!("there is no {kind} `{}`", name.value);
            let known = [&self.partitions, &self.tasks, &self.channels];
            let texts = known.iter().flat_map(|names| (0..).map_while(|index| names.name(index)));
            let near = nearest(&name.value, texts).map(|near| format!("did you mean `{near}`?"));
            let help = near.unwrap_or_else(|| format!("give the name of a {kind} of the system"));
            self.cx.report(Diagnostic::new(&UNKNOWN_NAME, name.span, message).help(help));
        }
        found
    }

    fn span(&mut self, entry: &Fields) -> Option<Span> {
        let is_window = entry.word("means", &[("window", true), ("execution", false)])?.value;
        let word = if is_window { Word::WindowBegins } else { Word::Runs };
        let of = entry.text("of")?;
        let who = match self.subject(word, &of)? {
            Subject::Task(task) => Who::Task(task),
            Subject::Partition(partition) => Who::Partition(partition),
            Subject::Channel(..) | Subject::Schedule(_) => return None,
        };
        let core = match entry.text("core") {
            Some(name) => Some(self.cores.resolve(&name, CoreId::new, self.cx)?.value),
            None => None,
        };
        let track = entry.text("track").map(|text| Pattern::new(&text.value));
        Some(Span { name: Pattern::new(&entry.text("name")?.value), track, is_window, who, core })
    }

    fn flow(&mut self, entry: &Fields) -> Option<(Pattern, ChannelId)> {
        let channel = entry.text("channel").and_then(|name| self.channels.resolve(&name, ChannelId::new, self.cx));
        Some((Pattern::new(&entry.text("name")?.value), channel?.value))
    }
}
