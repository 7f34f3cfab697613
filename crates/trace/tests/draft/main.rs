//! Drafts of systems from recordings: what was put into a recording is found again, and whatever the recording, the draft reads.

mod anything;
mod common;
mod found;
