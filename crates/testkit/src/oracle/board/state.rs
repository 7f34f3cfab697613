//! What stands at an instant of a board, as fields and packed into one word.

use super::MAX_TASKS;

/// What stands of one task, after completions and before arrivals: as in the walk over one partition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct TaskState {
    /// Ticks to the next arrival, or [`ASLEEP`].
    pub(super) next: u32,
    /// Jobs arrived and not released.
    pub(super) unreleased: u32,
    /// Jobs released and not completed.
    pub(super) released: u32,
    /// Ticks the head has executed.
    pub(super) executed: u32,
    /// Whether a job with logical execution time has read and not written yet.
    pub(super) holds: bool,
}

/// What stands at an instant, and what the observer notes of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct State {
    pub(super) position: u32,
    pub(super) tasks: [TaskState; MAX_TASKS],
    pub(super) note: u64,
}

/// Bits of the position.
const POSITION: u32 = 6;
/// Bits of the fields of a task, in their order.
const FIELDS: [u32; 5] = [7, 2, 3, 3, 1];
/// Bits of the note: together one bit stays free, so that `word + 1` never wraps.
const NOTE: u32 = 57;

/// The value of `next` before the first arrival of a free-running task.
pub(super) const ASLEEP: u32 = (1 << FIELDS[0]) - 1;

impl State {
    /// # Panics
    /// When a field does not fit its bits: the board's numbers are too large.
    pub(super) fn pack(&self) -> u128 {
        assert!(self.note >> NOTE == 0, "the note outgrew its bits");
        let mut word = u128::from(self.note);
        let mut push = |field: u32, width: u32| {
            assert!(field >> width == 0, "the board's numbers outgrew a packed state");
            word = word << width | u128::from(field);
        };
        push(self.position, POSITION);
        for task in &self.tasks {
            let fields = [task.next, task.unreleased, task.released, task.executed, task.holds.into()];
            fields.into_iter().zip(FIELDS).for_each(|(field, width)| push(field, width));
        }
        word
    }

    pub(super) fn unpack(word: u128) -> Self {
        let mut rest = word;
        let mut take = |width: u32| {
            let field = rest & ((1 << width) - 1);
            rest >>= width;
            field as u32
        };
        let mut tasks = [TaskState::default(); MAX_TASKS];
        for task in tasks.iter_mut().rev() {
            let mut fields = FIELDS;
            fields.reverse();
            let [holds, executed, released, unreleased, next] = fields.map(&mut take);
            *task = TaskState { next, unreleased, released, executed, holds: holds == 1 };
        }
        let position = take(POSITION);
        Self { position, tasks, note: rest as u64 }
    }
}
