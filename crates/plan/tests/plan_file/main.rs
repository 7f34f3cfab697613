//! The plan file: reading, writing, its pages.

mod common;
mod pages;
mod reading;
mod round_trip;
mod vessel;
