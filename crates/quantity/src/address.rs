//! Physical addresses.

use crate::{Bytes, text::QuantityError};
use serde::{Serialize, Serializer};
use std::fmt;
use std::str::FromStr;

const EXAMPLE: &str = "\"0x8000_0000\"";

/// A physical address; the whole 64 bits are in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Address(u64);

impl Address {
    /// The address `address`.
    pub const fn new(address: u64) -> Self {
        Self(address)
    }

    /// The address as a bare integer.
    pub const fn get(self) -> u64 {
        self.0
    }

    /// The first address behind a range of `size` bytes that begins here; `None` where it wraps round 2^64.
    /// A range that ends exactly at 2^64 wraps too: its end is no address.
    pub const fn checked_add(self, size: Bytes) -> Option<Self> {
        match self.0.checked_add(size.get()) {
            Some(end) => Some(Self(end)),
            None => None,
        }
    }
}

impl Serialize for Address {
    /// Addresses are written as hexadecimal text, since many JSON readers keep only 53 bits of a number.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl FromStr for Address {
    type Err = QuantityError;

    /// Reads a hexadecimal text such as `"0x8000_0000"`.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let not_a_number = QuantityError::NotANumber { example: EXAMPLE };
        let text = text.trim();
        if text.is_empty() {
            return Err(QuantityError::Empty { example: EXAMPLE });
        }
        let digits: String =
            text.strip_prefix("0x").ok_or(not_a_number.clone())?.chars().filter(|c| *c != '_').collect();
        if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(not_a_number);
        }
        u64::from_str_radix(&digits, 16)
            .map(Self)
            .map_err(|_| QuantityError::TooLarge { smallest: "addresses of 64 bits" })
    }
}

impl fmt::Display for Address {
    /// Groups of four hexadecimal digits, at least two of them: `0x8000_0000`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = format!("{:08x}", self.0);
        let head = digits.len() % 4;
        let mut text = String::from("0x");
        for (index, digit) in digits.chars().enumerate() {
            if index > 0 && index % 4 == head % 4 {
                text.push('_');
            }
            text.push(digit.to_ascii_uppercase());
        }
        f.pad(&text)
    }
}
