//! The general engine on systems worked out by hand, and on the survey vessel.

mod blocking;
mod build;
mod guests;
mod instants;
mod protections;
mod restarts;
mod supply;
mod traffic;
mod vessel;
