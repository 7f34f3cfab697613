//! What a rehearsal recorded, as the files that the trace checkers read.

use crate::dispatcher::THREAD;
use crate::orders::Subject;
use crate::record::Entry;
use std::fmt::Write as _;
use trace::event::Word;
use trace::table;

/// What was recorded.
#[derive(Debug, Clone)]
pub struct Recorded {
    pub(crate) names: Vec<String>,
    /// The names of the cores that were rehearsed.
    pub(crate) cores: Vec<String>,
    /// The cpu that stood for each, where none stood for several.
    pub(crate) cpus: Option<Vec<usize>>,
    /// The threads' names, with their partitions.
    pub(crate) threads: Vec<(String, Subject)>,
    /// By instant.
    pub(crate) entries: Vec<Entry>,
    /// The kernel's scheduler events as text, or why there are none.
    pub kernel: Result<String, String>,
    /// What this machine could not keep, a sentence each.
    pub remarks: Vec<String>,
    /// Whether it was ended before its time.
    pub interrupted: bool,
}

impl Recorded {
    /// The table of all events.
    pub fn events(&self) -> String {
        self.table(|_| true)
    }

    /// The table of windows alone, beside which the kernel's own events are read.
    pub fn windows(&self) -> String {
        let told = [Word::Frame, Word::WindowBegins, Word::WindowEnds, Word::FaultBegins, Word::FaultEnds];
        self.table(|entry| entry.word.is_none_or(|word| told.contains(&word)))
    }

    fn table(&self, wanted: impl Fn(&Entry) -> bool) -> String {
        let mut text = table::HEAD.to_owned();
        for entry in self.entries.iter().filter(|entry| wanted(entry)) {
            let who = entry.who.map_or("", |who| self.name(who));
            let core = entry.core.map(|core| self.number(core));
            match entry.word {
                Some(word) => table::line(&mut text, entry.at_ns, core, word, who, entry.number),
                None => table::lost(&mut text, entry.at_ns),
            }
        }
        text
    }

    fn name(&self, who: Subject) -> &str {
        self.names.get(who.0 as usize).map_or("?", String::as_str)
    }

    /// The number of a core in the tables: its cpu's, since the kernel numbers by these, or where a cpu stands for several, its
    /// own name or place.
    fn number(&self, core: u16) -> u64 {
        let index = usize::from(core);
        let cpu = self.cpus.as_ref().and_then(|cpus| cpus.get(index)).map(|cpu| *cpu as u64);
        let named = || self.cores.get(index).and_then(|name| name.parse::<u16>().ok()).map(u64::from);
        cpu.or_else(named).unwrap_or(u64::from(core))
    }

    /// The map by which both are read; windows may be off by so much.
    pub fn map(&self, tolerance: &str) -> String {
        let mut text = format!("tolerance = {}\nrehearsal = true\n", quoted(tolerance));
        for (cpu, core) in self.cpus.iter().flatten().zip(&self.cores) {
            let _ = write!(text, "\n[[cpu]]\nnumber = {cpu}\ncore = {}\n", quoted(core));
        }
        for (thread, partition) in &self.threads {
            let partition = quoted(self.name(*partition));
            let _ = write!(text, "\n[[thread]]\nname = {}\npartition = {partition}\n", quoted(thread));
        }
        let _ = write!(text, "\n[[thread]]\nname = {}\nplatform = true\n", quoted(&format!("{THREAD}*")));
        text
    }
}

/// A text in TOML.
fn quoted(text: &str) -> String {
    let escaped = text.chars().map(|letter| match letter {
        '"' | '\\' => format!("\\{letter}"),
        letter if letter.is_control() => format!("\\u{:04X}", u32::from(letter)),
        letter => letter.to_string(),
    });
    format!("\"{}\"", escaped.collect::<String>())
}
