//! Numbers and words out of bytes, quickly: recordings are read at hundreds of megabytes a second.

use wide::u8x16;

/// What is left of a line.
#[derive(Debug, Clone, Copy)]
pub struct Cursor<'a>(pub &'a [u8]);

impl<'a> Cursor<'a> {
    /// Passes `what`, if it comes next: a word of known length, which is compared without a loop.
    #[inline(always)]
    pub fn pass<const N: usize>(&mut self, what: &[u8; N]) -> Option<()> {
        let (next, rest) = self.0.split_first_chunk::<N>()?;
        (next == what).then(|| self.0 = rest)
    }

    /// Passes all blanks.
    #[inline(always)]
    pub fn blanks(&mut self) {
        while let [b' ' | b'\t', rest @ ..] = self.0 {
            self.0 = rest;
        }
    }

    /// Passes a number without sign.
    #[inline(always)]
    pub fn number(&mut self) -> Option<u64> {
        let (value, count) = digits(self.0)?;
        self.0 = &self.0[count..];
        Some(value)
    }

    /// Passes a number of which only its end matters.
    #[inline(always)]
    pub fn pass_number(&mut self) -> Option<()> {
        if let Some(eight) = self.0.first_chunk() {
            let count = leading_digits(u64::from_le_bytes(*eight));
            if let 1..8 = count {
                self.0 = &self.0[count..];
                return Some(());
            }
        }
        self.number().map(|_| ())
    }

    /// Passes everything up to a blank or the end.
    #[inline(always)]
    pub fn word(&mut self) -> &'a [u8] {
        let near = match self.0.first_chunk() {
            Some(near) => equal_of_16(*near, b' ') | equal_of_16(*near, b'\t'),
            None => 0,
        };
        let end = match near {
            0 => self.0.iter().position(|byte| matches!(byte, b' ' | b'\t')).unwrap_or(self.0.len()),
            near => near.trailing_zeros() as usize,
        };
        let (word, rest) = self.0.split_at(end);
        self.0 = rest;
        word
    }
}

/// A text with what stands behind it, so that it can be read in whole words.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    from: &'a [u8],
    length: usize,
}

impl<'a> Piece<'a> {
    /// The first `length` of these bytes, or all if there are fewer.
    #[inline(always)]
    pub fn new(from: &'a [u8], length: usize) -> Self {
        Self { from, length: length.min(from.len()) }
    }

    /// The first `length` of these bytes, which the caller knows to be there.
    #[inline(always)]
    pub fn within(from: &'a [u8], length: usize) -> Self {
        debug_assert!(length <= from.len());
        Self { from, length }
    }

    /// A text behind which nothing is known to stand.
    #[inline(always)]
    pub fn whole(text: &'a [u8]) -> Self {
        Self { from: text, length: text.len() }
    }

    /// The text alone.
    #[inline(always)]
    pub fn text(self) -> &'a [u8] {
        &self.from[..self.length]
    }

    /// How many bytes it has.
    #[inline(always)]
    pub fn length(self) -> usize {
        self.length
    }

    /// Its first byte.
    #[inline(always)]
    pub fn letter(self) -> Option<u8> {
        if self.length > 0 { self.from.first().copied() } else { None }
    }

    /// Of a text of 9 to 16 bytes what stands before its last eight, at the top of a word, and these eight.
    #[inline(always)]
    pub fn before_eight(self) -> Option<(u64, u64)> {
        match self.length {
            length @ 9..=16 => Some((self.word(0)? << (8 * (16 - length)), self.word(length - 8)?)),
            _ => None,
        }
    }

    /// Eight bytes from that one on, be they the text's or behind it.
    #[inline(always)]
    fn word(self, at: usize) -> Option<u64> {
        self.from.get(at..at + 8)?.try_into().ok().map(u64::from_le_bytes)
    }

    /// Its first byte, if there is no other.
    #[inline(always)]
    pub fn only(self) -> Option<u8> {
        if self.length == 1 { self.from.first().copied() } else { None }
    }

    /// A text of at most 16 bytes as a number, the first byte lowest, filled up with 0.
    #[inline(always)]
    pub fn short(self) -> Option<u128> {
        if self.length > 16 {
            return None;
        }
        match self.from.first_chunk() {
            Some(bytes) => Some(u128::from_le_bytes(*bytes) & OWN[self.length]),
            None => Some(self.text().iter().rfold(0, |word, byte| word << 8 | u128::from(*byte))),
        }
    }

    /// The number that the text as a whole is.
    #[inline(always)]
    pub fn number(self) -> Option<u64> {
        match self.length {
            0 => None,
            // What is read in whole words cannot be more than fits.
            length @ 1..=8 if let Some(only) = self.word(0) => few_digits(only, length),
            length @ 9..=16 if let (Some(first), Some(second)) = (self.word(0), self.word(8)) => {
                Some(few_digits(first, 8)? * POWERS[length - 8] + few_digits(second, length - 8)?)
            }
            _ => number(self.text()),
        }
    }
}

/// The number that a text as a whole is.
pub fn number(text: &[u8]) -> Option<u64> {
    let (value, count) = digits(text)?;
    (count == text.len()).then_some(value)
}

/// The number that a text begins with and how many digits it has. `None`: none, or more than fit.
#[inline(always)]
pub fn digits(text: &[u8]) -> Option<(u64, usize)> {
    if let Some(eight) = text.first_chunk() {
        let (value, count) = eight_digits(u64::from_le_bytes(*eight));
        if count < 8 {
            return (count > 0).then_some((value, count));
        }
    }
    many_digits(text)
}

#[inline(never)]
fn many_digits(text: &[u8]) -> Option<(u64, usize)> {
    let (mut value, mut count) = (0_u64, 0);
    for byte in text {
        if !byte.is_ascii_digit() {
            break;
        }
        value = value.checked_mul(10)?.checked_add(u64::from(byte - b'0'))?;
        count += 1;
    }
    (count > 0).then_some((value, count))
}

/// Ten to the power of the index.
pub const POWERS: [u64; 10] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000, 1_000_000_000];

/// The lowest bytes of a word, as many as the index.
const OWN: [u128; 17] = {
    let mut own = [0; 17];
    let mut length = 1;
    while length <= 16 {
        own[length] = u128::MAX >> (8 * (16 - length));
        length += 1;
    }
    own
};

/// A byte of 1 in each of eight.
const LOW: u64 = 0x0101_0101_0101_0101;

/// The number that eight characters begin with, the first in the lowest byte, and how many of them are its digits: all at
/// once within a word.
#[inline(always)]
fn eight_digits(word: u64) -> (u64, usize) {
    let count = leading_digits(word);
    if count == 0 {
        return (0, 0);
    }
    // Zeros before the first digit instead of characters after the last.
    (added_up((word ^ (LOW * 0x30)) << (64 - 8 * count)), count)
}

/// How many of eight characters are digits before the first that is none.
#[inline(always)]
fn leading_digits(word: u64) -> usize {
    (others(word ^ (LOW * 0x30)).trailing_zeros() / 8) as usize
}

/// The number that the first one to eight characters of a word are.
#[inline(always)]
fn few_digits(word: u64, count: usize) -> Option<u64> {
    let values = (word ^ (LOW * 0x30)) << (64 - 8 * count);
    (others(values) == 0).then(|| added_up(values))
}

/// The number that the eight characters of a word are.
#[inline(always)]
pub fn eight_digits_of(word: u64) -> Option<u64> {
    few_digits(word, 8)
}

/// The top bit of each byte that is no digit's value. A carry only reaches bytes after the first of these.
#[inline(always)]
fn others(values: u64) -> u64 {
    (values.wrapping_add(LOW * 0x76) | values) & (LOW * 0x80)
}

/// The number that eight digits' values are: pairs, fours and the eight are added up.
#[inline(always)]
fn added_up(ones: u64) -> u64 {
    const EVERY_OTHER: u64 = 0x0000_00ff_0000_00ff;
    let pairs = ones.wrapping_mul(10).wrapping_add(ones >> 8);
    // The first and third pair and the second and fourth, each multiplied to what it counts, meet in the highest half.
    let odd = (pairs & EVERY_OTHER).wrapping_mul(100 + (1_000_000 << 32));
    let even = (pairs >> 16 & EVERY_OTHER).wrapping_mul(1 + (10_000 << 32));
    odd.wrapping_add(even) >> 32
}

/// Which of 16 bytes equal `byte`: a bit for each.
#[inline(always)]
pub fn equal_of_16(bytes: [u8; 16], byte: u8) -> u32 {
    u8x16::new(bytes).simd_eq(u8x16::splat(byte)).to_bitmask()
}

/// Which of 64 bytes equal `byte`: a bit for each.
#[inline(always)]
pub fn equal_of_64(bytes: &[u8; 64], byte: u8) -> u64 {
    let (parts, _) = bytes.as_chunks();
    (0..).zip(parts).fold(0, |all, (at, part)| all | u64::from(equal_of_16(*part, byte)) << (16 * at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn digits_are_what_the_standard_library_reads(text in "[0-9]{0,22}([a-z:., -]{0,12}|)[0-9]{0,3}") {
            let count = text.bytes().take_while(u8::is_ascii_digit).count();
            let expected = text[..count].parse::<u64>().ok().map(|value| (value, count));
            prop_assert_eq!(digits(text.as_bytes()), expected);
            prop_assert_eq!(number(text.as_bytes()), text.parse().ok());
            prop_assert_eq!(Piece::whole(text.as_bytes()).number(), text.parse().ok());
            prop_assert_eq!(Piece::new(text.as_bytes(), count).number(), text[..count].parse().ok());
        }

        #[test]
        fn any_eight_bytes_give_their_leading_digits(bytes in any::<[u8; 8]>()) {
            let count = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
            let expected = bytes[..count].iter().fold(0, |value, byte| 10 * value + u64::from(byte - b'0'));
            prop_assert_eq!(eight_digits(u64::from_le_bytes(bytes)), (expected, count));
        }

        #[test]
        fn equal_bytes_of_64_are_found(bytes in prop::collection::vec(b'a'..=b'd', 64)) {
            let expected = (0..64).filter(|at| bytes[*at] == b'b').fold(0, |mask, at| mask | 1 << at);
            prop_assert_eq!(equal_of_64(bytes.first_chunk().expect("there are 64"), b'b'), expected);
        }

        #[test]
        fn short_texts_are_the_same_whatever_stands_behind(text in prop::collection::vec(any::<u8>(), 0..19), more in prop::collection::vec(any::<u8>(), 0..19)) {
            let mut filled = [0; 16];
            let expected = filled.get_mut(..text.len()).map(|part| part.copy_from_slice(&text)).map(|()| u128::from_le_bytes(filled));
            let both = [&text[..], &more].concat();
            prop_assert_eq!(Piece::whole(&text).short(), expected);
            prop_assert_eq!(Piece::new(&both, text.len()).short(), expected);
        }
    }
}
