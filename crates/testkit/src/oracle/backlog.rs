//! The true largest backlog of a queue between two tasks of a small board, by trying everything.
//!
//! # The rules held to
//!
//! Those of [`super::board`], and: each job of the writer puts in one message when it writes, and each job of the
//! reader takes out what is there when it reads, all of it or the oldest ones up to a number. The queue is as deep as
//! need be. The backlog is what it holds after all that is written at an instant and before all that is read then: a
//! depth of that much loses nothing. Messages to a free-running reader that has not arrived for the first time yet are
//! left out: until then no backlog is too large, and how long that may take is no matter of the queue. Those to an
//! aligned reader count from the begin of the first frame.
//!
//! The backlog of a reader of at most `n` messages grows without end exactly when more messages are put in than
//! that takes out, that is, the writer's period is below the reader's over `n`, compared as exact fractions.
//! A reader that takes all leaves none, so its backlog always has a bound.

use super::board::{Asleep, Observer, SmallBoard, Unanswered};

/// A queue between two tasks of a board.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct SmallQueue {
    /// Where the tasks run.
    pub board: SmallBoard,
    /// The task each of whose jobs puts in a message, by its place in [`SmallBoard::tasks`].
    pub writer: usize,
    /// The task whose jobs take messages out.
    pub reader: usize,
    /// How many messages a job takes at most; all that are there where none.
    pub at_most: Option<u32>,
}

/// The largest number of messages that a queue holds at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Backlog {
    /// The greatest number in any run.
    Messages(u32),
    /// The number grows without end.
    Unbounded,
}

/// The largest backlog over all runs.
///
/// # Errors
/// Why there is no answer.
///
/// # Panics
/// When the board is malformed, or when its numbers are too large for a state.
pub fn worst_backlog(queue: &SmallQueue) -> Result<Backlog, Unanswered> {
    let [writer, reader] = [queue.writer, queue.reader].map(|task| queue.board.tasks[task].task.period);
    if queue.at_most.is_some_and(|number| writer * number < reader) {
        return Ok(Backlog::Unbounded);
    }
    let mut counter = Counter { queue, most: 0 };
    queue.board.walk(&[queue.writer, queue.reader], &mut counter)?;
    Ok(Backlog::Messages(counter.most as u32))
}

/// The observer of one queue: its note is the number of messages.
struct Counter<'a> {
    queue: &'a SmallQueue,
    most: u64,
}

impl Observer for Counter<'_> {
    fn read(&self, task: usize, note: u64) -> [Option<u64>; 2] {
        if task != self.queue.reader {
            return [Some(note), None];
        }
        let left = self.queue.at_most.map_or(0, |number| note.saturating_sub(number.into()));
        [Some(left), None]
    }

    fn write(&mut self, task: usize, note: u64, asleep: &Asleep) -> Result<Option<u64>, Unanswered> {
        if task != self.queue.writer || asleep[self.queue.reader] {
            return Ok(Some(note));
        }
        self.most = self.most.max(note + 1);
        Ok(Some(note + 1))
    }

    fn tick(&self, note: u64) -> Option<u64> {
        Some(note)
    }
}
