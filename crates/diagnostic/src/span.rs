//! Where in which input text something stands.

use serde::{Serialize, Serializer};
use std::fmt;
use std::ops::{Deref, Range};

/// One of the texts of a [`Sources`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FileId(u32);

/// A half-open range of bytes of one text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// The text.
    pub file: FileId,
    /// The first byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

/// A value with the place that it was read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Located<T> {
    /// The value.
    pub value: T,
    /// The place of its text.
    pub span: Span,
}

impl<T> Located<T> {
    /// Joins a value to its place.
    pub const fn new(value: T, span: Span) -> Self {
        Self { value, span }
    }

    /// The same place with another value.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Located<U> {
        Located { value: change(self.value), span: self.span }
    }
}

impl<T: Serialize> Serialize for Located<T> {
    /// Only the value: where something stands in its file is no part of what it says.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.value.serialize(serializer)
    }
}

impl<T> Deref for Located<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.value
    }
}

/// A place as people name it: lines and columns count from 1, columns count characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    /// The file's name as the user gave it.
    pub file: String,
    /// The line, from 1.
    pub line: u32,
    /// The column in characters, from 1.
    pub column: u32,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.file, self.line, self.column)
    }
}

/// One input text with its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceFile {
    /// The name shown to people.
    pub name: String,
    /// The whole text.
    pub text: String,
    line_starts: Vec<u32>,
}

/// All input texts that spans may point into.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sources {
    files: Vec<SourceFile>,
}

impl Sources {
    /// No text yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a text. The caller keeps texts below 4 GiB; a longer one is cut in what spans can name.
    pub fn add(&mut self, name: impl Into<String>, text: impl Into<String>) -> FileId {
        let text = text.into();
        let breaks = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        let line_starts = std::iter::once(0).chain(breaks.map(|(at, _)| offset(at + 1))).collect();
        self.files.push(SourceFile { name: name.into(), text, line_starts });
        FileId(offset(self.files.len() - 1))
    }

    /// The text behind an id of this collection; `None` for an id of another one.
    pub fn get(&self, file: FileId) -> Option<&SourceFile> {
        self.files.get(file.0 as usize)
    }

    /// The line of a span's first byte, from 0.
    pub(crate) fn line_index(&self, span: Span) -> usize {
        let Some(file) = self.get(span.file) else { return 0 };
        file.line_starts.partition_point(|start| *start <= span.start).max(1) - 1
    }

    /// All texts in the order in which they were added.
    pub fn iter(&self) -> impl Iterator<Item = &SourceFile> {
        self.files.iter()
    }

    /// The place of a span's first byte, as people name it.
    pub fn position(&self, span: Span) -> Position {
        let Some(file) = self.get(span.file) else {
            return Position { file: String::new(), line: 1, column: 1 };
        };
        let line = self.line_index(span);
        let line_start = file.line_starts[line] as usize;
        // A place within a character, or behind the text, counts as the nearest one before it.
        let start = file.text.floor_char_boundary((span.start as usize).min(file.text.len()));
        let before = file.text.get(line_start..start).unwrap_or_default();
        let column = offset(before.chars().filter(|c| *c != '\u{feff}').count() + 1);
        Position { file: file.name.clone(), line: offset(line + 1), column }
    }
}

impl SourceFile {
    /// The bytes of some lines, counted from 0; without lines that are not there.
    pub(crate) fn lines(&self, lines: Range<usize>) -> Range<usize> {
        let place = |line: usize| self.line_starts.get(line).map_or(self.text.len(), |start| *start as usize);
        place(lines.start)..place(lines.end)
    }
}

impl Span {
    /// The bytes `start..end` of `file`.
    pub fn new(file: FileId, range: Range<usize>) -> Self {
        Self { file, start: offset(range.start), end: offset(range.end) }
    }

    /// The bytes that the span covers.
    pub fn range(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }

    /// The empty span behind the last byte.
    pub const fn behind(self) -> Self {
        Self { start: self.end, ..self }
    }

    /// From the start of this one to the end of another one of the same file.
    pub fn to(self, other: Self) -> Self {
        Self { end: other.end.max(self.end), ..self }
    }

    /// The place of what was never text; it lies in no file.
    pub const NOWHERE: Self = Self { file: FileId(u32::MAX), start: 0, end: 0 };

    /// The empty span at the head of a file, for what is missing in it altogether.
    pub const fn head(file: FileId) -> Self {
        Self { file, start: 0, end: 0 }
    }
}

fn offset(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_count_lines_and_characters_from_one() {
        let mut sources = Sources::new();
        let file = sources.add("a.toml", "\u{feff}a = 1\r\nµs = 2\n");
        let place = |range| sources.position(Span::new(file, range)).to_string();
        assert_eq!(place(3..4), "a.toml:1:1");
        assert_eq!(place(10..12), "a.toml:2:1");
        assert_eq!(place(13..14), "a.toml:2:3");
        assert_eq!(place(18..18), "a.toml:3:1");
    }
}
