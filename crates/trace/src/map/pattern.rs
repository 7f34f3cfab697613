//! Texts in which `*` stands for any number of characters.

/// A text to be fitted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pattern {
    /// What stands between the stars: one piece where there is none.
    pieces: Vec<String>,
}

impl Pattern {
    pub(super) fn new(text: &str) -> Self {
        Self { pieces: text.split('*').map(str::to_owned).collect() }
    }

    /// Whether a whole text fits. Each piece is looked for once, so the time is that of reading text and pattern.
    pub(super) fn fits(&self, text: &str) -> bool {
        let [first, between @ .., last] = self.pieces.as_slice() else {
            return self.pieces.first().is_some_and(|only| only == text);
        };
        let Some(mut rest) = text.strip_prefix(first.as_str()).and_then(|rest| rest.strip_suffix(last.as_str())) else {
            return false;
        };
        for piece in between {
            let Some(at) = rest.find(piece.as_str()) else { return false };
            rest = &rest[at + piece.len()..];
        }
        true
    }
}
