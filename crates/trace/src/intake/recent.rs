//! Names that were just used, found again without reading them: much of a recording tells names, and most were told before.

use super::bytes::Piece;
use crate::names::Name;
use indexmap::{Equivalent, IndexSet};
use std::borrow::Cow;

/// How many names can be remembered: so many more than a block tells that two seldom want the same place.
const PLACES: usize = 1 << PLACE_BITS;

const PLACE_BITS: u32 = 10;

/// The names that were used last, by their key.
#[derive(Debug)]
pub struct Lately {
    /// The place of a key is the one that its hash names, or else the one beside it.
    places: Box<[Place; PLACES]>,
}

/// What a name is found by: at most 16 bytes, and what else tells it from others.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    text: [u64; 2],
    about: u64,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    key: Key,
    name: Name,
}

impl Lately {
    /// Remembers none yet.
    pub fn new() -> Self {
        Self { places: Box::new([Place { key: Key::NOBODY, name: Name(0) }; PLACES]) }
    }

    /// The name that is remembered for a key.
    #[inline(always)]
    pub fn find(&self, key: Key) -> Option<Name> {
        let place = key.place();
        let [own, beside] = [&self.places[place], &self.places[place ^ 1]];
        if own.key.is(key) {
            return Some(own.name);
        }
        beside.key.is(key).then_some(beside.name)
    }

    /// Remembers a name for a key: in a place that is free, or else in that of another name.
    #[cold]
    pub fn remember(&mut self, key: Key, name: Name) {
        if self.find(key).is_none() {
            let own = key.place();
            let free = [own, own ^ 1].into_iter().find(|place| self.places[*place].key.is(Key::NOBODY));
            self.places[free.unwrap_or(own)] = Place { key, name };
        }
    }
}

impl Key {
    /// No key is made equal to this one, so that nothing is found in a place that was not used.
    pub const NOBODY: Self = Self { text: [0; 2], about: u64::MAX };

    /// Of 16 bytes and something below the highest 64 bits.
    #[inline(always)]
    pub fn new(text: u128, about: u64) -> Self {
        debug_assert!(about < u64::MAX);
        Self { text: [text as u64, (text >> 64) as u64], about }
    }

    #[inline(always)]
    fn place(self) -> usize {
        let [first, last] = self.text;
        let mixed = (first ^ last.rotate_left(29) ^ self.about << 17).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        // The highest bits depend on all others.
        (mixed >> (u64::BITS - PLACE_BITS)) as usize
    }

    /// Whether the keys are equal, in one comparison.
    #[inline(always)]
    pub fn is(self, other: Self) -> bool {
        (self.text[0] ^ other.text[0]) | (self.text[1] ^ other.text[1]) | (self.about ^ other.about) == 0
    }
}

/// A name as it was told.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Told {
    /// Its text, with replacement characters for what is not UTF-8.
    pub text: String,
    /// The number, where it is a thread's.
    pub id: Option<u32>,
    /// Whether something in it is not UTF-8.
    pub mended: bool,
}

/// A [`Told`] that is looked up; its hash is the same, since its fields are.
#[derive(Hash)]
struct Wanted<'a> {
    text: &'a str,
    id: Option<u32>,
    mended: bool,
}

impl Equivalent<Told> for Wanted<'_> {
    fn equivalent(&self, told: &Told) -> bool {
        self.id == told.id && self.mended == told.mended && self.text == told.text
    }
}

/// The names of texts and threads that one parser was told, by which it numbers them.
#[derive(Debug)]
pub struct Recent {
    lately: Lately,
    names: IndexSet<Told>,
    /// How many of them have been handed on.
    known: usize,
}

impl Recent {
    /// Knows none yet.
    pub fn new() -> Self {
        Self { lately: Lately::new(), names: IndexSet::new(), known: 0 }
    }

    /// The name of a thread of that number, or of a text that is none.
    #[inline(always)]
    pub fn find(&mut self, text: Piece<'_>, id: Option<u32>) -> Name {
        let Some(key) = key(text, id) else { return self.read(text.text(), id) };
        match self.lately.find(key) {
            Some(name) => name,
            None => {
                let name = self.read(text.text(), id);
                self.lately.remember(key, name);
                name
            }
        }
    }

    #[cold]
    fn read(&mut self, text: &[u8], id: Option<u32>) -> Name {
        let text = String::from_utf8_lossy(text);
        // Text that is UTF-8 is not copied.
        let mended = matches!(text, Cow::Owned(_));
        let index = match self.names.get_index_of(&Wanted { text: &text, id, mended }) {
            Some(index) => index,
            None => self.names.insert_full(Told { text: text.into_owned(), id, mended }).0,
        };
        Name(u32::try_from(index).expect("a parser forgets its names before they are so many"))
    }

    /// The names that are new since this was asked last.
    pub fn news(&mut self) -> Vec<Told> {
        let known = std::mem::replace(&mut self.known, self.names.len());
        self.names.iter().skip(known).cloned().collect()
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.names.len()
    }
}

/// That of a text of at most 16 bytes: with the thread's number, the text's length, and whether it is a thread.
#[inline(always)]
fn key(text: Piece<'_>, id: Option<u32>) -> Option<Key> {
    let length = text.text().len() as u64;
    let about = u64::from(id.is_some()) << 40 | length << 32 | u64::from(id.unwrap_or(0));
    Some(Key::new(text.short()?, about))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_share_their_words_are_told_apart() {
        let mut recent = Recent::new();
        let texts: [&[u8]; 8] =
            [b"", b"a", b"a\0", b"abcdefgh", b"abcdefghabcdefgh", b"aaaaaaaa", b"aaaaaaaaa", &[b'a'; 40]];
        let mut all = || texts.map(|text| recent.find(Piece::whole(text), Some(7)));
        let found = all();
        assert_eq!(found, all());
        assert_eq!(recent.len(), texts.len());
        assert_ne!(recent.find(Piece::whole(b"a"), Some(8)), found[1]);
        assert_ne!(recent.find(Piece::whole(b""), None), found[0]);
    }

    #[test]
    fn news_are_told_once_and_whether_they_were_mended() {
        let mut recent = Recent::new();
        let [mended, whole] = [&b"n\xE9"[..], "n\u{fffd}".as_bytes()];
        let names = [mended, whole, mended].map(|text| recent.find(Piece::whole(text), None));
        assert_eq!(names, [Name(0), Name(1), Name(0)]);
        let told = |mended| Told { text: "n\u{fffd}".to_owned(), id: None, mended };
        assert_eq!(recent.news(), [told(true), told(false)]);
        assert_eq!(recent.news(), []);
    }
}
