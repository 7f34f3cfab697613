//! The events that values make, with the names that they use.

use super::bits::Values;
use super::layout::{FixedNumber, FixedText, MARGIN, NEAR, Slot};
use super::meaning::{Meaning, Thread};
use crate::event::{Cpu, Leaves, What, kept_number};
use crate::intake::Found;
use crate::intake::bytes::Piece;
use crate::intake::recent::{Key, Lately};
use crate::names::Name;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// So many interrupt lines are remembered by name.
const MOST_LINES: usize = 4_096;

/// Makes events of values; remembers the names used last, since looking each up would take most of the time.
#[derive(Debug)]
pub struct Said {
    /// Threads by number and the bytes of their name as they were recorded, with whatever stood behind their end.
    threads: Lately,
    /// The one of these that came last, which is the next to leave where nothing is missing.
    last: (Key, Name),
    lines: BTreeMap<u64, Name>,
}

impl Default for Said {
    fn default() -> Self {
        Self { threads: Lately::new(), last: (Key::NOBODY, Name(0)), lines: BTreeMap::new() }
    }
}

/// The fields of an event.
pub trait Fields {
    /// What stands for a number.
    type Number;
    /// What stands for a text.
    type Text;

    /// A number.
    fn number(&self, number: &Self::Number) -> u64;

    /// A text with whatever stands behind its end.
    fn piece(&self, text: &Self::Text) -> Piece<'_>;
}

/// Fields that were put into slots; texts stand in the bytes.
pub struct InSlots<'a> {
    /// The slots.
    pub values: &'a Values,
    /// The bytes.
    pub bytes: &'a [u8],
}

impl Fields for InSlots<'_> {
    type Number = Slot;
    type Text = Slot;

    fn number(&self, slot: &Slot) -> u64 {
        self.values.numbers[*slot]
    }

    fn piece(&self, slot: &Slot) -> Piece<'_> {
        let (start, length) = self.values.texts[*slot];
        Piece::whole(self.bytes.get(start..start.saturating_add(length)).unwrap_or_default())
    }
}

/// Fields at fixed offsets of the bytes, which hold them all.
pub struct AtOffsets<'a>(pub &'a [u8]);

impl Fields for AtOffsets<'_> {
    type Number = FixedNumber;
    type Text = FixedText;

    #[inline(always)]
    fn number(&self, number: &FixedNumber) -> u64 {
        number.value(self.0)
    }

    #[inline(always)]
    fn piece(&self, text: &FixedText) -> Piece<'_> {
        Piece::new(self.0.get(text.offset..).unwrap_or_default(), text.length)
    }
}

/// Fields at fixed offsets that are near.
pub struct Near<'a>(pub &'a [u8; NEAR + MARGIN]);

impl Fields for Near<'_> {
    type Number = FixedNumber;
    type Text = FixedText;

    #[inline(always)]
    fn number(&self, number: &FixedNumber) -> u64 {
        number.near(self.0)
    }

    #[inline(always)]
    fn piece(&self, text: &FixedText) -> Piece<'_> {
        Piece::new(&self.0[text.offset % NEAR..], text.length)
    }
}

/// What an event is made of.
struct From<'a, F> {
    fields: &'a F,
    found: &'a mut Found,
    not_utf8: &'a mut bool,
}

impl<F: Fields> From<'_, F> {
    #[inline(always)]
    fn number(&self, number: &F::Number) -> u64 {
        self.fields.number(number)
    }

    /// A text up to its first byte of 0.
    fn bytes(&self, text: &F::Text) -> &[u8] {
        let all = self.fields.piece(text).text();
        all.iter().position(|byte| *byte == 0).map_or(all, |end| &all[..end])
    }

    fn text(&mut self, text: &F::Text) -> Name {
        let text = String::from_utf8_lossy(self.bytes(text));
        let (text, replaced) = (text.to_string(), matches!(text, Cow::Owned(_)));
        *self.not_utf8 |= replaced;
        self.found.names.text(&text)
    }
}

impl Said {
    /// Who leaves, who comes, and how the first leaves; `None`: a field has a value that cannot be.
    #[inline(always)]
    pub fn switch<F: Fields>(
        &mut self,
        [leaving, coming]: [&Thread<F::Number, F::Text>; 2],
        state: &F::Number,
        fields: &F,
        found: &mut Found,
        not_utf8: &mut bool,
    ) -> Option<(Name, Name, Leaves)> {
        let from = &mut From { fields, found, not_utf8 };
        let (id, key) = key_of(leaving, from)?;
        let who = match key {
            Some(key) if key.is(self.last.0) => self.last.1,
            key => self.known(id, key, leaving, from),
        };
        let (id, key) = key_of(coming, from)?;
        let next = self.known(id, key, coming, from);
        Some((who, next, leaves(from.number(state))))
    }

    /// An event that is no switch; `None`: a field of it has a value that cannot be.
    pub fn rarer<F: Fields>(
        &mut self,
        meaning: &Meaning<F::Number, F::Text>,
        fields: &F,
        found: &mut Found,
        not_utf8: &mut bool,
    ) -> Option<What> {
        let from = &mut From { fields, found, not_utf8 };
        Some(match meaning {
            Meaning::Wakes { who, on } => {
                let on = on.as_ref().and_then(|on| Cpu::new(from.number(on))).unwrap_or(Cpu::UNKNOWN);
                What::Wakes { who: self.thread(who, from)?, on }
            }
            Meaning::Migrates { who, to } => {
                What::Migrates { who: self.thread(who, from)?, to: Cpu::new(from.number(to))? }
            }
            Meaning::InterruptBegins { line, name } => {
                What::InterruptBegins { line: self.begins(from.number(line), name.as_ref(), from) }
            }
            Meaning::InterruptEnds { line } => {
                let number = from.number(line);
                let known = self.lines.get(&number).copied();
                What::InterruptEnds { line: known.unwrap_or_else(|| from.found.names.text(&number.to_string())) }
            }
            Meaning::Told { word, who, number } => {
                let who = match who {
                    Some(who) => from.text(who),
                    None => from.found.names.text(""),
                };
                let number = number.as_ref().and_then(|number| kept_number(from.number(number)));
                What::Told { word: *word, who, number }
            }
            Meaning::Mark { text } => What::Mark { text: from.text(text) },
            Meaning::Switch { .. } | Meaning::Unknown => return None,
        })
    }

    /// The line's name; its end, which says only the number, is called the same.
    fn begins<F: Fields>(&mut self, number: u64, name: Option<&F::Text>, from: &mut From<'_, F>) -> Name {
        let line = match name.filter(|name| !from.bytes(name).is_empty()) {
            Some(name) => from.text(name),
            None => from.found.names.text(&number.to_string()),
        };
        if self.lines.len() < MOST_LINES || self.lines.contains_key(&number) {
            self.lines.insert(number, line);
        }
        line
    }

    #[inline(always)]
    fn thread<F: Fields>(&mut self, thread: &Thread<F::Number, F::Text>, from: &mut From<'_, F>) -> Option<Name> {
        let (id, key) = key_of(thread, from)?;
        Some(self.known(id, key, thread, from))
    }

    /// The name of a thread of that number and key, if it has one.
    #[inline(always)]
    fn known<F: Fields>(
        &mut self,
        id: u32,
        key: Option<Key>,
        thread: &Thread<F::Number, F::Text>,
        from: &mut From<'_, F>,
    ) -> Name {
        let Some(key) = key else { return named(id, thread.name.as_ref(), from) };
        match self.threads.find(key) {
            Some(name) => {
                self.last = (key, name);
                name
            }
            None => self.meet(key, id, thread.name.as_ref(), from),
        }
    }

    #[cold]
    fn meet<F: Fields>(&mut self, key: Key, id: u32, text: Option<&F::Text>, from: &mut From<'_, F>) -> Name {
        let before = std::mem::take(from.not_utf8);
        let name = named(id, text, from);
        // One that is not UTF-8 is not remembered, so that each is noted.
        if !*from.not_utf8 {
            self.threads.remember(key, name);
        }
        *from.not_utf8 |= before;
        name
    }
}

/// The number of a thread, and its key where its name is short; `None`: the number is none that a thread can have.
#[inline(always)]
fn key_of<F: Fields>(thread: &Thread<F::Number, F::Text>, from: &From<'_, F>) -> Option<(u32, Option<Key>)> {
    let id = u32::try_from(from.number(&thread.id)).ok()?;
    let short = match &thread.name {
        Some(name) => from.fields.piece(name).short(),
        None => Some(0),
    };
    Some((id, short.map(|raw| Key::new(raw, u64::from(id)))))
}

#[cold]
fn named<F: Fields>(id: u32, text: Option<&F::Text>, from: &mut From<'_, F>) -> Name {
    let text = text.map_or(Cow::Borrowed(""), |text| String::from_utf8_lossy(from.bytes(text)));
    let replaced = matches!(text, Cow::Owned(_));
    let name = text.into_owned();
    *from.not_utf8 |= replaced;
    from.found.names.thread(&name, id)
}

/// How a thread leaves by its state as the kernel records it: no bit of the lowest eight, it could go on; dead or a zombie, it
/// has ended. From memory of the kernel's `TASK_*` values; a displaced thread may have a higher bit.
fn leaves(state: u64) -> Leaves {
    /// By the lowest eight bits: a table, since no branch foresees which state comes.
    const LEAVES: [Leaves; 256] = {
        let mut leaves = [Leaves::Waits; 256];
        leaves[0] = Leaves::Ready;
        let mut state = 0;
        while state < 256 {
            if state & 0x30 != 0 {
                leaves[state] = Leaves::Ended;
            }
            state += 1;
        }
        leaves
    };
    LEAVES[(state & 0xFF) as usize]
}
