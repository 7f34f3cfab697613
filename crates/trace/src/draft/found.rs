//! The first pass: which partitions, tasks, cores, channels and schedules there are, by the map and by what is said in the
//! plan's own words.

use crate::event::{Event, What, Word};
use crate::intake::Found as Block;
use crate::map::subject::takes;
use crate::map::{ChannelSaid, Declared};
use crate::names::{Name, Names};
use crate::recording::Source;
use std::collections::{BTreeMap, BTreeSet};

/// The longest name of a system.
const LONGEST_NAME: usize = 100;

/// A channel as it was found.
#[derive(Debug, Clone, Default)]
pub(super) struct ChannelFound {
    /// What the map says.
    pub said: ChannelSaid,
    /// How many receivers are counted.
    pub counted: usize,
    /// Receivers that are named.
    pub named: BTreeSet<String>,
}

/// Everything that has a name.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    /// Cpus whose core the map does not name.
    pub cpus: BTreeSet<u16>,
    pub cores: BTreeSet<String>,
    /// Partitions with their tasks.
    pub partitions: BTreeMap<String, BTreeSet<String>>,
    pub channels: BTreeMap<String, ChannelFound>,
    pub schedules: BTreeSet<String>,
    /// The longest time from the first to the last event of a source.
    pub length_ns: u64,
    mapped_cpus: BTreeSet<u16>,
}

impl Found {
    /// What a map declares.
    pub(super) fn new(declared: Declared) -> Self {
        let mapped_cpus = declared.cpus.keys().filter_map(|cpu| u16::try_from(*cpu).ok()).collect();
        let cores = declared.cpus.into_values().chain(declared.cores).filter(|name| is_name(name)).collect();
        let schedules = declared.schedules.into_iter().filter(|name| is_name(name)).collect();
        let mut found = Self { mapped_cpus, cores, schedules, ..Self::default() };
        declared.executors.iter().for_each(|name| found.executor(name));
        for (name, said) in declared.channels.into_iter().filter(|(name, _)| is_name(name)) {
            found.channels.insert(name, ChannelFound { said, ..ChannelFound::default() });
        }
        found
    }

    /// Reads a source through, as far as it can be read.
    pub(super) fn read(&mut self, source: &mut dyn Source) {
        let mut block = Block::default();
        let mut heard = BTreeSet::new();
        let mut span: Option<(u64, u64)> = None;
        loop {
            let more = source.read(&mut block);
            let Block { events, names, .. } = &mut block;
            for event in events.drain(..) {
                let (first, last) = span.unwrap_or((event.at_ns, event.at_ns));
                span = Some((first.min(event.at_ns), last.max(event.at_ns)));
                self.event(&event, names, &mut heard);
            }
            block.notes.clear();
            if !more.unwrap_or(false) {
                let length = span.map_or(0, |(first, last)| last - first);
                self.length_ns = self.length_ns.max(length);
                return;
            }
        }
    }

    fn event(&mut self, event: &Event, names: &Names, heard: &mut BTreeSet<(Word, Name)>) {
        let is_on_core = match event.what {
            What::Switch { .. } => true,
            What::Told { word, who, .. } => {
                if heard.insert((word, who)) {
                    self.told(word, &names.get(who).text);
                }
                matches!(word, Word::WindowBegins | Word::WindowEnds | Word::Runs | Word::Idles)
            }
            _ => false,
        };
        if let Some(cpu) = event.cpu.number().filter(|cpu| is_on_core && !self.mapped_cpus.contains(cpu)) {
            self.cpus.insert(cpu);
        }
    }

    fn told(&mut self, word: Word, who: &str) {
        match takes(word) {
            Some("channel") => self.channel(who),
            Some("schedule") if is_name(who) => {
                self.schedules.insert(who.to_owned());
            }
            Some("partition") if is_name(who) => {
                self.partitions.entry(who.to_owned()).or_default();
            }
            Some("task") if who.contains('.') => self.executor(who),
            Some("partition or task") => self.executor(who),
            _ => {}
        }
    }

    /// A partition, or a task of one.
    fn executor(&mut self, name: &str) {
        match name.split_once('.') {
            Some((partition, task)) if is_name(partition) && is_name(task) => {
                self.partitions.entry(partition.to_owned()).or_default().insert(task.to_owned());
            }
            None if is_name(name) => {
                self.partitions.entry(name.to_owned()).or_default();
            }
            _ => {}
        }
    }

    /// `CHANNEL`, or `CHANNEL > RECEIVER`: a number from 1, or a name.
    fn channel(&mut self, text: &str) {
        const MOST_RECEIVERS: usize = 1000;
        let (name, receiver) = text.split_once('>').map_or((text, None), |(name, rest)| (name, Some(rest.trim())));
        let name = name.trim();
        if !is_name(name) {
            return;
        }
        let found = self.channels.entry(name.to_owned()).or_default();
        match receiver.map(|receiver| (receiver, receiver.parse::<usize>())) {
            None => found.counted = found.counted.max(1),
            Some((_, Ok(number))) if number <= MOST_RECEIVERS => found.counted = found.counted.max(number),
            Some((receiver, _)) => {
                found.named.insert(receiver.to_owned());
                self.executor(receiver);
            }
        }
    }

    /// Whether something is named that executes.
    pub(super) fn is_empty(&self) -> bool {
        self.partitions.is_empty()
    }

    /// Whether a partition or task of that name was found.
    pub(super) fn has_executor(&self, name: &str) -> bool {
        match name.split_once('.') {
            Some((partition, task)) => self.partitions.get(partition).is_some_and(|tasks| tasks.contains(task)),
            None => self.partitions.contains_key(name),
        }
    }
}

/// Whether a system file can hold the name: see its documentation.
fn is_name(text: &str) -> bool {
    let is_odd = |c: char| c.is_control() || "./;:@\"`".contains(c);
    !text.is_empty() && text.trim() == text && text.chars().count() <= LONGEST_NAME && !text.contains(is_odd)
}
