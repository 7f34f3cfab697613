//! The survey vessel: its figures, its responses and growth, and the scenarios behind them.

mod claims;
mod figures;
mod responses;
mod scenarios;
mod system;
