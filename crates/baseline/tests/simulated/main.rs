//! Bounds against simulation.

mod alarms;
mod at_once;
mod page;
mod vessel;
