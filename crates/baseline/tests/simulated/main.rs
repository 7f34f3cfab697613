//! Bounds against simulation.

mod alarms;
mod at_once;
mod contention;
mod page;
mod vessel;
