//! The system file: text in, resolved [`System`] and diagnostics out.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod digest;
pub mod system;

pub use digest::Digest;
pub use system::System;
