//! What is recorded, an entry of 24 bytes an event. A partition's process keeps its entries in memory that outlives it, so that
//! what it did is known when it is killed.

use crate::orders::Subject;
use std::fs::File;
use std::io::Write;
use trace::event::Word;

/// So many entries are kept of one life of a process, and of one core: 24 MiB.
pub const MOST_ENTRIES: usize = 1 << 20;

const BYTES: usize = 24;
/// What stands in place of a word where no more entries are kept.
const FULL: u16 = u16::MAX;

/// One event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry {
    /// When, on the monotonic clock.
    pub at_ns: u64,
    /// What; `None`: no more entries were kept from here on.
    pub word: Option<Word>,
    /// On which core, as an index; where the word is one of a core.
    pub core: Option<u16>,
    /// Of whom it is said.
    pub who: Option<Subject>,
    /// The job's or message's number.
    pub number: Option<u64>,
}

impl Entry {
    /// Something of a subject.
    pub const fn of(at_ns: u64, word: Word, who: Subject, number: Option<u64>) -> Self {
        Self { at_ns, word: Some(word), core: None, who: Some(who), number }
    }

    /// Something on a core.
    pub const fn on(core: u16, at_ns: u64, word: Word, who: Option<Subject>, number: Option<u64>) -> Self {
        Self { at_ns, word: Some(word), core: Some(core), who, number }
    }

    const fn full(at_ns: u64) -> Self {
        Self { at_ns, word: None, core: None, who: None, number: None }
    }

    fn to_bytes(self) -> [u8; BYTES] {
        let mut bytes = [0; BYTES];
        bytes[..8].copy_from_slice(&self.at_ns.to_le_bytes());
        bytes[8..16].copy_from_slice(&self.number.unwrap_or(u64::MAX).to_le_bytes());
        bytes[16..20].copy_from_slice(&self.who.map_or(u32::MAX, |who| who.0).to_le_bytes());
        bytes[20..22].copy_from_slice(&self.core.unwrap_or(u16::MAX).to_le_bytes());
        bytes[22..].copy_from_slice(&self.word.map_or(FULL, |word| word as u16).to_le_bytes());
        bytes
    }

    fn from_bytes(bytes: &[u8; BYTES]) -> Option<Self> {
        let [at, number] = [0, 8].map(|from| u64::from_le_bytes(std::array::from_fn(|index| bytes[from + index])));
        let who = u32::from_le_bytes(std::array::from_fn(|index| bytes[16 + index]));
        let [core, word] = [20, 22].map(|from| u16::from_le_bytes([bytes[from], bytes[from + 1]]));
        let word = match word {
            FULL => None,
            known => Some(Word::TEXTS.get(usize::from(known))?.0),
        };
        let given = |number: u64| (number != u64::MAX).then_some(number);
        let who = (who != u32::MAX).then_some(Subject(who));
        Some(Self { at_ns: at, word, core: (core != u16::MAX).then_some(core), who, number: given(number) })
    }
}

/// Takes entries; never more than [`MOST_ENTRIES`].
#[derive(Debug)]
pub struct Log<K> {
    kept: usize,
    keeper: K,
}

/// Where entries are kept.
pub trait Keeper {
    /// Keeps one more.
    fn keep(&mut self, entry: Entry);
}

impl Keeper for Vec<Entry> {
    fn keep(&mut self, entry: Entry) {
        self.push(entry);
    }
}

impl Keeper for File {
    fn keep(&mut self, entry: Entry) {
        // The file is memory. Where there is none left, less is recorded, and the jobs without their end show it.
        let _ = self.write_all(&entry.to_bytes());
    }
}

impl<K: Keeper> Log<K> {
    /// Keeps what comes in `keeper`.
    pub const fn new(keeper: K) -> Self {
        Self { kept: 0, keeper }
    }

    /// Keeps an entry while there is room; the last one says that there is none.
    pub fn put(&mut self, entry: Entry) {
        self.kept += 1;
        if self.kept < MOST_ENTRIES {
            self.keeper.keep(entry);
        } else if self.kept == MOST_ENTRIES {
            self.keeper.keep(Entry::full(entry.at_ns));
        }
    }

    /// Whether nothing more is kept.
    pub const fn is_full(&self) -> bool {
        self.kept >= MOST_ENTRIES
    }

    /// Where everything was kept.
    pub fn into_keeper(self) -> K {
        self.keeper
    }
}

/// The entries of a process's memory. A last one that is not whole was being written when the process was killed.
pub fn entries(bytes: &[u8]) -> impl Iterator<Item = Entry> {
    bytes.as_chunks::<BYTES>().0.iter().filter_map(Entry::from_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_is_read_as_it_was_kept() {
        let all = [
            Entry::on(3, 7, Word::Runs, Some(Subject(9)), Some(0)),
            Entry::of(u64::MAX - 1, Word::Completes, Subject(0), None),
            Entry::on(0, 1, Word::Idles, None, None),
            Entry::full(12),
        ];
        let mut bytes: Vec<u8> = all.iter().flat_map(|entry| entry.to_bytes()).collect();
        bytes.push(1);
        assert_eq!(entries(&bytes).collect::<Vec<_>>(), all);
    }

    #[test]
    fn a_full_log_says_so_once_and_keeps_no_more() {
        let mut log = Log { kept: MOST_ENTRIES - 2, keeper: Vec::new() };
        (0..5).for_each(|at| log.put(Entry::of(at, Word::Frame, Subject(0), None)));
        let kept = log.into_keeper();
        assert_eq!(
            kept.iter().map(|entry| (entry.at_ns, entry.word.is_some())).collect::<Vec<_>>(),
            [(0, true), (1, false)]
        );
    }
}
