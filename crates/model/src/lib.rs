//! The system file: text in, resolved [`System`] and diagnostics out.

mod digest;
pub mod system;

pub use digest::Digest;
pub use system::System;
