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
//! - deadlines as a dimension of their own where no response depends on them: there system `k` takes for each
//!   task one of `period`, `period - 1`, `2 * period + 1`, `period + 1`, in rotation.

mod boards;
mod policies;
mod servers;

pub use boards::{
    aligned_chain_count, aligned_chains, aligned_queue_count, aligned_queues, free_running_chain_count,
    free_running_chains, free_running_queue_count, free_running_queues,
};
pub use policies::{cooperative_count, cooperative_systems, edf_count, edf_systems};
pub use servers::{ServerSystem, edf_server_count, edf_server_systems, server_count, server_systems};

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
#[derive(Clone, Copy)]
struct Slot {
    priority: u32,
    periods: &'static [u32],
    wcets: &'static [u32],
    jitters: &'static [u32],
    blockings: &'static [u32],
    offsets: &'static [u32],
    /// Empty where deadlines come in rotation.
    deadlines: &'static [u32],
    /// Whether a job may also take less than its `wcet`, down to 1 tick.
    shorter: bool,
}

impl Slot {
    fn tasks(&self) -> Vec<SmallTask> {
        let mut tasks = vec![SmallTask { priority: self.priority, ..SmallTask::default() }];
        vary(&mut tasks, self.periods, |task, period| task.period = period);
        vary(&mut tasks, self.wcets, |task, wcet| task.wcet = wcet);
        vary(&mut tasks, self.jitters, |task, jitter| task.jitter = jitter);
        vary(&mut tasks, self.blockings, |task, blocking| task.blocking = blocking);
        vary(&mut tasks, self.offsets, |task, offset| task.offset = offset);
        let deadlines = if self.deadlines.is_empty() { &[IN_ROTATION] } else { self.deadlines };
        vary(&mut tasks, deadlines, |task, deadline| task.deadline = deadline);
        for task in &mut tasks {
            task.bcet = if self.shorter { 1 } else { task.wcet };
        }
        tasks
    }
}

/// The deadline of a task that gets one in rotation.
const IN_ROTATION: u32 = 0;

/// Each task once with each value.
fn vary(tasks: &mut Vec<SmallTask>, values: &[u32], set: fn(&mut SmallTask, u32)) {
    let with_each = |&task: &SmallTask| {
        values.iter().map(move |&value| {
            let mut task = task;
            set(&mut task, value);
            task
        })
    };
    *tasks = tasks.iter().flat_map(with_each).collect();
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
        let mut tasks: Vec<SmallTask> = self.slots.iter().map(|slot| slot[digit(slot.len())]).collect();
        for (slot, task) in tasks.iter_mut().enumerate() {
            if task.deadline == IN_ROTATION {
                task.deadline = deadline_in_rotation(task.period, number / self.tables.len() + number + slot);
            }
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
        self.0.into_iter().flat_map(|family| (0..family.len()).map(move |number| family.system(number)))
    }
}

/// The 152,640 free-running systems, their offsets 0, one to three tasks in frames up to 6 ticks.
///
/// | tasks | frame | windows | periods | `wcet` | jitter | blocking |
/// |---|---|---|---|---|---|---|
/// | 1 | 1-6 | 1-3 | 1-6 | 1-3 | 0-3, 7 | |
/// | 2, distinct | 1-5 | 1-3 | 2, 3, 5 over 3, 4, 6 | 1-2 | 0, 1, 3 over 0, 1, 4 | |
/// | 2, distinct, any execution | 1-5 | 1-2 | 3, 4, 6 over 4, 6 | 1-2 over 1-3 | 0, 2 over 0, 1 | 1, 2 |
/// | 2, equal | 1-5 | 1-2 | 3, 4, 6 | 1-2 | 0, 2 | |
/// | 3, distinct or equal in each way | 1-4 | 1-2 | 3, 4, 6 | 1 | 0, 1 | |
/// | 3, any execution | 2-4 | 1 | 4, 6 over 3, 4, 6 over 6 | 1, 1, 2-3 | 0, 1 for the first | 0-2 for those with one below |
pub fn free_running_systems() -> impl Iterator<Item = SmallSystem> {
    free_running_families().into_systems()
}

/// The 387,594 frame-aligned systems: the same tasks with offsets 0, 1, 2, 3 and 5 (some past the
/// period), in frames up to 5 ticks for one task, up to 4 for two, up to 3 for three (4 with blocking).
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

/// What the other slots vary from.
const PLAIN: Slot = Slot {
    priority: 1,
    periods: &[3, 4, 6],
    wcets: &[1],
    jitters: &[0, 1],
    blockings: &[0],
    offsets: &[0],
    deadlines: &[],
    shorter: false,
};

const LONE: Slot = Slot { periods: &[1, 2, 3, 4, 5, 6], wcets: &[1, 2, 3], jitters: &[0, 1, 2, 3, 7], ..PLAIN };

/// The upper one of two, and the lower one to it.
const UPPER: Slot = Slot { priority: 2, periods: &[2, 3, 5], wcets: &[1, 2], jitters: &[0, 1, 3], ..PLAIN };
const LOWER: Slot = Slot { wcets: &[1, 2], jitters: &[0, 1, 4], ..PLAIN };

/// The upper one of two with blocking, and the lower one that makes use of it.
const BLOCKED: Slot =
    Slot { priority: 2, wcets: &[1, 2], jitters: &[0, 2], blockings: &[1, 2], shorter: true, ..PLAIN };
const BLOCKING: Slot = Slot { periods: &[4, 6], wcets: &[1, 2, 3], shorter: true, ..PLAIN };

const EQUAL: Slot = Slot { wcets: &[1, 2], jitters: &[0, 2], ..PLAIN };

/// From the most to the least urgent of three; all equal comes in the families without blocking.
const PRIORITIES: [[u32; 3]; 4] = [[3, 2, 1], [2, 2, 1], [2, 1, 1], [1, 1, 1]];

fn free_running_families() -> Families {
    let mut families = vec![
        Family::new(tables(1..=6, 3), &[LONE]),
        Family::new(tables(1..=5, 3), &[UPPER, LOWER]),
        Family::new(tables(1..=5, 2), &[BLOCKED, BLOCKING]),
        Family::new(tables(1..=5, 2), &[EQUAL, EQUAL]),
    ];
    for priorities in PRIORITIES {
        families.push(Family::new(tables(1..=4, 2), &plain(priorities, &[0])));
    }
    for &priorities in &PRIORITIES[..3] {
        families.push(Family::new(tables(2..=4, 1), &lending(priorities, &[0])));
    }
    Families(families)
}

fn aligned_families() -> Families {
    let with = |offsets, slot| Slot { offsets, ..slot };
    let mut families = vec![
        Family::new(tables(1..=5, 3), &[with(&[0, 1, 3], LONE)]),
        Family::new(tables(1..=4, 3), &[with(&[0, 1, 5], UPPER), with(&[0, 2], LOWER)]),
        Family::new(tables(1..=4, 2), &[with(&[0, 1], BLOCKED), with(&[0, 3], BLOCKING)]),
        Family::new(tables(1..=4, 2), &[with(&[0, 1], EQUAL), with(&[0, 1], EQUAL)]),
    ];
    for priorities in PRIORITIES {
        families.push(Family::new(tables(1..=3, 2), &plain(priorities, &[0, 1])));
    }
    for &priorities in &PRIORITIES[..3] {
        families.push(Family::new(tables(2..=4, 1), &lending(priorities, &[0, 1])));
    }
    Families(families)
}

fn plain(priorities: [u32; 3], offsets: &'static [u32]) -> [Slot; 3] {
    priorities.map(|priority| Slot { priority, offsets, ..PLAIN })
}

/// Three tasks: those with something below take every blocking of 0 to 2, and the last executes
/// long enough to use it.
fn lending(priorities: [u32; 3], offsets: &'static [u32]) -> [Slot; 3] {
    let [first, second, third] = plain(priorities, offsets).map(|slot| Slot {
        blockings: if slot.priority > 1 { &[0, 1, 2] } else { &[0] },
        shorter: true,
        ..slot
    });
    let first = Slot { periods: &[4, 6], ..first };
    let second = Slot { jitters: &[0], ..second };
    let third = Slot { periods: &[6], wcets: &[2, 3], jitters: &[0], ..third };
    [first, second, third]
}

fn deadline_in_rotation(period: u32, turn: usize) -> u32 {
    match turn % 4 {
        0 => period,
        1 => (period - 1).max(1),
        2 => 2 * period + 1,
        _ => period + 1,
    }
}

#[cfg(test)]
mod tests {
    use super::tables;

    fn binomial(total: usize, chosen: usize) -> usize {
        (0..chosen).fold(1, |ways, taken| ways * total.saturating_sub(taken) / (taken + 1))
    }

    /// Windows `i = 0..k` have `2 k` bounds in `0..=frame`, equal only from an end to the next
    /// start: add `i` to both bounds of window `i`, and all differ among `frame + k` numbers.
    #[test]
    fn window_tables_are_as_many_as_the_binomials_say() {
        for frame in 1..=6_usize {
            for most in 1..=3 {
                let expected: usize = (1..=most).map(|number| binomial(frame + number, 2 * number)).sum();
                let frame = u32::try_from(frame).expect("a frame of at most 6");
                assert_eq!(tables(frame..=frame, most).len(), expected);
            }
        }
    }
}
