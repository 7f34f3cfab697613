//! Recordings made by hand: each rule kept, nearly broken, and broken; gaps that speak for nothing.

mod chains;
mod clocks;
mod common;
mod doubt;
mod gaps;
mod recovery;
mod rules;
mod sources;
mod spans;
