//! The general engine on systems worked out by hand, and on the survey vessel.

mod any_faults;
mod blocking;
mod build;
mod contention;
mod guests;
mod instants;
mod messages;
mod protections;
mod restarts;
mod several;
mod supply;
mod ticks;
mod traffic;
mod vessel;
mod vessel_faults;
