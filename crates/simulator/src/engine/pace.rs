//! How fast a core executes while its line requests wait.
//!
//! **Computes** how long some execution takes, and how much is executed in some time. Jobs ask for their lines evenly over the
//! time that they are charged.
//! **Symbols.** Parts of a nanosecond and of the time are counted in units of 2^-31.
//! **Invariants.** The two undo each other: what [`Pace::takes`] says of an execution gives the same execution back. Where only a
//! part of the time goes into execution, parts of a nanosecond are kept, and a job that would need less than 1 ns more is
//! done: it never waits longer than the words allow, however often the pace changes.

use super::agenda::NEVER;
use super::world::Fixed;

/// All of the time, where a part of it could stand; also one nanosecond.
pub(crate) const WHOLE: u64 = 1 << 31;

/// How fast a core executes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pace {
    /// How long each line request waits beyond what is charged, in nanoseconds.
    pub(crate) wait_ns: u64,
    /// The part of the time in which a job does not wait for what other masters ask for at the same time, above zero; none
    /// where what it waits for is charged to it.
    pub(crate) part: Option<u64>,
}

impl Pace {
    /// Nothing is waited for but what is charged.
    pub(crate) const FULL: Self = Self { wait_ns: 0, part: None };

    /// How long that much execution of a job takes, `ahead` units of which are done.
    pub(super) fn takes(self, execution: u64, ahead: u64, job: Fixed) -> u64 {
        if self == Self::FULL || execution == NEVER {
            return execution;
        }
        let time = match self.part {
            Some(part) => left_units(execution, ahead) / u128::from(self.part_with_waits(part, job)),
            None => {
                let (takes, charged) = self.waits(job);
                u128::from(execution).saturating_mul(takes).div_ceil(charged)
            }
        };
        u64::try_from(time).unwrap_or(NEVER)
    }

    /// How long a job executes until it is done or has gone on for `most`: of execution, or of time where waiting is not charged.
    pub(super) fn lasts(self, (left, ahead): (u64, u64), most: u64, job: Fixed) -> u64 {
        match self.part {
            None => self.takes(left.min(most), ahead, job),
            Some(_) => self.takes(left, ahead, job).min(most),
        }
    }

    /// How much of a job with `left` still to execute is executed in that time, and the units beyond that.
    #[inline(never)]
    pub(super) fn executes(self, elapsed: u64, (left, ahead): (u64, u64), job: Fixed) -> (u64, u64) {
        let Some(part) = self.part else {
            let (takes, charged) = self.waits(job);
            // No more than `elapsed`, since it is multiplied by at most one.
            return ((u128::from(elapsed) * charged / takes) as u64, 0);
        };
        let part = u128::from(self.part_with_waits(part, job));
        let done = u128::from(elapsed) * part + u128::from(ahead);
        if left_units(left, 0) < done.saturating_add(part) {
            return (left, 0);
        }
        // No more than `left`, and the rest is below one nanosecond.
        ((done / u128::from(WHOLE)) as u64, (done % u128::from(WHOLE)) as u64)
    }

    /// What a job takes where it waits longer than it is charged, and what it is charged.
    fn waits(self, job: Fixed) -> (u128, u128) {
        let (charged, waits) = (u128::from(job.charged), u128::from(job.requests) * u128::from(self.wait_ns));
        (charged.saturating_add(waits), charged)
    }

    /// The part of the time that goes into execution where requests wait longer too, rounded up.
    fn part_with_waits(self, part: u64, job: Fixed) -> u64 {
        if self.wait_ns == 0 {
            return part;
        }
        let (takes, charged) = self.waits(job);
        let slower = u128::from(part).saturating_mul(takes - charged);
        let whole = charged.saturating_mul(u128::from(WHOLE));
        // At most `part`, since it is multiplied by at most one, and above zero.
        (u128::from(part).saturating_mul(whole).div_ceil(whole.saturating_add(slower))) as u64
    }
}

fn left_units(execution: u64, ahead: u64) -> u128 {
    (u128::from(execution) * u128::from(WHOLE)).saturating_sub(u128::from(ahead))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_an_execution_takes_is_executed_in_it(
            execution in 1u64..1_000_000_000,
            charged in 1u64..1_000_000_000,
            requests in 0u64..1_000_000,
            wait_ns in 0u64..1000,
            part in prop::option::of(1u64..=WHOLE),
        ) {
            let job = Fixed { charged, requests, ..Fixed::default() };
            let pace = Pace { wait_ns, part };
            let takes = pace.takes(execution, 0, job);
            prop_assert!(takes >= execution);
            prop_assert_eq!(pace.executes(takes, (execution, 0), job), (execution, 0));
            prop_assert!(pace.executes(takes - 1, (execution, 0), job).0 < execution);
        }

        #[test]
        fn a_job_looked_at_often_is_done_when_it_would_have_been(
            execution in 1u64..100_000,
            part in 1u64..=WHOLE,
            looks in prop::collection::vec(1u64..1000, 0..20),
        ) {
            let (pace, job) = (Pace { wait_ns: 0, part: Some(part) }, Fixed::default());
            let whole = pace.takes(execution, 0, job);
            let (mut left, mut ahead, mut spent) = (execution, 0, 0);
            for look in looks {
                let elapsed = look.min(pace.takes(left, ahead, job));
                let (done, beyond) = pace.executes(elapsed, (left, ahead), job);
                (left, ahead, spent) = (left - done, beyond, spent + elapsed);
            }
            prop_assert_eq!(spent + if left > 0 { pace.takes(left, ahead, job) } else { 0 }, whole);
        }
    }

    #[test]
    fn half_of_the_time_is_twice_the_time() {
        let job = Fixed { charged: 10, requests: 3, ..Fixed::default() };
        let pace = |wait_ns, part| Pace { wait_ns, part };
        // 10 ns of execution, each of 3 requests waits 4 ns more: 22; so 7 ns take 15.4, and beside waiting half of the time 22.4.
        assert_eq!(pace(4, None).takes(7, 0, job), 16);
        assert_eq!(pace(0, Some(WHOLE / 2)).takes(7, 0, job), 14);
        assert_eq!(pace(4, Some(WHOLE / 2)).takes(7, 0, job), 22);
        // 3 of 4 ns: 7 ns take 9 1/3, and after 4 of these 3 are done; of one that half is done of, 2/3 are left.
        assert_eq!(pace(0, Some(WHOLE / 4 * 3)).takes(7, 0, job), 9);
        assert_eq!(pace(0, Some(WHOLE / 4 * 3)).executes(4, (7, 0), job), (3, 0));
        assert_eq!(pace(0, Some(WHOLE / 4 * 3)).executes(2, (7, 0), job), (1, WHOLE / 2));
        assert_eq!(pace(0, Some(WHOLE / 4 * 3)).takes(1, WHOLE / 2, job), 0);
        assert_eq!(pace(0, Some(WHOLE / 4 * 3)).executes(0, (1, WHOLE / 2), job), (1, 0));
    }
}
