//! Codes, spans and renderers of what is wrong with an input.
//!
//! A check makes a [`Diagnostic`] under a [`Code`] and pushes it to a [`Diagnostics`] list; [`render_text`] draws it
//! for people, [`Plain`] carries it to programs. Nothing here knows what a system is.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod code;
pub mod codes;
mod list;
mod plain;
mod problem;
mod span;
mod text;

pub use code::{Code, Severity, lookup};
pub use list::Diagnostics;
pub use plain::{Plain, PlainLabel};
pub use problem::{Diagnostic, Label};
pub use span::{FileId, Located, Position, SourceFile, Sources, Span};
pub use text::{Look, render_text};
