//! SHA-256 digests that identify inputs.

use serde::{Serialize, Serializer};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

/// The digest of what comes piece by piece.
#[derive(Debug, Clone, Default)]
pub struct Digesting(Sha256);

impl Digesting {
    /// Takes the next bytes.
    pub fn add(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The digest of all bytes taken.
    pub fn finish(self) -> Digest {
        Digest(self.0.finalize().into())
    }
}

/// A SHA-256 digest. It reveals accidental change, not a forger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// The digest of some bytes.
    pub fn of_bytes(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The digest of a value's canonical JSON: no white space, fields by name, no places, and no field that is not given, so
    /// that one more that could be given changes nothing.
    pub fn of_value(value: &impl Serialize) -> Self {
        let given = serde_json::to_value(value).map(given).unwrap_or_default();
        Self::of_bytes(given.to_string().as_bytes())
    }
}

/// The value with the fields of every object by name, those left out that are null.
fn given(value: Value) -> Value {
    match value {
        Value::Object(fields) => {
            let fields =
                fields.into_iter().filter(|(_, value)| !value.is_null()).map(|(name, value)| (name, given(value)));
            // Whether the library keeps the order of fields is not asked.
            Value::Object(fields.collect::<BTreeMap<_, _>>().into_iter().collect())
        }
        Value::Array(values) => Value::Array(values.into_iter().map(given).collect()),
        other => other,
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "sha256:")?;
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl FromStr for Digest {
    type Err = &'static str;

    /// Reads `sha256:` and 64 hexadecimal digits.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        const EXPECTED: &str = "is not a digest; write `sha256:` and 64 hexadecimal digits";
        let digits = text.strip_prefix("sha256:").ok_or(EXPECTED)?;
        if digits.len() != 64 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(EXPECTED);
        }
        let mut bytes = [0; 32];
        for (index, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&digits[2 * index..2 * index + 2], 16).map_err(|_| EXPECTED)?;
        }
        Ok(Self(bytes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_that_is_not_given_is_no_part_of_the_meaning() {
        #[derive(Serialize)]
        struct Before {
            b: u8,
            a: [Option<u8>; 2],
        }
        #[derive(Serialize)]
        struct After {
            a: [Option<u8>; 2],
            more: Option<u8>,
            b: u8,
        }
        let a = [None, Some(1)];
        let after = |more| Digest::of_value(&After { a, more, b: 2 });
        assert_eq!(Digest::of_value(&Before { b: 2, a }), after(None));
        assert_eq!(after(None), Digest::of_bytes(br#"{"a":[null,1],"b":2}"#));
        assert_ne!(after(Some(0)), after(None));
    }

    /// FIPS 180-2, appendix B.1: the digest of "abc".
    #[test]
    fn the_digest_of_abc_is_the_published_one() {
        let text = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Digest::of_bytes(b"abc").to_string(), text);
        assert_eq!(text.parse(), Ok(Digest::of_bytes(b"abc")));
        assert!("sha256:ba".parse::<Digest>().is_err());
    }
}
