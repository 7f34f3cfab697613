//! A place in the text that only moves forward: blanks, comments, words.

use diagnostic::codes::devicetree::{TREE_ELSEWHERE, TREE_SYNTAX};
use diagnostic::{Diagnostic, FileId, Located, Span};

/// What a step of reading gives: a value, or the one fault that ends it.
pub(crate) type Read<T> = Result<T, Box<Diagnostic>>;

pub(crate) struct Cursor<'a> {
    text: &'a str,
    at: usize,
    file: FileId,
}

/// The words that follow a `#` at the begin of a line of the C preprocessor.
const PREPROCESSOR: &[&str] = &[
    "include", "define", "undef", "if", "ifdef", "ifndef", "else", "elif", "endif", "error", "warning", "pragma",
    "line",
];

impl<'a> Cursor<'a> {
    pub const fn new(text: &'a str, file: FileId) -> Self {
        Self { text, at: 0, file }
    }

    /// What is still to come.
    pub fn rest(&self) -> &'a str {
        &self.text[self.at..]
    }

    pub const fn at(&self) -> usize {
        self.at
    }

    /// From an earlier place to this one.
    pub fn span(&self, from: usize) -> Span {
        Span::new(self.file, from..self.at)
    }

    /// The next character, or the end of the text.
    pub fn here(&self) -> Span {
        let next = self.rest().chars().next().map_or(0, char::len_utf8);
        Span::new(self.file, self.at..self.at + next)
    }

    /// A fault of the grammar at a place.
    pub fn fault(&self, span: Span, message: impl Into<String>, help: &str) -> Box<Diagnostic> {
        Box::new(Diagnostic::new(&TREE_SYNTAX, span, message).help(help))
    }

    /// What stands here, for a message.
    pub fn found(&self) -> String {
        match self.rest().chars().next() {
            None => "the file ends".to_owned(),
            Some(letter) => {
                let word: String = self.rest().chars().take_while(|c| is_word(*c)).take(40).collect();
                let shown = if word.is_empty() { letter.escape_debug().to_string() } else { word };
                format!("here stands `{shown}`")
            }
        }
    }

    /// Takes one character.
    pub fn bump(&mut self) -> Option<char> {
        let letter = self.rest().chars().next()?;
        self.at += letter.len_utf8();
        Some(letter)
    }

    /// Takes a text, where it stands here.
    pub fn eat(&mut self, text: &str) -> bool {
        let is_here = self.rest().starts_with(text);
        if is_here {
            self.at += text.len();
        }
        is_here
    }

    /// Takes the letters that belong together.
    pub fn take_while(&mut self, belongs: impl Fn(char) -> bool) -> &'a str {
        let rest = self.rest();
        let length = rest.find(|c| !belongs(c)).unwrap_or(rest.len());
        self.at += length;
        &rest[..length]
    }

    /// Takes a text with blanks before it, or says what stands in its place.
    pub fn expect(&mut self, text: &str, help: &str) -> Read<()> {
        self.blank()?;
        if self.eat(text) {
            return Ok(());
        }
        let message = format!("expected `{text}`, and {}", self.found());
        Err(self.fault(self.here(), message, help))
    }

    /// Skips white space and comments.
    pub fn blank(&mut self) -> Read<()> {
        loop {
            self.take_while(char::is_whitespace);
            if self.rest().starts_with("//") {
                self.take_while(|c| c != '\n');
            } else if self.rest().starts_with("/*") {
                self.comment()?;
            } else {
                return self.no_preprocessor();
            }
        }
    }

    fn comment(&mut self) -> Read<()> {
        let (from, rest) = (self.at, self.rest());
        match rest[2..].find("*/") {
            Some(length) => self.at += length + 4,
            None => {
                let open = Span::new(self.file, from..from + 2);
                self.at = self.text.len();
                return Err(self.fault(open, "this comment has no end", "close it with `*/`"));
            }
        }
        Ok(())
    }

    /// A line of the C preprocessor is no devicetree source yet.
    fn no_preprocessor(&mut self) -> Read<()> {
        let Some(after) = self.rest().strip_prefix('#') else { return Ok(()) };
        let before = self.text[..self.at].trim_end_matches([' ', '\t']);
        if !before.is_empty() && !before.ends_with('\n') {
            return Ok(());
        }
        let word = after
            .trim_start_matches([' ', '\t'])
            .split(|c: char| !c.is_ascii_alphanumeric())
            .next()
            .unwrap_or_default();
        // `# 12 "file"` is a mark that the preprocessor leaves behind.
        let is_mark = after.starts_with(' ') && !word.is_empty() && word.bytes().all(|b| b.is_ascii_digit());
        if !is_mark && !PREPROCESSOR.contains(&word) {
            return Ok(());
        }
        let from = self.at;
        self.take_while(|c| c != '\n');
        let fault = Diagnostic::new(&TREE_ELSEWHERE, self.span(from), "this line is for the C preprocessor");
        let help =
            "name the output of the preprocessor, made without line marks (such as by `cpp -P`), in place of this file";
        Err(Box::new(fault.help(help)))
    }

    /// Takes a label, where one stands here; its colon stands right behind it.
    pub fn label(&mut self) -> Option<Located<String>> {
        let rest = self.rest();
        let length = rest.find(|c| !is_label(c)).unwrap_or(rest.len());
        let is_one = length > 0 && !rest.starts_with(|c: char| c.is_ascii_digit()) && rest[length..].starts_with(':');
        is_one.then(|| {
            let from = self.at;
            self.at += length;
            let label = Located::new(rest[..length].to_owned(), self.span(from));
            self.at += 1;
            label
        })
    }

    /// Goes on behind the statement that a fault stands in: its `;`, or the brace that closes around it, which is left to take.
    pub fn recover(&mut self) {
        let mut depth = 0usize;
        while let Some(letter) = self.rest().chars().next() {
            match letter {
                '}' if depth == 0 => return,
                ';' if depth == 0 => {
                    self.bump();
                    return;
                }
                '{' => depth += 1,
                '}' => depth -= 1,
                '"' => self.skip_text(),
                // An open comment has been told, or will be when it is the next thing read.
                '/' if self.rest().starts_with("/*") => {
                    drop(self.comment());
                    continue;
                }
                '/' if self.rest().starts_with("//") => {
                    self.take_while(|c| c != '\n');
                }
                _ => {}
            }
            self.bump();
        }
    }

    /// To the closing quote of a text, which is left to take.
    fn skip_text(&mut self) {
        self.bump();
        while let Some(letter) = self.rest().chars().next().filter(|c| *c != '"') {
            self.bump();
            if letter == '\\' {
                self.bump();
            }
        }
    }
}

/// Letters of a label.
pub(crate) const fn is_label(letter: char) -> bool {
    letter.is_ascii_alphanumeric() || letter == '_'
}

/// Letters of the names of nodes and properties.
pub(crate) fn is_word(letter: char) -> bool {
    letter.is_ascii_alphanumeric() || ",._+-*?#@".contains(letter)
}
