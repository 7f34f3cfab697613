//! The system file: text in, resolved [`System`] and diagnostics out.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod check;
mod digest;
mod read;
pub mod system;
pub mod tables;

pub use digest::{Digest, Digesting};
pub use read::{FileError, FileSource, KeyTable, MOST_BYTES, Reading, key_tables, read_system, schema};
pub use system::System;
