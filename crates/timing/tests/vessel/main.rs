//! The survey vessel: its figures, its responses and growth, and the scenarios behind them.

mod figures;
mod responses;
mod scenarios;
