//! Bounds against simulation.

mod alarms;
mod page;
mod vessel;
