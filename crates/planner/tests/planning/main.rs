//! Plans made from demands.

#![allow(clippy::disallowed_methods, reason = "tests read the published files")]

mod checker;
mod common;
mod demands;
mod generated;
mod impossible;
mod memory;
mod vessel;
