//! Diagnostics as people read them. The only module that knows the drawing library.

use crate::{Diagnostic, FileId, Label, Severity, SourceFile, Sources};
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// Whether the text may carry terminal colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// Letters only.
    Plain,
    /// With terminal colours.
    Coloured,
}

/// Two labels of a file that lie further apart are drawn as two extracts, so that no more text than this is searched.
const LINES_TOGETHER: usize = 200;

/// Draws a diagnostic: what is wrong, the lines with the places underlined, the help.
pub fn render_text(diagnostic: &Diagnostic, sources: &Sources, look: Look) -> String {
    let level = match diagnostic.severity() {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut group = Group::with_title(level.primary_title(&diagnostic.message).id(diagnostic.code.id));
    for extract in extracts(diagnostic, sources) {
        group = group.element(extract.snippet());
    }
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(help));
    }
    let renderer = match look {
        Look::Plain => Renderer::plain(),
        Look::Coloured => Renderer::styled(),
    };
    renderer.render(&[group])
}

/// A run of lines of one file with the labels in it.
struct Extract<'a> {
    id: FileId,
    file: &'a SourceFile,
    lines: Range<usize>,
    labels: Vec<(AnnotationKind, &'a Label)>,
}

/// The labels of a diagnostic, those near each other joined, in the order in which they were given.
fn extracts<'a>(diagnostic: &'a Diagnostic, sources: &'a Sources) -> Vec<Extract<'a>> {
    let mut extracts: Vec<Extract<'a>> = Vec::new();
    let secondary = diagnostic.secondary.iter().map(|label| (AnnotationKind::Context, label));
    for (kind, label) in std::iter::once((AnnotationKind::Primary, &diagnostic.primary)).chain(secondary) {
        let id = label.span.file;
        let Some(file) = sources.get(id) else { continue };
        let first = sources.line_index(label.span);
        // Of a place as long as a file only the head can be shown.
        let last = sources.line_index(label.span.behind()).min(first + LINES_TOGETHER);
        let lines = first..last + 1;
        match extracts.iter_mut().find(|extract| extract.takes(id, &lines)) {
            Some(extract) => extract.join(lines, (kind, label)),
            None => extracts.push(Extract { id, file, lines, labels: vec![(kind, label)] }),
        }
    }
    extracts
}

impl<'a> Extract<'a> {
    fn takes(&self, id: FileId, lines: &Range<usize>) -> bool {
        let (start, end) = (self.lines.start.min(lines.start), self.lines.end.max(lines.end));
        self.id == id && end - start <= LINES_TOGETHER
    }

    fn join(&mut self, lines: Range<usize>, label: (AnnotationKind, &'a Label)) {
        self.lines = self.lines.start.min(lines.start)..self.lines.end.max(lines.end);
        self.labels.push(label);
    }

    fn snippet(self) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
        let bytes = self.file.lines(self.lines.clone());
        let text = &self.file.text[bytes.clone()];
        let annotations = self.labels.into_iter().map(|(kind, label)| {
            let annotation = kind.span(within(&label.span.range(), &bytes, text));
            if label.text.is_empty() { annotation } else { annotation.label(label.text.as_str()) }
        });
        Snippet::source(text).line_start(self.lines.start + 1).path(self.file.name.as_str()).annotations(annotations)
    }
}

/// A range of the file as a range of the extract, on borders of characters.
fn within(range: &Range<usize>, bytes: &Range<usize>, text: &str) -> Range<usize> {
    let place = |at: usize| text.floor_char_boundary(at.saturating_sub(bytes.start).min(text.len()));
    let start = place(range.start);
    start..place(range.end).max(start)
}
