//! Names that were just used, found again without reading them: much of a recording tells names, and most were told before.

use super::bytes::Piece;
use crate::names::{Name, Names};

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

/// The names of texts and threads that were used last.
#[derive(Debug)]
pub struct Recent(Lately);

/// A name, and whether its text was not UTF-8 and had not been met so.
pub struct Met {
    /// The name.
    pub name: Name,
    /// Whether the name is new and holds replacement characters for what is not UTF-8.
    pub new_and_mended: bool,
}

impl Recent {
    /// Remembers none yet.
    pub fn new() -> Self {
        Self(Lately::new())
    }

    /// The name among `names` of a thread of that number, or of a text that is none.
    #[inline(always)]
    pub fn find(&mut self, text: Piece<'_>, id: Option<u32>, names: &mut Names) -> Met {
        let Some(key) = key(text, id) else { return read(text.text(), id, names) };
        match self.0.find(key) {
            Some(name) => Met { name, new_and_mended: false },
            None => {
                let met = read(text.text(), id, names);
                self.0.remember(key, met.name);
                met
            }
        }
    }
}

/// That of a text of at most 16 bytes: with the thread's number, the text's length, and whether it is a thread.
#[inline(always)]
fn key(text: Piece<'_>, id: Option<u32>) -> Option<Key> {
    let length = text.text().len() as u64;
    let about = u64::from(id.is_some()) << 40 | length << 32 | u64::from(id.unwrap_or(0));
    Some(Key::new(text.short()?, about))
}

#[cold]
fn read(text: &[u8], id: Option<u32>, names: &mut Names) -> Met {
    let known = names.len();
    let valid = std::str::from_utf8(text);
    let told = String::from_utf8_lossy(text);
    let name = match id {
        Some(id) => names.thread(&told, id),
        None => names.text(&told),
    };
    Met { name, new_and_mended: valid.is_err() && names.len() > known }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_share_their_words_are_told_apart() {
        let (mut recent, mut names) = (Recent::new(), Names::default());
        let texts: [&[u8]; 8] =
            [b"", b"a", b"a\0", b"abcdefgh", b"abcdefghabcdefgh", b"aaaaaaaa", b"aaaaaaaaa", &[b'a'; 40]];
        let found: Vec<Name> =
            texts.iter().map(|text| recent.find(Piece::whole(text), Some(7), &mut names).name).collect();
        assert_eq!(names.len(), texts.len());
        let again: Vec<Name> =
            texts.iter().map(|text| recent.find(Piece::whole(text), Some(7), &mut names).name).collect();
        assert_eq!(found, again);
        assert_ne!(recent.find(Piece::whole(b"a"), Some(8), &mut names).name, found[1]);
        assert_ne!(recent.find(Piece::whole(b""), None, &mut names).name, found[0]);
    }

    #[test]
    fn text_that_is_not_utf_8_is_mended_and_said_once() {
        let (mut recent, mut names) = (Recent::new(), Names::default());
        assert!(recent.find(Piece::whole(b"n\xE9"), None, &mut names).new_and_mended);
        assert!(!recent.find(Piece::whole(b"n\xE9"), None, &mut names).new_and_mended);
        assert_eq!(names.get(Name(0)).text, "n\u{fffd}");
    }
}
