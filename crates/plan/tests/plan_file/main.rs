//! The plan file: reading, writing, its pages.

#![allow(clippy::disallowed_methods, reason = "tests read the published files")]

mod common;
mod pages;
mod reading;
mod round_trip;
mod vessel;
