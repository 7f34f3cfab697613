//! Times of rows.

use super::super::bytes::{Piece, digits, eight_digits_of, number};
use super::columns::Clock;
use super::values::Values;

/// Reads times one after the other, of which most begin as the one before.
#[derive(Default)]
pub struct Times {
    /// How many digits the last time had.
    length: usize,
    /// What stands before the last eight of them, as [`Piece::before_eight`] gives it, and for how much it counts.
    begin: u64,
    begin_ns: u64,
}

impl Times {
    /// A time of 9 to 16 digits on a clock of more than 32 bits, in nanoseconds. `None` for others, and where it does not fit.
    #[inline(always)]
    pub fn read(&mut self, text: Piece<'_>, clock: Clock) -> Option<u64> {
        let (begin, last) = text.before_eight()?;
        if begin != self.begin || text.length() != self.length {
            *self = Self::beginning(text.text(), begin, clock)?;
        }
        Some(self.begin_ns + eight_digits_of(last)? * clock.unit_ns)
    }

    #[cold]
    fn beginning(text: &[u8], begin: u64, clock: Clock) -> Option<Self> {
        let length = text.len();
        let begin_ns = number(&text[..length - 8])?.checked_mul(100_000_000 * clock.unit_ns)?;
        // There is room for whatever the last eight digits are.
        begin_ns.checked_add(100_000_000 * clock.unit_ns)?;
        Some(Self { length, begin, begin_ns })
    }
}

/// A time in nanoseconds, or in its unit where the clock has 32 bits. `Some(None)`: one that is too large.
#[inline(always)]
pub fn time(values: &impl Values, clock: Clock) -> Option<Option<u64>> {
    if clock.wraps {
        let at = values.number(0)?;
        return Some(u32::try_from(at).ok().map(u64::from));
    }
    match values.piece(0).number() {
        Some(units) => Some(units.checked_mul(clock.unit_ns)),
        None => decimal_time(values.text(0).trim_ascii(), clock),
    }
}

/// A time with a point, whose digits after it end before parts of a nanosecond begin.
fn decimal_time(field: &[u8], clock: Clock) -> Option<Option<u64>> {
    let (units, count) = digits(field)?;
    let (parts, decimals) = match &field[count..] {
        [] => (0, 0),
        [b'.', decimals @ ..] => (number(decimals)?, u32::try_from(decimals.len()).ok()?),
        _ => return None,
    };
    let scale = clock.decimals.checked_sub(decimals)?;
    let whole = units.checked_mul(clock.unit_ns);
    Some(whole.and_then(|whole| whole.checked_add(parts * 10_u64.pow(scale))))
}
