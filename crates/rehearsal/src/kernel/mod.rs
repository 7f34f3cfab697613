//! The kernel's scheduler events, recorded by its own trace file, or else by `perf` where that is there.

mod perf;
mod trace_file;

use perf::Perf;
use trace_file::TraceFile;

/// The program that records where the trace file may not be had.
const PERF: &str = "perf";

/// A recording under way. Nothing of it stays when this is dropped.
#[derive(Debug)]
pub enum Recorder {
    TraceFile(TraceFile),
    /// With the reason why it is not the trace file.
    Perf(Perf, String),
}

impl Recorder {
    /// Begins to record the switches of these cpus, on the monotonic clock.
    ///
    /// # Errors
    /// Why neither can be had, in a sentence without its point.
    pub fn start(cpus: &[usize]) -> Result<Self, String> {
        let why_no_file = match TraceFile::start(cpus) {
            Ok(file) => return Ok(Self::TraceFile(file)),
            Err(why) => why,
        };
        match Perf::start(PERF, cpus) {
            Ok(perf) => Ok(Self::Perf(perf, why_no_file)),
            Err(why) => Err(format!("{why_no_file}; and {why}")),
        }
    }

    /// What is to be said of the recording.
    pub fn remark(&self) -> Option<String> {
        match self {
            Self::TraceFile(_) => None,
            Self::Perf(_, why) => Some(format!(
                "the kernel's scheduler events are those of `{PERF}`, which executes beside, since of the kernel's trace file: {why}."
            )),
        }
    }

    /// Ends the recording, and gives its text.
    ///
    /// # Errors
    /// Why it cannot be read, in a sentence without its point.
    pub fn finish(self) -> Result<String, String> {
        match self {
            Self::TraceFile(file) => file.finish(),
            Self::Perf(perf, _) => perf.finish(),
        }
    }
}
