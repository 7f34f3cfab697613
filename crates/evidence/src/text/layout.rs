//! Lines of limited width.

use super::Style;
use claim::Status;

/// On fewer columns than this, bars make room for words.
const NARROW: usize = 80;

/// Text under construction.
pub(super) struct Page {
    pub style: Style,
    out: String,
}

/// A column's side.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Align {
    Left,
    Right,
}

impl Page {
    pub fn new(style: Style) -> Self {
        Self { style: Style { width: style.width.max(60), ..style }, out: String::new() }
    }

    pub fn finish(self) -> String {
        self.out
    }

    /// A line as it is, without the blanks at its end.
    pub fn line(&mut self, text: &str) {
        self.out.push_str(text.trim_end());
        self.out.push('\n');
    }

    /// A heading after an empty line.
    pub fn heading(&mut self, title: &str) {
        let title = self.paint("1", title);
        self.out.push('\n');
        self.line(&title);
    }

    /// A line as it is, where it fits; else its words broken into lines.
    pub fn entry(&mut self, indent: usize, text: &str) {
        if indent + columns(text) <= self.style.width {
            self.line(&format!("{}{text}", " ".repeat(indent)));
        } else {
            self.hanging(indent, indent + 2, text);
        }
    }

    /// Words broken into lines, all indented.
    pub fn paragraph(&mut self, indent: usize, text: &str) {
        self.hanging(indent, indent, text);
    }

    /// Words broken into lines behind a label: the lines that follow stand under the first word.
    pub fn labelled(&mut self, indent: usize, label: &str, text: &str) {
        let rest = indent + columns(label) + 2;
        self.flow(format!("{}{label}  ", " ".repeat(indent)), rest, text);
    }

    /// Words broken into lines: the first at `first`, the others at `rest`.
    pub fn hanging(&mut self, first: usize, rest: usize, text: &str) {
        self.flow(" ".repeat(first), rest, text);
    }

    fn flow(&mut self, mut line: String, rest: usize, text: &str) {
        let mut fresh = true;
        for word in text.split_whitespace() {
            if !fresh && columns(&line) + 1 + columns(word) > self.style.width {
                self.line(&line);
                line = " ".repeat(rest);
                fresh = true;
            }
            if !fresh {
                line.push(' ');
            }
            line.push_str(word);
            fresh = false;
        }
        self.line(&line);
    }

    /// A status in words, padded to the longest of them, in its colour.
    pub fn status(&self, status: Status) -> String {
        let colour = match status {
            Status::Shown => "32",
            Status::NotShown => "33",
            Status::Violated => "31;1",
            Status::NotAnalysed => "35",
        };
        self.paint(colour, &format!("{:<12}", status.words()))
    }

    /// Text in a colour, where colours are wanted.
    pub fn paint(&self, code: &str, text: &str) -> String {
        if self.style.colour { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_owned() }
    }

    /// A bar of `width` cells for a share in tenths of a percent; what passes the limit is marked at its end. A narrow
    /// page has no room for one.
    pub fn bar(&self, permille: u64, width: usize) -> String {
        let width = if self.style.width < NARROW { 0 } else { width };
        let (full, over, empty) = if self.style.unicode { ('█', '▶', '·') } else { ('#', '>', '.') };
        let cells = usize::try_from(permille).unwrap_or(usize::MAX).saturating_mul(width) / 1000;
        let mut bar: String = (0..width).map(|cell| if cell < cells { full } else { empty }).collect();
        if permille > 1000 && width > 0 {
            bar.pop();
            bar.push(over);
        }
        bar
    }

    /// Rows in columns two blanks apart, all indented. A first cell that would make its row too wide gets a line of
    /// its own.
    pub fn table(&mut self, indent: usize, aligns: &[Align], rows: &[Vec<String>]) {
        let width_of = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| columns(cell)).max();
        let mut widths: Vec<usize> = (0..aligns.len()).map(|column| width_of(column).unwrap_or(0)).collect();
        let others: usize = widths.iter().skip(1).map(|width| width + 2).sum();
        if let Some(first) = widths.first_mut() {
            *first = (*first).min(self.style.width.saturating_sub(indent + others));
        }
        for row in rows {
            self.row(indent, aligns, &widths, row);
        }
    }

    fn row(&mut self, indent: usize, aligns: &[Align], widths: &[usize], row: &[String]) {
        let blanks = " ".repeat(indent);
        let alone = columns(&row[0]) > widths[0] && row.len() > 1;
        if alone {
            self.line(&format!("{blanks}{}", row[0]));
        }
        let cell = |(at, cell): (usize, &String)| {
            let cell = if alone && at == 0 { "" } else { cell };
            pad(cell, widths[at], aligns[at])
        };
        let cells: Vec<String> = row.iter().enumerate().map(cell).collect();
        self.line(&format!("{blanks}{}", cells.join("  ")));
    }
}

/// The columns that a text takes: characters, but none for colour.
pub(super) fn columns(text: &str) -> usize {
    let mut inside = false;
    text.chars().filter(|c| shown(*c, &mut inside)).count()
}

/// Whether a character takes a column; `inside` follows colour sequences.
fn shown(c: char, inside: &mut bool) -> bool {
    let was = *inside;
    *inside = if was { c != 'm' } else { c == '\u{1b}' };
    !was && !*inside
}

fn pad(cell: &str, width: usize, align: Align) -> String {
    let blanks = " ".repeat(width.saturating_sub(columns(cell)));
    match align {
        Align::Left => format!("{cell}{blanks}"),
        Align::Right => format!("{blanks}{cell}"),
    }
}
