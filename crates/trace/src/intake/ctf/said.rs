//! The events that values make, with the names that they use.

use super::bits::Values;
use super::layout::Slot;
use super::meaning::{Meaning, Thread};
use crate::event::{Cpu, Leaves, What, kept_number};
use crate::intake::Found;
use crate::names::Name;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// A thread's name has no more bytes in the kernel.
const THREAD_BYTES: usize = 16;
/// So many threads are remembered, each at the place that its number's lowest bits say.
const REMEMBERED: usize = 256;
/// So many interrupt lines are remembered by name.
const MOST_LINES: usize = 4_096;

/// A thread that was named last at its place.
#[derive(Debug, Clone, Copy)]
struct Remembered {
    id: u32,
    /// The bytes of its name as they were recorded, with whatever stood behind their end.
    raw: [u8; THREAD_BYTES],
    name: Name,
}

/// Makes events of values; remembers the names used last, since looking each up would take most of the time.
#[derive(Debug)]
pub struct Said {
    threads: Vec<Option<Remembered>>,
    lines: BTreeMap<u64, Name>,
}

impl Default for Said {
    fn default() -> Self {
        Self { threads: vec![None; REMEMBERED], lines: BTreeMap::new() }
    }
}

/// What of the stream an event is made of.
struct From<'a> {
    values: &'a Values,
    bytes: &'a [u8],
    found: &'a mut Found,
    not_utf8: &'a mut bool,
}

impl From<'_> {
    fn number(&self, slot: Slot) -> u64 {
        self.values.numbers[slot]
    }

    fn all(&self, slot: Slot) -> &[u8] {
        let (start, length) = self.values.texts[slot];
        self.bytes.get(start..start.saturating_add(length)).unwrap_or_default()
    }

    /// All the bytes of a text that may be a thread's name, filled up with 0; `None`: it is longer.
    fn short(&self, slot: Option<Slot>) -> Option<[u8; THREAD_BYTES]> {
        let all = slot.map_or(&[][..], |slot| self.all(slot));
        if let Ok(raw) = <[u8; THREAD_BYTES]>::try_from(all) {
            return Some(raw);
        }
        let mut raw = [0; THREAD_BYTES];
        raw.get_mut(..all.len())?.copy_from_slice(all);
        Some(raw)
    }

    /// A text up to its first byte of 0.
    fn bytes(&self, slot: Slot) -> &[u8] {
        let all = self.all(slot);
        all.iter().position(|byte| *byte == 0).map_or(all, |end| &all[..end])
    }

    fn text(&mut self, slot: Slot) -> Name {
        let text = String::from_utf8_lossy(self.bytes(slot));
        let (text, replaced) = (text.to_string(), matches!(text, Cow::Owned(_)));
        *self.not_utf8 |= replaced;
        self.found.names.text(&text)
    }
}

impl Said {
    /// The event; `None`: a field of it has a value that cannot be.
    #[inline]
    pub fn what(
        &mut self,
        meaning: &Meaning,
        values: &Values,
        bytes: &[u8],
        found: &mut Found,
        not_utf8: &mut bool,
    ) -> Option<What> {
        let from = &mut From { values, bytes, found, not_utf8 };
        Some(match *meaning {
            Meaning::Switch { from: leaving, state, to } => {
                let who = self.thread(leaving, from)?;
                What::Switch { from: who, to: self.thread(to, from)?, leaves: leaves(from.number(state)) }
            }
            Meaning::Wakes { who, on } => {
                let on = on.and_then(|slot| Cpu::new(from.number(slot))).unwrap_or(Cpu::UNKNOWN);
                What::Wakes { who: self.thread(who, from)?, on }
            }
            Meaning::Migrates { who, to } => {
                What::Migrates { who: self.thread(who, from)?, to: Cpu::new(from.number(to))? }
            }
            Meaning::InterruptBegins { line, name } => {
                What::InterruptBegins { line: self.begins(from.number(line), name, from) }
            }
            Meaning::InterruptEnds { line } => {
                let number = from.number(line);
                let known = self.lines.get(&number).copied();
                What::InterruptEnds { line: known.unwrap_or_else(|| from.found.names.text(&number.to_string())) }
            }
            Meaning::Told { word, who, number } => {
                let who = match who {
                    Some(slot) => from.text(slot),
                    None => from.found.names.text(""),
                };
                What::Told { word, who, number: number.and_then(|slot| kept_number(from.number(slot))) }
            }
            Meaning::Mark { text } => What::Mark { text: from.text(text) },
            Meaning::Unknown => return None,
        })
    }

    /// The line's name; its end, which says only the number, is called the same.
    fn begins(&mut self, number: u64, name: Option<Slot>, from: &mut From<'_>) -> Name {
        let line = match name.filter(|slot| !from.bytes(*slot).is_empty()) {
            Some(slot) => from.text(slot),
            None => from.found.names.text(&number.to_string()),
        };
        if self.lines.len() < MOST_LINES || self.lines.contains_key(&number) {
            self.lines.insert(number, line);
        }
        line
    }

    #[inline]
    fn thread(&mut self, thread: Thread, from: &mut From<'_>) -> Option<Name> {
        let id = u32::try_from(from.number(thread.id)).ok()?;
        let Some(raw) = from.short(thread.name) else { return Some(named(id, thread.name, from)) };
        let place = id as usize % REMEMBERED;
        if let Some(known) = self.threads[place].filter(|known| known.id == id && known.raw == raw) {
            return Some(known.name);
        }
        let before = std::mem::take(from.not_utf8);
        let name = named(id, thread.name, from);
        // One that is not UTF-8 is not remembered, so that each is noted.
        self.threads[place] = (!*from.not_utf8).then_some(Remembered { id, raw, name });
        *from.not_utf8 |= before;
        Some(name)
    }
}

fn named(id: u32, text: Option<Slot>, from: &mut From<'_>) -> Name {
    let text = text.map_or(Cow::Borrowed(""), |slot| String::from_utf8_lossy(from.bytes(slot)));
    let replaced = matches!(text, Cow::Owned(_));
    let name = text.into_owned();
    *from.not_utf8 |= replaced;
    from.found.names.thread(&name, id)
}

/// How a thread leaves by its state as the kernel records it: no bit of the lowest eight, it could go on; dead or a zombie, it
/// has ended. From memory of the kernel's `TASK_*` values; a displaced thread may have a higher bit.
fn leaves(state: u64) -> Leaves {
    match state & 0xFF {
        0 => Leaves::Ready,
        state if state & 0x30 != 0 => Leaves::Ended,
        _ => Leaves::Waits,
    }
}
