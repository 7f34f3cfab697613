//! Reading a decimal number with a unit, exactly.

use crate::LIMIT;
use thiserror::Error;

/// Why a text is not a quantity. Each message ends in what would be right.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum QuantityError {
    /// The text holds nothing but white space.
    #[error("is empty; write a number and a unit, such as {example}")]
    Empty {
        /// A text that would be read.
        example: &'static str,
    },
    /// The text does not begin with a plain decimal number.
    #[error("does not begin with a plain decimal number; write one such as {example}")]
    NotANumber {
        /// A text that would be read.
        example: &'static str,
    },
    /// The number is below zero, and no quantity of a system is.
    #[error("is negative; a quantity here is zero or more, such as {example}")]
    Negative {
        /// A text that would be read.
        example: &'static str,
    },
    /// The number stands alone.
    #[error("has no unit; write one of {units}")]
    NoUnit {
        /// The closed list of units.
        units: &'static str,
    },
    /// The unit is not one of the closed list.
    #[error("has the unknown unit `{unit}`; write one of {units}")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// The closed list of units.
        units: &'static str,
    },
    /// The value is not a whole number of the smallest unit.
    #[error("is not a whole number of {smallest}; nothing is rounded here")]
    NotWhole {
        /// The smallest unit of the quantity.
        smallest: &'static str,
    },
    /// The value passes [`LIMIT`].
    #[error("is too large; the largest value is {LIMIT} {smallest}")]
    TooLarge {
        /// The smallest unit of the quantity.
        smallest: &'static str,
    },
}

/// The units of one kind of quantity: names with their size in the smallest unit.
pub(crate) struct Units {
    pub(crate) table: &'static [(&'static str, u64)],
    pub(crate) list: &'static str,
    pub(crate) smallest: &'static str,
    pub(crate) example: &'static str,
}

impl Units {
    /// Reads `text` as a decimal number, optional white space and a unit of this list.
    pub(crate) fn parse(&self, text: &str) -> Result<u64, QuantityError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(QuantityError::Empty { example: self.example });
        }
        if text.starts_with('-') {
            return Err(QuantityError::Negative { example: self.example });
        }
        let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '_')).unwrap_or(text.len());
        let (number, unit) = (&text[..end], text[end..].trim());
        let scale = self.scale(number, unit)?;
        self.scaled(number, scale)
    }

    fn scale(&self, number: &str, unit: &str) -> Result<u64, QuantityError> {
        if !number.starts_with(|c: char| c.is_ascii_digit()) {
            return Err(QuantityError::NotANumber { example: self.example });
        }
        if unit.is_empty() {
            return Err(QuantityError::NoUnit { units: self.list });
        }
        let known = self.table.iter().find(|(name, _)| *name == unit);
        known
            .map(|(_, scale)| *scale)
            .ok_or_else(|| QuantityError::UnknownUnit { unit: unit.to_owned(), units: self.list })
    }

    /// `number * scale`, where the number may have a decimal part that the scale makes whole.
    fn scaled(&self, number: &str, scale: u64) -> Result<u64, QuantityError> {
        let (whole, fraction) = number.split_once('.').unwrap_or((number, "0"));
        let not_a_number = || QuantityError::NotANumber { example: self.example };
        let too_large = || QuantityError::TooLarge { smallest: self.smallest };
        let digits = |part: &str| -> Result<String, QuantityError> {
            let digits: String = part.chars().filter(|c| *c != '_').collect();
            if digits.is_empty() || digits.contains('.') { Err(not_a_number()) } else { Ok(digits) }
        };
        let whole: u128 = digits(whole)?.parse().map_err(|_| too_large())?;
        let fraction = digits(fraction)?;
        let fraction = fraction.trim_end_matches('0');
        // A decimal part longer than this cannot become whole by any scale of the tables.
        if fraction.len() > 18 {
            return Err(QuantityError::NotWhole { smallest: self.smallest });
        }
        let denominator = 10u128.pow(fraction.len() as u32);
        let numerator = if fraction.is_empty() { 0 } else { fraction.parse::<u128>().map_err(|_| not_a_number())? };
        let part = numerator * u128::from(scale);
        if !part.is_multiple_of(denominator) {
            return Err(QuantityError::NotWhole { smallest: self.smallest });
        }
        let total = whole.checked_mul(u128::from(scale)).and_then(|w| w.checked_add(part / denominator));
        total.and_then(|t| u64::try_from(t).ok()).filter(|t| *t <= LIMIT).ok_or_else(too_large)
    }
}

/// Writes `value / scale` as an exact decimal without trailing zeros; `scale` is a power of ten.
pub(crate) fn decimal(value: u64, scale: u64) -> String {
    let (whole, rest) = (value / scale, value % scale);
    if rest == 0 {
        return whole.to_string();
    }
    let width = scale.ilog10() as usize;
    format!("{whole}.{rest:0width$}").trim_end_matches('0').to_owned()
}
