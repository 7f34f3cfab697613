//! Repetition and checksum, common to all areas.

use std::time::Instant;

/// What one repetition took.
pub struct Time {
    pub reps: u32,
    pub wall_s: f64,
    pub cpu_s: Option<f64>,
}

/// Runs `work` `reps` times, or for about half a second where `reps` is not given.
pub fn seconds_each(reps: Option<u32>, mut work: impl FnMut()) -> Time {
    // The least of some is what it takes when nothing else runs.
    let warm_up = (0..8).map(|_| {
        let begin = Instant::now();
        work();
        begin.elapsed().as_secs_f64()
    });
    let least_s = warm_up.fold(f64::INFINITY, f64::min);
    let reps = reps.unwrap_or_else(|| (0.5 / least_s).clamp(3.0, 1e6) as u32).max(1);
    let (begin, cpu_begin) = (Instant::now(), cpu_seconds());
    for _ in 0..reps {
        work();
    }
    let each = |seconds: f64| seconds / f64::from(reps);
    let cpu_s = cpu_begin.zip(cpu_seconds()).map(|(begin, end)| each(end - begin));
    Time { reps, wall_s: each(begin.elapsed().as_secs_f64()), cpu_s }
}

/// The processor time of this thread, where the system tells it.
pub fn cpu_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

/// What the peers print of the same answers: each folded in after the one before, a missing one as the greatest number.
pub fn checksum(values: impl IntoIterator<Item = Option<u64>>) -> u64 {
    values.into_iter().fold(0, |sum: u64, value| sum.wrapping_mul(1_000_003).wrapping_add(value.unwrap_or(u64::MAX)))
}
