//! Numbers, texts and byte strings as they are written.

use crate::cursor::{Cursor, Read, is_label};
use diagnostic::codes::devicetree::TREE_VALUE;
use diagnostic::{Diagnostic, Located, Span};

impl Cursor<'_> {
    /// A number that cannot be.
    pub(crate) fn bad_value(&self, span: Span, message: impl Into<String>, help: &str) -> Box<Diagnostic> {
        Box::new(Diagnostic::new(&TREE_VALUE, span, message).help(help))
    }

    /// A whole number: decimal, octal with a leading 0, hexadecimal with 0x, or a character in single quotes.
    pub(crate) fn number(&mut self) -> Read<Located<u64>> {
        let from = self.at();
        if self.rest().starts_with('\'') {
            return self.character(from);
        }
        let word = self.take_while(is_label);
        let span = self.span(from);
        if word.is_empty() {
            let message = format!("expected a number, and {}", self.found());
            return Err(self.fault(
                self.here(),
                message,
                "numbers are decimal, or begin with 0x, or stand in parentheses",
            ));
        }
        if !word.starts_with(|c: char| c.is_ascii_digit()) {
            let help = "names stand for numbers only before the C preprocessor has run: write the number, or name the \
                        preprocessor's output";
            return Err(self.fault(span, format!("`{word}` is no number"), help));
        }
        let digits = word.trim_end_matches(['u', 'U', 'l', 'L']);
        let suffix = word[digits.len()..].to_ascii_uppercase();
        let (digits, radix) = match digits.strip_prefix("0x").or_else(|| digits.strip_prefix("0X")) {
            Some(digits) => (digits, 16),
            None if digits.len() > 1 && digits.starts_with('0') => (digits, 8),
            None => (digits, 10),
        };
        let is_number = !digits.is_empty() && digits.chars().all(|c| c.is_digit(radix));
        if !is_number || !["", "U", "L", "UL", "LL", "ULL"].contains(&suffix.as_str()) {
            return Err(self.fault(
                span,
                format!("`{word}` is no number"),
                "numbers are decimal, octal after a 0, or begin with 0x",
            ));
        }
        let value = u64::from_str_radix(digits, radix);
        let too_large = || self.bad_value(span, format!("{word} is more than 64 bits hold"), "split it into cells");
        value.map(|value| Located::new(value, span)).map_err(|_| too_large())
    }

    fn character(&mut self, from: usize) -> Read<Located<u64>> {
        self.bump();
        let mut bytes = Vec::new();
        let has_one = !self.rest().starts_with(['\'', '\n']) && self.escaped(&mut bytes).is_some();
        let closed = self.eat("'");
        let span = self.span(from);
        match bytes[..] {
            [byte] if has_one && closed => Ok(Located::new(u64::from(byte), span)),
            _ => Err(self.fault(
                span,
                "this is no character of one byte in single quotes",
                "write one such as 'r' or '\\n'",
            )),
        }
    }

    /// The bytes of one character, in which a backslash means what it means in C.
    fn escaped(&mut self, bytes: &mut Vec<u8>) -> Option<()> {
        let letter = self.bump()?;
        if letter != '\\' {
            bytes.extend_from_slice(letter.encode_utf8(&mut [0; 4]).as_bytes());
            return Some(());
        }
        if self.rest().starts_with(|c: char| c.is_digit(8)) {
            bytes.push(self.digits(8, 3));
            return Some(());
        }
        match self.bump()? {
            'a' => bytes.push(0x07),
            'b' => bytes.push(0x08),
            't' => bytes.push(b'\t'),
            'n' => bytes.push(b'\n'),
            'v' => bytes.push(0x0B),
            'f' => bytes.push(0x0C),
            'r' => bytes.push(b'\r'),
            'x' if self.rest().starts_with(|c: char| c.is_ascii_hexdigit()) => bytes.push(self.digits(16, 2)),
            'x' => return None,
            other => bytes.extend_from_slice(other.encode_utf8(&mut [0; 4]).as_bytes()),
        }
        Some(())
    }

    /// At most so many digits as one byte; of three octal ones the lower eight bits.
    fn digits(&mut self, radix: u32, most: usize) -> u8 {
        let mut value = 0u32;
        for _ in 0..most {
            let Some(digit) = self.rest().chars().next().and_then(|c| c.to_digit(radix)) else { break };
            self.bump();
            value = value * radix + digit;
        }
        value.to_le_bytes()[0]
    }

    /// A text in double quotes, with the NUL behind it.
    pub(crate) fn quoted(&mut self) -> Read<Vec<u8>> {
        let from = self.at();
        self.bump();
        let mut bytes = Vec::new();
        loop {
            if self.eat("\"") {
                bytes.push(0);
                return Ok(bytes);
            }
            if self.escaped(&mut bytes).is_none() {
                let open = Span { end: self.span(from).start + 1, ..self.span(from) };
                return Err(self.fault(
                    open,
                    "this text cannot be read to its end",
                    "close it with `\"`; hexadecimal digits follow `\\x`",
                ));
            }
        }
    }

    /// A byte string behind its `[`.
    pub(crate) fn byte_string(&mut self) -> Read<Vec<u8>> {
        let mut bytes = Vec::new();
        loop {
            self.blank()?;
            if self.eat("]") {
                return Ok(bytes);
            }
            if self.label().is_some() {
                continue;
            }
            let from = self.at();
            let pair: String = self.rest().chars().take(2).filter(char::is_ascii_hexdigit).collect();
            match u8::from_str_radix(&pair, 16) {
                Ok(byte) if pair.len() == 2 => {
                    bytes.push(byte);
                    self.bump();
                    self.bump();
                }
                _ => {
                    let message = format!("expected two hexadecimal digits or `]`, and {}", self.found());
                    return Err(self.fault(
                        self.span(from).to(self.here()),
                        message,
                        "a byte string is such as [00 1f a0]",
                    ));
                }
            }
        }
    }
}
