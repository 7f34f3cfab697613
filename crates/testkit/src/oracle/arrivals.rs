//! How old the jobs of a task are. Jobs arrive one period apart, so the time to the next arrival gives all.

/// Ticks since the oldest of `jobs` jobs arrived, `jobs` at least 1: the youngest arrived `period - next` ago, each
/// older one a period before.
pub(super) fn age_of_oldest(period: u32, next: u32, jobs: u32) -> u32 {
    period - next + (jobs - 1) * period
}

/// How many unreleased jobs are as old as the jitter allows.
pub(super) fn due(period: u32, jitter: u32, next: u32, unreleased: u32) -> u32 {
    let mut age = (unreleased * period + period).saturating_sub(next);
    let mut due = 0;
    while due < unreleased {
        age -= period;
        if age < jitter {
            break;
        }
        due += 1;
    }
    due
}
