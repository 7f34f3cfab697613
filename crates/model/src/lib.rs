//! The system file: text in, resolved [`System`] and diagnostics out.

mod check;
mod digest;
mod read;
pub mod system;

pub use digest::Digest;
pub use read::{FileError, FileSource, KeyTable, MOST_BYTES, Reading, key_tables, read_system, schema};
pub use system::System;
