//! The machine's clocks, in nanoseconds. All processes of a rehearsal read the same monotonic clock, and so does the kernel's
//! recorder.

use rustix::thread::clock_nanosleep_absolute;
use rustix::time::{ClockId, Timespec, clock_gettime};

const SECOND: u64 = 1_000_000_000;

/// The time of the monotonic clock.
pub fn now_ns() -> u64 {
    in_ns(clock_gettime(ClockId::Monotonic))
}

/// How long the calling thread has executed.
pub fn executed_ns() -> u64 {
    in_ns(clock_gettime(ClockId::ThreadCPUTime))
}

/// Sleeps until an instant of the monotonic clock; an instant so early that it has passed does not sleep.
pub fn sleep_until(at_ns: u64) {
    let instant = Timespec {
        tv_sec: i64::try_from(at_ns / SECOND).unwrap_or(i64::MAX),
        tv_nsec: i64::try_from(at_ns % SECOND).unwrap_or(0),
    };
    // A signal wakes a sleeper early: it sleeps on, as the instant is absolute.
    while clock_nanosleep_absolute(ClockId::Monotonic, &instant) == Err(rustix::io::Errno::INTR) {}
}

fn in_ns(time: Timespec) -> u64 {
    let (seconds, rest) = (u64::try_from(time.tv_sec).unwrap_or(0), u64::try_from(time.tv_nsec).unwrap_or(0));
    seconds.saturating_mul(SECOND).saturating_add(rest)
}
