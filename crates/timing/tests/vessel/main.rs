//! The survey vessel beyond the figures stated for it, which `corpus/cases` holds: verdicts with one thing changed
//! each, properties of its responses and growth, and the scenarios behind them.

#![allow(clippy::disallowed_methods, reason = "tests read the published files")]

mod chains;
mod claims;
mod interference;
mod margins;
mod network;
mod ports;
mod recovery;
mod responses;
mod scenarios;
mod system;
