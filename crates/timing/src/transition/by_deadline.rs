//! Earliest deadline first across a change.
//!
//! Computes: for one start of a deadline busy period the greatest response of a job of one task.
//! Source: Spuri 1996 (INRIA report 2772, from memory), with the counts and the supply of [`super`].
//! Assumptions: those of [`super`]; a job goes on with the deadline that it has.
//! Symbols: those of [`super`]; `a` own arrival, counted from `s`; `D` a deadline; `m_j(a)` jobs of another task due by `a + D`,
//! the first arriving as early as it may. `finish(a) = min { t : S(s, t) >= B + (own jobs up to a) C' + sum of
//! min(m_j(a), n_j(s, t)) C'_j }`, with `B` the greatest blocking time of all tasks.
//! Invariants and why it ends: where no `m_j` and no own job is added, `finish` stays and the response falls, so only those `a`
//! count, below the end of the busy window of all tasks; super's limit on the rounds holds here too.
//! Differs from the source: jobs of an equal deadline all go first, and blocking does not depend on the deadline. An own job of
//! a task that ends with the change is counted where the earliest of its number comes before it, whenever it comes itself.
//! Checked by: tick-by-tick runs in `tests/recovery.rs`.

use super::{Active, ChangingTask, Level, NoBound, Search, signed};

impl Search<'_> {
    /// The greatest response of an own job in the deadline busy period from `start_ns`.
    pub(super) fn follow_by_deadline(&mut self, level: &Level<'_>, start_ns: i64) -> Result<i64, NoBound> {
        let own = level.own;
        let whole_ns = self.settle_ns(start_ns, 1, |span_ns| {
            let works = level.all().map(|task| task.work_ns(start_ns, span_ns));
            works.fold(level.blocking_ns, u64::saturating_add)
        })?;
        let mut worst_ns = 0;
        let mut arrival_ns = own.arrival_ns(start_ns, 0).ok_or(NoBound)?;
        while arrival_ns < whole_ns {
            let due_ns = arrival_ns.checked_add(signed(own.deadline_ns)?).ok_or(NoBound)?;
            let own_jobs = own.jobs_due(start_ns, due_ns)?;
            let earliest_ns = own.arrival_ns(start_ns, own_jobs.saturating_sub(1)).ok_or(NoBound)?;
            if own.active == Active::Before && start_ns + earliest_ns >= 0 {
                break;
            }
            let finish_ns = self.finish_due_ns(level, start_ns, own_jobs, due_ns)?;
            worst_ns = worst_ns.max(finish_ns - arrival_ns);
            arrival_ns = next_arrival_ns(level, start_ns, arrival_ns)?;
        }
        Ok(worst_ns)
    }

    /// When the last of `own_jobs` is done at the latest, due at `due_ns`.
    fn finish_due_ns(&mut self, level: &Level<'_>, start_ns: i64, own_jobs: u64, due_ns: i64) -> Result<i64, NoBound> {
        let own_ns = own_jobs.saturating_mul(level.own.charged_ns).saturating_add(level.blocking_ns);
        let most = level.others.iter().map(|other| Ok((*other, other.jobs_due(start_ns, due_ns)?)));
        let most: Vec<_> = most.collect::<Result<_, _>>()?;
        self.settle_ns(start_ns, 1, |span_ns| {
            let works = most.iter().map(|&(other, due)| {
                let jobs = other.jobs(start_ns, span_ns).min(due);
                jobs.saturating_mul(other.charged_ns)
            });
            works.fold(own_ns, u64::saturating_add)
        })
    }
}

/// The next own arrival after `arrival_ns` with which one more job is due no later than the own one.
fn next_arrival_ns(level: &Level<'_>, start_ns: i64, arrival_ns: i64) -> Result<i64, NoBound> {
    let own_deadline_ns = signed(level.own.deadline_ns)?;
    let mut next_ns = i64::MAX;
    for task in level.all() {
        let first_ns = task.first_due_ns(start_ns)?.checked_sub(own_deadline_ns).ok_or(NoBound)?;
        let jobs = if first_ns > arrival_ns { 0 } else { (arrival_ns - first_ns) / task.signed_period_ns()? + 1 };
        let more_ns = jobs.checked_mul(task.signed_period_ns()?).ok_or(NoBound)?;
        next_ns = next_ns.min(first_ns.checked_add(more_ns).ok_or(NoBound)?);
    }
    Ok(next_ns)
}

impl ChangingTask {
    /// When the first job of the busy period is due at the earliest.
    fn first_due_ns(&self, start_ns: i64) -> Result<i64, NoBound> {
        let first_ns = self.arrival_ns(start_ns, 0).ok_or(NoBound)?;
        first_ns.checked_add(signed(self.deadline_ns)?).ok_or(NoBound)
    }

    /// The jobs of the busy period that can be due by then.
    fn jobs_due(&self, start_ns: i64, due_ns: i64) -> Result<u64, NoBound> {
        let first_ns = self.first_due_ns(start_ns)?;
        if due_ns < first_ns {
            return Ok(0);
        }
        Ok(((due_ns - first_ns) / self.signed_period_ns()?) as u64 + 1) // Never below 0.
    }

    fn signed_period_ns(&self) -> Result<i64, NoBound> {
        Ok(signed(self.period_ns)?.max(1))
    }
}
