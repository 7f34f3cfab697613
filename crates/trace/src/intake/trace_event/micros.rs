//! A JSON number of microseconds as nanoseconds, exactly.

use crate::note::Matter;

/// The nanoseconds; parts of a nanosecond, below a thousandth of a microsecond, are cut off.
pub fn ns(text: &str) -> Result<u64, Matter> {
    if text.starts_with('-') {
        return if text.bytes().any(|byte| (b'1'..=b'9').contains(&byte)) { Err(Matter::OutOfRange) } else { Ok(0) };
    }
    let (mantissa, exponent) = match text.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().map_err(|_| Matter::Malformed)?),
        None => (text, 0),
    };
    let (whole, part) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    if whole.is_empty() || !whole.bytes().chain(part.bytes()).all(|byte| byte.is_ascii_digit()) {
        return Err(Matter::Malformed);
    }
    // So many of the digits stand before the point of the nanoseconds.
    let before = i64::try_from(whole.len()).map_err(|_| Matter::OutOfRange)? + i64::from(exponent) + 3;
    let digits = whole.bytes().chain(part.bytes()).chain(std::iter::repeat(b'0'));
    let mut value: u64 = 0;
    for (_, digit) in (0..before).zip(digits) {
        value =
            value.checked_mul(10).and_then(|ten| ten.checked_add(u64::from(digit - b'0'))).ok_or(Matter::OutOfRange)?;
        if value == 0 && before > 1 << 20 {
            return Err(Matter::OutOfRange);
        }
    }
    Ok(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_nanosecond_is_kept() {
        let cases = [
            ("0", Ok(0)),
            ("1", Ok(1_000)),
            ("12345.678", Ok(12_345_678)),
            ("12345.6789", Ok(12_345_678)),
            ("1.05", Ok(1_050)),
            ("1e3", Ok(1_000_000)),
            ("1.5E-2", Ok(15)),
            ("9007199254740993.001", Ok(9_007_199_254_740_993_001)),
            ("18446744073709551.615", Ok(u64::MAX)),
            ("18446744073709551.616", Err(Matter::OutOfRange)),
            ("-1", Err(Matter::OutOfRange)),
            ("-0.0", Ok(0)),
            ("1e2147483647", Err(Matter::OutOfRange)),
            ("0e2147483647", Err(Matter::OutOfRange)),
            ("\"1\"", Err(Matter::Malformed)),
            ("1e", Err(Matter::Malformed)),
        ];
        for (text, expected) in cases {
            assert_eq!(ns(text), expected, "{text}");
        }
    }
}
