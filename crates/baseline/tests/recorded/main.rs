//! Runs of the simulator, recorded and judged: what the recording says is what the simulator itself saw, by other means, and
//! nothing is above a bound of analysis. Two witnesses of the same run share the table of events and nothing else.

mod chains;
mod common;
#[path = "../many_jobs/draws.rs"]
mod draws;
mod starts;
