//! Faults and scenarios as text: what they hold, what is wrong with them, their pages.

#![allow(clippy::disallowed_methods, reason = "tests read the published files")]

mod common;
mod line;
mod pages;
mod round_trip;
