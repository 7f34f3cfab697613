//! Numbers and words out of bytes, quickly: recordings are read at hundreds of megabytes a second.

/// What is left of a line.
#[derive(Debug, Clone, Copy)]
pub struct Cursor<'a>(pub &'a [u8]);

impl<'a> Cursor<'a> {
    /// Passes `what`, if it comes next: a word of known length, which is compared without a loop.
    #[inline]
    pub fn pass<const N: usize>(&mut self, what: &[u8; N]) -> Option<()> {
        let (next, rest) = self.0.split_first_chunk::<N>()?;
        (next == what).then(|| self.0 = rest)
    }

    /// Passes all blanks.
    #[inline]
    pub fn blanks(&mut self) {
        while let [b' ' | b'\t', rest @ ..] = self.0 {
            self.0 = rest;
        }
    }

    /// Passes a number without sign.
    #[inline]
    pub fn number(&mut self) -> Option<u64> {
        let (value, count) = digits(self.0)?;
        self.0 = &self.0[count..];
        Some(value)
    }

    /// Passes everything up to a blank or the end.
    #[inline]
    pub fn word(&mut self) -> &'a [u8] {
        let end = self.0.iter().position(|byte| matches!(byte, b' ' | b'\t')).unwrap_or(self.0.len());
        let (word, rest) = self.0.split_at(end);
        self.0 = rest;
        word
    }
}

/// The number that a text as a whole is.
#[inline]
pub fn number(text: &[u8]) -> Option<u64> {
    let (value, count) = match text.len() {
        1..=3 => return text.iter().try_fold(0, |value, byte| Some(10 * value + u64::from(digit(*byte)?))),
        length @ 4..=8 => {
            let (first, last) = (text.first_chunk()?, text.last_chunk()?);
            // The two halves overlap where there are fewer than eight digits, in bytes that are the same.
            let last = u64::from(u32::from_le_bytes(*last)) << (8 * (length - 4));
            eight_digits(u64::from(u32::from_le_bytes(*first)) | last)
        }
        length @ 9..=16 => {
            let (high, first_count) = eight_digits(u64::from_le_bytes(*text.first_chunk()?));
            let (low, count) = eight_digits(u64::from_le_bytes(*text.last_chunk()?) >> (8 * (16 - length)));
            (high * POWERS[count] + low, if first_count == 8 { 8 + count } else { 0 })
        }
        _ => digits(text)?,
    };
    (count == text.len()).then_some(value)
}

#[inline]
fn digit(byte: u8) -> Option<u8> {
    Some(byte.wrapping_sub(b'0')).filter(|digit| *digit < 10)
}

/// The number that a text begins with and how many digits it has. `None`: none, or more than fit.
#[inline]
pub fn digits(text: &[u8]) -> Option<(u64, usize)> {
    if let Some(eight) = text.first_chunk() {
        let (value, count) = eight_digits(u64::from_le_bytes(*eight));
        if count < 8 {
            return (count > 0).then_some((value, count));
        }
    }
    many_digits(text)
}

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

/// The number that eight characters begin with, the first in the lowest byte, and how many of them are its digits: all at
/// once within a word.
#[inline]
fn eight_digits(word: u64) -> (u64, usize) {
    const LOW: u64 = 0x0101_0101_0101_0101;
    let values = word ^ (LOW * 0x30);
    // The top bit of each byte that is no digit. A carry only reaches bytes after the first of these.
    let others = (values.wrapping_add(LOW * 0x76) | values) & (LOW * 0x80);
    let count = (others.trailing_zeros() / 8) as usize;
    if count == 0 {
        return (0, 0);
    }
    // Zeros before the first digit instead of characters after the last; then pairs, fours and the eight are added up.
    let ones = values << (64 - 8 * count);
    let pairs = (ones.wrapping_mul(10).wrapping_add(ones >> 8)) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs.wrapping_mul(100).wrapping_add(pairs >> 16)) & 0x0000_ffff_0000_ffff;
    (fours.wrapping_mul(10_000).wrapping_add(fours >> 32) & 0xffff_ffff, count)
}

/// Which of eight bytes equal `byte`: the top bit of each.
#[inline]
pub fn equal_bytes(word: u64, byte: u8) -> u64 {
    const LOW_SEVEN: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let differs = word ^ (u64::from(byte) * 0x0101_0101_0101_0101);
    !(((differs & LOW_SEVEN) + LOW_SEVEN) | differs | LOW_SEVEN)
}

/// Which of 64 bytes equal `byte`: a bit for each.
#[inline]
pub fn equal_of_64(bytes: &[u8; 64], byte: u8) -> u64 {
    let (words, _) = bytes.as_chunks::<8>();
    let equal = words.iter().map(|word| equal_bytes(u64::from_le_bytes(*word), byte));
    // The factor moves the top bit of each byte to its place in the highest byte.
    (0..)
        .zip(equal)
        .fold(0, |all, (at, tops)| all | ((tops >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56) << (8 * at))
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
        fn equal_bytes_are_found(bytes in prop::array::uniform8(b'a'..=b'd')) {
            let mask = equal_bytes(u64::from_le_bytes(bytes), b'b');
            let expected = (0..8).filter(|at| bytes[*at] == b'b').fold(0, |mask, at| mask | 0x80 << (8 * at));
            prop_assert_eq!(mask, expected);
        }
    }
}
