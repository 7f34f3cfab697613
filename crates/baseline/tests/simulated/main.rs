//! Bounds against simulation.

mod alarms;
mod vessel;
