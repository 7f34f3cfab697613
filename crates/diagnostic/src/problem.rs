//! One diagnostic: what is wrong, where, and what would be right.

use crate::{Code, Severity, Span};

/// A place with a few words on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The place.
    pub span: Span,
    /// What is to be seen there; may be empty at the primary place.
    pub text: String,
}

/// One thing that is wrong with an input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Its kind.
    pub code: &'static Code,
    /// What is wrong, with the values that clash and their units.
    pub message: String,
    /// Where it is wrong.
    pub primary: Label,
    /// Other places that have to do with it.
    pub secondary: Vec<Label>,
    /// What would make it right.
    pub help: Option<String>,
}

impl Diagnostic {
    /// A diagnostic at one place, without words there.
    pub fn new(code: &'static Code, span: Span, message: impl Into<String>) -> Self {
        let primary = Label { span, text: String::new() };
        Self { code, message: message.into(), primary, secondary: Vec::new(), help: None }
    }

    /// Puts words on the primary place.
    #[must_use]
    pub fn label(mut self, text: impl Into<String>) -> Self {
        self.primary.text = text.into();
        self
    }

    /// Points at another place too.
    #[must_use]
    pub fn also(mut self, span: Span, text: impl Into<String>) -> Self {
        self.secondary.push(Label { span, text: text.into() });
        self
    }

    /// Says what would make it right.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help = Some(text.into());
        self
    }

    /// How much it weighs.
    pub fn severity(&self) -> Severity {
        self.code.severity
    }

    /// Whether it is an error.
    pub fn is_error(&self) -> bool {
        self.severity() == Severity::Error
    }
}
