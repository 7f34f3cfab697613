//! Codes, spans and renderers of what is wrong with an input.

mod span;

pub use span::{FileId, Located, Position, SourceFile, Sources, Span};
