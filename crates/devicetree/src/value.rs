//! Values of properties: arrays of cells, texts, byte strings and references, with commas between them.

use crate::cursor::{Cursor, Read, is_label, is_word};
use crate::draft::{Part, Target};
use diagnostic::codes::devicetree::TREE_ELSEWHERE;
use diagnostic::{Diagnostic, Located};

impl Cursor<'_> {
    /// A value behind its `=`, up to the `;`, which is left to take.
    pub(crate) fn value(&mut self) -> Read<Vec<Part>> {
        let mut parts = Vec::new();
        loop {
            self.labels()?;
            self.part(&mut parts)?;
            self.labels()?;
            if !self.eat(",") {
                return Ok(parts);
            }
        }
    }

    /// Labels of places within values name nothing that is read here.
    fn labels(&mut self) -> Read<()> {
        self.blank()?;
        while self.label().is_some() {
            self.blank()?;
        }
        Ok(())
    }

    fn part(&mut self, parts: &mut Vec<Part>) -> Read<()> {
        let from = self.at();
        if self.rest().starts_with('"') {
            parts.push(Part::Bytes(self.quoted()?));
        } else if self.eat("[") {
            parts.push(Part::Bytes(self.byte_string()?));
        } else if self.rest().starts_with('&') {
            parts.push(Part::Path(self.reference()?));
        } else if self.eat("<") {
            self.cells(32, parts)?;
        } else if self.eat("/bits/") {
            let bits = self.width()?;
            self.expect("<", "an array of cells in `<` and `>` follows the width")?;
            self.cells(bits, parts)?;
        } else if self.eat("/incbin/") {
            let fault =
                Diagnostic::new(&TREE_ELSEWHERE, self.span(from), "the bytes of another file are no part of this one");
            return Err(Box::new(fault.help("write the bytes as a byte string, such as [00 1f]")));
        } else {
            let message = format!("expected a value, and {}", self.found());
            return Err(self.fault(self.here(), message, "a value is <cells>, \"text\", [bytes] or &label"));
        }
        Ok(())
    }

    /// The width of cells behind `/bits/`.
    fn width(&mut self) -> Read<u32> {
        self.blank()?;
        let width = self.integer()?;
        match width.value {
            8 | 16 | 32 | 64 => Ok(u32::try_from(width.value).unwrap_or(32)),
            other => Err(self.bad_value(width.span, format!("cells of {other} bits"), "write 8, 16, 32 or 64")),
        }
    }

    /// Cells behind their `<`.
    fn cells(&mut self, bits: u32, parts: &mut Vec<Part>) -> Read<()> {
        let mut bytes = Vec::new();
        loop {
            self.labels()?;
            if self.eat(">") {
                parts.push(Part::Bytes(bytes));
                return Ok(());
            }
            if !self.rest().starts_with('&') {
                let value = self.integer()?;
                bytes.extend_from_slice(&self.cell(value, bits)?);
                continue;
            }
            let target = self.reference()?;
            if bits != 32 {
                let message = format!("a reference is a cell of 32 bits, and these have {bits}");
                return Err(self.fault(target.span, message, "write it in an array without `/bits/`"));
            }
            parts.push(Part::Bytes(std::mem::take(&mut bytes)));
            parts.push(Part::Handle(target));
        }
    }

    /// A cell's bytes. A negative number of 64 bits fits where it is one of fewer bits too.
    fn cell(&self, value: Located<u64>, bits: u32) -> Read<Vec<u8>> {
        let mask = u64::MAX >> (64 - bits);
        if value.value > mask && value.value | mask != u64::MAX {
            let message = format!("{:#x} does not fit into a cell of {bits} bits", value.value);
            return Err(self.bad_value(value.span, message, "write its upper and its lower half as two cells"));
        }
        let bytes = value.value.to_be_bytes();
        Ok(bytes[8 - bits as usize / 8..].to_vec())
    }

    /// `&label` or `&{/path}`.
    pub(crate) fn reference(&mut self) -> Read<Located<Target>> {
        let from = self.at();
        self.bump();
        if self.eat("{") {
            let path = self.take_while(|c| is_word(c) || c == '/').to_owned();
            let closed = self.eat("}");
            let span = self.span(from);
            if closed && path.starts_with('/') {
                return Ok(Located::new(Target::Path(path), span));
            }
            return Err(self.fault(span, "this is no reference by path", "write such as &{/soc/serial@4600}"));
        }
        let label = self.take_while(is_label).to_owned();
        let span = self.span(from);
        if label.is_empty() || label.starts_with(|c: char| c.is_ascii_digit()) {
            return Err(self.fault(span, "`&` stands without a label", "write such as &uart0 or &{/soc/serial@4600}"));
        }
        Ok(Located::new(Target::Label(label), span))
    }
}
