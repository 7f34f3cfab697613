//! Codes, spans and renderers of what is wrong with an input.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod span;

pub use span::{FileId, Located, Position, SourceFile, Sources, Span};
