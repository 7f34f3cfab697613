//! The small systems of guests that do not serve by preemptive fixed priority; no task has blocking.

use super::{EQUAL, Families, Family, PLAIN, PRIORITIES, Slot, SmallSystem, plain, tables};

/// The 78,736 free-running systems for the earliest deadline first, two or three tasks in frames up to 4 ticks.
///
/// | tasks | frame | windows | periods | `wcet` | jitter | deadlines |
/// |---|---|---|---|---|---|---|
/// | 2 | 1-4 | 1-2 | 3, 4, 6 | 1-2 | 0, 2 | 2, 4, 7 |
/// | 2, any execution | 1-4 | 1 | 4, 6 | 2-3 | 0, 1 | 3, 6 |
/// | 3 | 2-4 | 1-2 | 4, 6 | 1-2 | 0 | 3, 6 |
///
/// All slots of a family draw from one list, so the tasks come in every order of the file too.
pub fn edf_systems() -> impl Iterator<Item = SmallSystem> {
    edf_families().into_systems()
}

/// How many systems [`edf_systems`] gives.
#[must_use]
pub fn edf_count() -> usize {
    edf_families().len()
}

/// The 29,208 free-running systems for a cooperative guest, every job of any execution from 1 tick up.
///
/// | tasks | frame | windows | periods | `wcet` | jitter |
/// |---|---|---|---|---|---|
/// | 2, distinct | 1-5 | 1-2 | 3, 4, 6 | 1-2 over 1-3 | 0, 2 over 0, 1 |
/// | 2, equal | 1-4 | 1-2 | 3, 4, 6 | 1-2 | 0, 2 |
/// | 3, distinct or equal in each way | 2-4 | 1 | 4, 6 over 3, 4, 6 over 6 | 1, 1-2, 2-3 | 0, 1 for the first |
pub fn cooperative_systems() -> impl Iterator<Item = SmallSystem> {
    cooperative_families().into_systems()
}

/// How many systems [`cooperative_systems`] gives.
#[must_use]
pub fn cooperative_count() -> usize {
    cooperative_families().len()
}

pub(super) const DUE: Slot = Slot { wcets: &[1, 2], jitters: &[0, 2], deadlines: &[2, 4, 7], ..PLAIN };
const DUE_SHORTER: Slot = Slot { periods: &[4, 6], wcets: &[2, 3], deadlines: &[3, 6], shorter: true, ..PLAIN };
const DUE_OF_THREE: Slot = Slot { periods: &[4, 6], wcets: &[1, 2], jitters: &[0], deadlines: &[3, 6], ..PLAIN };

fn edf_families() -> Families {
    Families(vec![
        Family::new(tables(1..=4, 2), &[DUE; 2]),
        Family::new(tables(1..=4, 1), &[DUE_SHORTER; 2]),
        Family::new(tables(2..=4, 2), &[DUE_OF_THREE; 3]),
    ])
}

fn cooperative_families() -> Families {
    let upper = Slot { priority: 2, wcets: &[1, 2], jitters: &[0, 2], shorter: true, ..PLAIN };
    let lower = Slot { wcets: &[1, 2, 3], shorter: true, ..PLAIN };
    let equal = Slot { shorter: true, ..EQUAL };
    let mut families =
        vec![Family::new(tables(1..=5, 2), &[upper, lower]), Family::new(tables(1..=4, 2), &[equal, equal])];
    for priorities in PRIORITIES {
        families.push(Family::new(tables(2..=4, 1), &three(priorities)));
    }
    Families(families)
}

fn three(priorities: [u32; 3]) -> [Slot; 3] {
    let [first, second, third] = plain(priorities, &[0]).map(|slot| Slot { shorter: true, ..slot });
    let first = Slot { periods: &[4, 6], ..first };
    let second = Slot { wcets: &[1, 2], jitters: &[0], ..second };
    let third = Slot { periods: &[6], wcets: &[2, 3], jitters: &[0], ..third };
    [first, second, third]
}
