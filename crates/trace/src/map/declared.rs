//! What a map itself declares, where there is no system yet: every partition, task, core and channel that it names.

use super::sections;
use super::subject;
use crate::event::Word;
use diagnostic::{Diagnostics, Sources};
use model::tables::{Fields, read_file};
use std::collections::{BTreeMap, BTreeSet};

/// The names in a map, as they stand there.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Declared {
    /// The core of each cpu for which the map gives one.
    pub cpus: BTreeMap<u64, String>,
    /// Cores that are named otherwise.
    pub cores: BTreeSet<String>,
    /// Partitions and tasks, the latter with a point in their name.
    pub executors: BTreeSet<String>,
    /// Channels.
    pub channels: BTreeMap<String, ChannelSaid>,
    /// Module schedules.
    pub schedules: BTreeSet<String>,
}

/// What a map says of a channel; all of it may be left out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChannelSaid {
    /// `sampling` or `queuing`.
    pub kind: Option<String>,
    /// The largest message, in bytes.
    pub bytes: Option<u64>,
    /// How many a queue holds.
    pub depth: Option<u64>,
    /// Who writes.
    pub from: Option<String>,
    /// Who reads.
    pub to: Vec<String>,
}

/// What a map declares; what is wrong with it is told when it is read against what was declared.
pub fn declared(name: &str, bytes: &[u8]) -> Declared {
    let mut declared = Declared::default();
    let (mut sources, mut out) = (Sources::new(), Diagnostics::new());
    if let Some(fields) = read_file(name, bytes, &sections::MAP_FILE, &mut sources, &mut out) {
        declared.take(&fields);
    }
    declared
}

impl Declared {
    fn take(&mut self, map: &Fields) {
        for cpu in map.tables("cpu") {
            if let (Some(number), Some(core)) = (cpu.count("number"), cpu.text("core")) {
                self.cpus.insert(number.value, core.value);
            }
        }
        for thread in map.tables("thread") {
            let named = [thread.text("task"), thread.text("partition")].into_iter().flatten();
            named.for_each(|name| self.executor(name.value));
        }
        for mark in map.tables("mark") {
            let means = mark.text("means").and_then(|word| Word::of(&word.value));
            if let (Some(word), Some(of)) = (means, mark.text("of")) {
                self.subject(word, &of.value);
            }
        }
        for span in map.tables("span") {
            span.text("of").into_iter().for_each(|of| self.executor(of.value));
            self.cores.extend(span.text("core").map(|core| core.value));
        }
        for flow in map.tables("flow") {
            flow.text("channel").into_iter().for_each(|channel| self.subject(Word::Writes, &channel.value));
        }
        map.tables("channel").for_each(|channel| self.channel(channel));
    }

    /// Whom a word is said of.
    fn subject(&mut self, word: Word, of: &str) {
        match subject::takes(word) {
            Some("channel") => {
                let name = of.split_once('>').map_or(of, |(name, _)| name).trim();
                self.channels.entry(name.to_owned()).or_default();
            }
            Some("schedule") => {
                self.schedules.insert(of.to_owned());
            }
            Some(_) => self.executor(of.to_owned()),
            None => {}
        }
    }

    fn executor(&mut self, name: String) {
        self.executors.insert(name);
    }

    fn channel(&mut self, fields: &Fields) {
        let Some(name) = fields.text("name") else { return };
        let said = ChannelSaid {
            kind: fields.words("kind"),
            bytes: fields.size("size").map(|size| size.value.get()),
            depth: fields.count("depth").map(|depth| depth.value),
            from: fields.text("from").map(|end| end.value),
            to: fields.texts("to").into_iter().map(|end| end.value).collect(),
        };
        said.from.iter().chain(&said.to).for_each(|end| self.executor(end.clone()));
        self.channels.insert(name.value, said);
    }
}
