//! A state as fields, and packed into one word.

use super::MAX_TASKS;
use super::step::Rules;

/// What stands of one task. Ages are not kept: jobs of a task arrive one period apart, so the
/// time to the next arrival and the number of jobs give the arrival of each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct TaskState {
    /// Ticks to the next arrival, or the task's `asleep` mark before its first.
    pub(super) next: u32,
    /// Jobs arrived and not released: the youngest ones.
    pub(super) unreleased: u32,
    /// Jobs released and not completed. They run in order, the oldest is the head.
    pub(super) released: u32,
    /// Ticks the head has executed; it has begun when this is not 0.
    pub(super) executed: u32,
    /// Ticks that less urgent jobs executed in the present busy stretch of this task's level.
    pub(super) lent: u32,
}

/// What stands at an instant, after completions and before arrivals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct State {
    /// Position in the frame, or in the server's period.
    pub(super) position: u32,
    /// What is left of the server's budget; 0 under a window table.
    pub(super) budget: u32,
    pub(super) tasks: [TaskState; MAX_TASKS],
}

/// Bits of each field of one task, in the order of [`TaskState`].
type Widths = [u32; 5];

/// How many bits each field takes, fitted to one system.
#[derive(Debug)]
pub(super) struct Packing {
    position: u32,
    budget: u32,
    tasks: Vec<Widths>,
    /// The greatest number of released jobs of a task that fits.
    pub(super) most_released: u32,
}

/// One bit of the word stays free, so that `state + 1` never wraps.
const BITS: u32 = 63;

impl Packing {
    /// # Panics
    /// When fewer than three bits are left for each count of released jobs.
    pub(super) fn new(rules: &Rules) -> Self {
        let position = bits(rules.supply.cycle() - 1);
        let budget = bits(rules.supply.budget());
        let fixed = |index: usize| {
            let task = &rules.tasks[index];
            [
                bits(task.asleep.max(task.offset)),
                bits(task.jitter.div_ceil(task.period)),
                0,
                bits(task.wcet - 1),
                bits(task.blocking),
            ]
        };
        let mut tasks: Vec<Widths> = (0..rules.tasks.len()).map(fixed).collect();
        let taken: u32 = position + budget + tasks.iter().flatten().sum::<u32>();
        let left = BITS.checked_sub(taken).expect("the system's numbers fit a packed state");
        let each = (left / tasks.len().max(1) as u32).min(8);
        assert!(each >= 3, "the system's numbers leave no room for its backlog");
        for widths in &mut tasks {
            widths[2] = each;
        }
        Self { position, budget, tasks, most_released: (1 << each) - 1 }
    }

    pub(super) fn pack(&self, state: &State) -> u64 {
        let mut word = u64::from(state.position) | u64::from(state.budget) << self.position;
        let mut shift = self.position + self.budget;
        for (widths, task) in self.tasks.iter().zip(&state.tasks) {
            let fields = [task.next, task.unreleased, task.released, task.executed, task.lent];
            for (&width, field) in widths.iter().zip(fields) {
                debug_assert!(field >> width == 0, "a field outgrew its bits");
                word |= u64::from(field) << shift;
                shift += width;
            }
        }
        word
    }

    pub(super) fn unpack(&self, word: u64) -> State {
        let mut rest = word;
        let mut take = |width: u32| {
            let field = rest & ((1 << width) - 1);
            rest >>= width;
            field as u32
        };
        let mut state = State { position: take(self.position), budget: take(self.budget), ..State::default() };
        for (widths, task) in self.tasks.iter().zip(&mut state.tasks) {
            let [next, unreleased, released, executed, lent] = widths.map(&mut take);
            *task = TaskState { next, unreleased, released, executed, lent };
        }
        state
    }
}

/// Bits that hold every number up to `greatest`.
fn bits(greatest: u32) -> u32 {
    u32::BITS - greatest.leading_zeros()
}
