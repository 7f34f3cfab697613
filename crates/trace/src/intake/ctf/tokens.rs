//! The words and signs of a metadata text, each with its line.

use super::Wrong;

/// A word or sign.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Token {
    /// A name or key word.
    Word(String),
    /// A whole number.
    Number(i128),
    /// A text between quotation marks.
    Text(String),
    /// A sign: one of `{ } [ ] ( ) < > ; : , . =`, or `:=` or `...`.
    Sign(&'static str),
}

/// Longer signs come before those that they begin with.
const SIGNS: [&str; 14] = [":=", "...", "{", "}", "[", "]", "(", ")", "<", ">", ";", ":", ",", "="];

/// All of a text, with the line of each.
pub fn tokens(text: &str) -> Result<Vec<(Token, u64)>, Wrong> {
    let mut scan = Scan { rest: text, line: 1 };
    let mut found = Vec::new();
    loop {
        scan.skip_blanks()?;
        if scan.rest.is_empty() {
            return Ok(found);
        }
        let line = scan.line;
        found.push((scan.token()?, line));
    }
}

struct Scan<'a> {
    rest: &'a str,
    line: u64,
}

impl<'a> Scan<'a> {
    fn take(&mut self, bytes: usize) -> &'a str {
        let (taken, rest) = self.rest.split_at(bytes);
        self.rest = rest;
        self.line += taken.bytes().filter(|byte| *byte == b'\n').count() as u64;
        taken
    }

    fn skip_blanks(&mut self) -> Result<(), Wrong> {
        loop {
            let blanks = self.rest.len() - self.rest.trim_start().len();
            self.take(blanks);
            if self.rest.starts_with("//") {
                self.take(self.rest.find('\n').unwrap_or(self.rest.len()));
            } else if self.rest.starts_with("/*") {
                let end = self.rest.find("*/").ok_or_else(|| Wrong::at(self.line, "a comment has no end"))?;
                self.take(end + 2);
            } else {
                return Ok(());
            }
        }
    }

    fn token(&mut self) -> Result<Token, Wrong> {
        let first = self.rest.chars().next().unwrap_or_default();
        if first == '"' {
            return self.text();
        }
        if first == '-' || first.is_ascii_digit() {
            return self.number();
        }
        if first.is_ascii_alphabetic() || first == '_' {
            let end = self.rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '_').unwrap_or(self.rest.len());
            return Ok(Token::Word(self.take(end).to_owned()));
        }
        if let Some(sign) = SIGNS.into_iter().chain(["."]).find(|sign| self.rest.starts_with(sign)) {
            self.take(sign.len());
            return Ok(Token::Sign(sign));
        }
        Err(Wrong::at(self.line, format!("the sign '{first}' is not read")))
    }

    /// A text with its escapes; octal and hexadecimal ones are refused, as nothing that is read needs them.
    fn text(&mut self) -> Result<Token, Wrong> {
        let line = self.line;
        let mut text = String::new();
        let mut chars = self.rest.char_indices().skip(1);
        while let Some((at, char)) = chars.next() {
            match char {
                '"' => {
                    self.take(at + 1);
                    return Ok(Token::Text(text));
                }
                '\\' => match chars.next().map(|(_, escaped)| escaped) {
                    Some(same @ ('\\' | '"' | '\'' | '?')) => text.push(same),
                    Some('n') => text.push('\n'),
                    Some('t') => text.push('\t'),
                    Some('r') => text.push('\r'),
                    _ => {
                        return Err(Wrong::at(line, "an escape in a text is not read: only \\\\ \\\" \\n \\t \\r are"));
                    }
                },
                other => text.push(other),
            }
        }
        Err(Wrong::at(line, "a text has no end"))
    }

    /// A decimal, octal (`0…`) or hexadecimal (`0x…`) number, with or without a minus sign and C's length marks.
    fn number(&mut self) -> Result<Token, Wrong> {
        let line = self.line;
        let negative = self.rest.starts_with('-');
        if negative {
            self.take(1);
            self.skip_blanks()?;
        }
        let end = self.rest.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(self.rest.len());
        let word = self.take(end);
        let digits = word.trim_end_matches(['u', 'U', 'l', 'L']);
        let hexadecimal = digits.strip_prefix("0x").or_else(|| digits.strip_prefix("0X"));
        let value = match hexadecimal {
            Some(digits) => i128::from_str_radix(digits, 16),
            None if digits.len() > 1 && digits.starts_with('0') => i128::from_str_radix(&digits[1..], 8),
            None => digits.parse::<i128>(),
        };
        match value {
            Ok(value) if value <= i128::from(u64::MAX) => Ok(Token::Number(if negative { -value } else { value })),
            _ => Err(Wrong::at(line, format!("'{word}' is no whole number of at most 64 bits"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_numbers_texts_and_signs_come_with_their_lines() {
        let text = "a := { 0x1F -010 7UL } // end\n/* two\nlines */ \"x\\\"y\" ... .b";
        let expected = vec![
            (Token::Word("a".into()), 1),
            (Token::Sign(":="), 1),
            (Token::Sign("{"), 1),
            (Token::Number(31), 1),
            (Token::Number(-8), 1),
            (Token::Number(7), 1),
            (Token::Sign("}"), 1),
            (Token::Text("x\"y".into()), 3),
            (Token::Sign("..."), 3),
            (Token::Sign("."), 3),
            (Token::Word("b".into()), 3),
        ];
        assert_eq!(tokens(text), Ok(expected));
    }

    #[test]
    fn what_has_no_end_or_is_no_sign_is_refused_at_its_line() {
        for (text, line) in
            [("\n\"abc", 2), ("/*", 1), ("a\n\n@", 3), ("0xZZ", 1), ("99999999999999999999999", 1), ("\"\\x41\"", 1)]
        {
            assert_eq!(tokens(text).map_err(|wrong| wrong.line), Err(line), "{text}");
        }
    }
}
