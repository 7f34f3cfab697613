//! All systems up to a size, in a fixed order, their number known before.
//!
//! A *family* is a product: every window table of a list, times every task of one list per slot.
//! The systems of a family are numbered, and system `k` is read off the digits of `k`, so the
//! order never changes and every system of the product comes exactly once.
//!
//! What is left out on purpose:
//! - permutations of tasks with distinct priorities: the place in the file decides between
//!   equals alone, so slots go from the most to the least urgent; equals are taken in every order, since
//!   their slots draw from the same list;
//! - blocking of a task with nothing below it, which has no meaning;
//! - deadlines as a dimension of their own: no response depends on them, so system `k` takes for each
//!   task one of `period`, `period - 1`, `2 * period + 1`, `period + 1`, in rotation.

use crate::oracle::{SmallSystem, SmallTask};

/// A frame and the usable parts of its windows.
type Table = (u32, Vec<(u32, u32)>);

/// Every list of one to `most` windows in frames of `frames`, touching ones among them.
///
/// `k` windows in a frame of `F` ticks can be chosen in `binomial(F + k, 2 k)` ways.
fn tables(frames: std::ops::RangeInclusive<u32>, most: usize) -> Vec<Table> {
    let mut all = Vec::new();
    for frame in frames {
        extend_tables(frame, most, &[], &mut all);
    }
    all
}

fn extend_tables(frame: u32, most: usize, before: &[(u32, u32)], all: &mut Vec<Table>) {
    if before.len() == most {
        return;
    }
    let first = before.last().map_or(0, |&(_, end)| end);
    for start in first..frame {
        for end in start + 1..=frame {
            let mut windows = before.to_vec();
            windows.push((start, end));
            all.push((frame, windows.clone()));
            extend_tables(frame, most, &windows, all);
        }
    }
}

/// The values one slot of a family takes, every combination of them.
struct Slot {
    priority: u32,
    periods: &'static [u32],
    wcets: &'static [u32],
    jitters: &'static [u32],
    blockings: &'static [u32],
    offsets: &'static [u32],
    /// Whether a job may also take less than its `wcet`, down to 1 tick.
    shorter: bool,
}

impl Slot {
    fn tasks(&self) -> Vec<SmallTask> {
        let mut tasks = Vec::new();
        for &period in self.periods {
            for &wcet in self.wcets {
                for &jitter in self.jitters {
                    for &blocking in self.blockings {
                        for &offset in self.offsets {
                            tasks.push(SmallTask {
                                period,
                                deadline: period,
                                wcet,
                                bcet: if self.shorter { 1 } else { wcet },
                                jitter,
                                blocking,
                                priority: self.priority,
                                offset,
                            });
                        }
                    }
                }
            }
        }
        tasks
    }
}

/// A product of window tables and slots.
struct Family {
    tables: Vec<Table>,
    slots: Vec<Vec<SmallTask>>,
}

impl Family {
    fn new(tables: Vec<Table>, slots: &[Slot]) -> Self {
        let slots = slots.iter().map(Slot::tasks).collect();
        Self { tables, slots }
    }

    fn len(&self) -> usize {
        self.slots.iter().map(Vec::len).product::<usize>() * self.tables.len()
    }

    fn system(&self, number: usize) -> SmallSystem {
        let mut digits = number;
        let mut digit = |base: usize| {
            let value = digits % base;
            digits /= base;
            value
        };
        let (frame, windows) = self.tables[digit(self.tables.len())].clone();
        let mut tasks: Vec<SmallTask> =
            self.slots.iter().map(|slot| slot[digit(slot.len())]).collect();
        for (slot, task) in tasks.iter_mut().enumerate() {
            task.deadline = deadline_in_rotation(task.period, number + slot);
        }
        SmallSystem { frame, windows, tasks }
    }
}

/// The systems of several families, one family after the other.
struct Families(Vec<Family>);

impl Families {
    fn len(&self) -> usize {
        self.0.iter().map(Family::len).sum()
    }

    fn into_systems(self) -> impl Iterator<Item = SmallSystem> {
        self.0
            .into_iter()
            .flat_map(|family| (0..family.len()).map(move |number| family.system(number)))
    }
}

/// All free-running systems up to the sizes of [`free_running_count`]; offsets are 0.
pub fn free_running_systems() -> impl Iterator<Item = SmallSystem> {
    free_running_families().into_systems()
}

/// All frame-aligned systems up to the sizes of [`aligned_count`].
pub fn aligned_systems() -> impl Iterator<Item = SmallSystem> {
    aligned_families().into_systems()
}

/// How many systems [`free_running_systems`] gives.
#[must_use]
pub fn free_running_count() -> usize {
    free_running_families().len()
}

/// How many systems [`aligned_systems`] gives.
#[must_use]
pub fn aligned_count() -> usize {
    aligned_families().len()
}

const PLAIN: Slot = Slot {
    priority: 1,
    periods: &[3, 4, 6],
    wcets: &[1],
    jitters: &[0],
    blockings: &[0],
    offsets: &[0],
    shorter: false,
};

fn free_running_families() -> Families {
    let lone = Slot {
        periods: &[1, 2, 3, 4, 5, 6],
        wcets: &[1, 2, 3],
        jitters: &[0, 1, 2, 3, 5],
        ..PLAIN
    };
    let pair = |priority, blockings, shorter| Slot {
        priority,
        periods: &[2, 3, 4],
        wcets: &[1, 2],
        jitters: &[0, 1, 3],
        blockings,
        shorter,
        ..PLAIN
    };
    let triple = |priority, blockings, jitters, wcets| Slot {
        priority,
        wcets,
        jitters,
        blockings,
        ..PLAIN
    };
    Families(vec![
        Family::new(tables(1..=5, 3), &[lone]),
        Family::new(tables(1..=4, 2), &[pair(2, &[0], false), pair(1, &[0], false)]),
        Family::new(tables(1..=4, 2), &[pair(2, &[1, 2], true), pair(1, &[0], true)]),
        Family::new(tables(1..=4, 2), &[pair(1, &[0], false), pair(1, &[0], false)]),
        Family::new(
            tables(1..=3, 2),
            &[
                triple(3, &[0], &[0, 1], &[1]),
                triple(2, &[0], &[0, 2], &[1]),
                triple(1, &[0], &[0, 1], &[1, 2]),
            ],
        ),
    ])
}

fn aligned_families() -> Families {
    let lone = Slot {
        periods: &[1, 2, 3, 4, 5, 6],
        wcets: &[1, 2, 3],
        jitters: &[0, 1, 2, 3, 5],
        offsets: &[0, 1, 3],
        ..PLAIN
    };
    Families(vec![Family::new(tables(1..=5, 3), &[lone])])
}

fn deadline_in_rotation(period: u32, turn: usize) -> u32 {
    match turn % 4 {
        0 => period,
        1 => (period - 1).max(1),
        2 => 2 * period + 1,
        _ => period + 1,
    }
}
