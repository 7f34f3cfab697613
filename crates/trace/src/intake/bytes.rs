//! Numbers and words out of bytes, quickly: recordings are read at hundreds of megabytes a second.

/// What is left of a line.
#[derive(Debug, Clone, Copy)]
pub struct Cursor<'a>(pub &'a [u8]);

impl<'a> Cursor<'a> {
    /// Passes `what`, if it comes next.
    pub fn pass(&mut self, what: &[u8]) -> Option<()> {
        self.0 = self.0.strip_prefix(what)?;
        Some(())
    }

    /// Passes all blanks.
    pub fn blanks(&mut self) {
        while let [b' ' | b'\t', rest @ ..] = self.0 {
            self.0 = rest;
        }
    }

    /// Passes a number without sign.
    pub fn number(&mut self) -> Option<u64> {
        let (value, count) = digits(self.0)?;
        self.0 = &self.0[count..];
        Some(value)
    }

    /// Passes everything up to a blank or the end.
    pub fn word(&mut self) -> &'a [u8] {
        let end = self.0.iter().position(|byte| matches!(byte, b' ' | b'\t')).unwrap_or(self.0.len());
        let (word, rest) = self.0.split_at(end);
        self.0 = rest;
        word
    }
}

/// The number that a text as a whole is.
pub fn number(text: &[u8]) -> Option<u64> {
    digits(text).and_then(|(value, count)| (count == text.len()).then_some(value))
}

/// The number that a text begins with and how many digits it has. `None`: none, or more than fit.
pub fn digits(text: &[u8]) -> Option<(u64, usize)> {
    let (mut value, mut count) = (0_u64, 0);
    while let Some(eight) = text[count..].first_chunk() {
        let (more, many) = eight_digits(u64::from_le_bytes(*eight));
        value = value.checked_mul(POWERS[many])?.checked_add(more)?;
        count += many;
        if many < 8 {
            return (count > 0).then_some((value, count));
        }
    }
    for byte in &text[count..] {
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
pub fn equal_bytes(word: u64, byte: u8) -> u64 {
    const LOW_SEVEN: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let differs = word ^ (u64::from(byte) * 0x0101_0101_0101_0101);
    !(((differs & LOW_SEVEN) + LOW_SEVEN) | differs | LOW_SEVEN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn digits_are_what_the_standard_library_reads(text in "[0-9]{0,22}[a-z:., -]{0,12}[0-9]{0,3}") {
            let count = text.bytes().take_while(u8::is_ascii_digit).count();
            let expected = text[..count].parse::<u64>().ok().map(|value| (value, count));
            prop_assert_eq!(digits(text.as_bytes()), expected);
        }

        #[test]
        fn any_eight_bytes_give_their_leading_digits(bytes in any::<[u8; 8]>()) {
            let count = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
            let expected = bytes[..count].iter().fold(0, |value, byte| 10 * value + u64::from(byte - b'0'));
            prop_assert_eq!(eight_digits(u64::from_le_bytes(bytes)), (expected, count));
        }

        #[test]
        fn equal_bytes_are_found(bytes in prop::array::uniform8(b'a'..=b'd')) {
            let mask = equal_bytes(u64::from_le_bytes(bytes), b'b');
            let expected = (0..8).filter(|at| bytes[*at] == b'b').fold(0, |mask, at| mask | 0x80 << (8 * at));
            prop_assert_eq!(mask, expected);
        }
    }
}
