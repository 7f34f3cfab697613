//! What the messages in a queue carry of a chain, as far as the recording says which of them wait.

use super::Carried;
use model::system::QueueRead;
use std::collections::VecDeque;

/// The queue of one receiver.
#[derive(Debug)]
pub(super) struct Queue {
    takes: QueueRead,
    depth: u64,
    /// So many messages may wait at most of which it is not known what they carry; they came before the others.
    older: u64,
    /// What the others carry, oldest first.
    known: VecDeque<Carried>,
}

impl Queue {
    /// A queue of which nothing was seen yet: it may be full.
    pub(super) fn new(takes: QueueRead, depth: u64) -> Self {
        Self { takes, depth, older: depth, known: VecDeque::new() }
    }

    /// A message comes.
    pub(super) fn push(&mut self, carried: Carried) {
        self.known.push_back(carried);
        // One beyond the depth is there until the recording says that it found no room; more contradict the declared depth.
        if self.known.len() as u64 > self.depth.saturating_add(1) {
            self.forget();
        }
    }

    /// The message that came last found no room.
    pub(super) fn refuse(&mut self) {
        self.known.pop_back();
    }

    /// One read: what the youngest of the messages that it takes carries, of those that carry anything.
    pub(super) fn take(&mut self) -> Carried {
        match self.takes {
            QueueRead::All => {
                let older = if self.older > 0 { Carried::Unknown } else { Carried::Nothing };
                self.older = 0;
                self.known.drain(..).fold(older, Carried::then)
            }
            QueueRead::AtMost(most) if self.older > 0 => {
                // How far the read reaches into what is known hangs on how many older ones there are.
                self.older = self.older.saturating_add(self.known.len() as u64).saturating_sub(most);
                self.known.clear();
                Carried::Unknown
            }
            QueueRead::AtMost(most) => {
                let most = usize::try_from(most).unwrap_or(usize::MAX).min(self.known.len());
                self.known.drain(..most).fold(Carried::Nothing, Carried::then)
            }
        }
    }

    /// It is emptied.
    pub(super) fn empty(&mut self) {
        self.older = 0;
        self.known.clear();
    }

    /// Events were lost.
    pub(super) fn forget(&mut self) {
        self.older = self.depth;
        self.known.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::moment::Moment;
    use Carried::{Nothing, Unknown};

    fn since(at_ns: u64) -> Carried {
        Carried::Since(Moment { at_ns, ..Moment::default() })
    }

    #[test]
    fn a_read_of_everything_takes_the_youngest_and_leaves_nothing() {
        let mut queue = Queue::new(QueueRead::All, 3);
        assert_eq!(queue.take(), Unknown, "what waited before the recording is not known");
        [since(1), since(2), Nothing].into_iter().for_each(|carried| queue.push(carried));
        assert_eq!(queue.take(), since(2), "a message that carries nothing takes nothing away");
        assert_eq!(queue.take(), Nothing);
    }

    #[test]
    fn the_youngest_message_is_known_whatever_waited_before_it() {
        let mut queue = Queue::new(QueueRead::All, 3);
        queue.push(since(1));
        assert_eq!(queue.take(), since(1));
    }

    #[test]
    fn a_read_of_some_says_nothing_until_all_that_may_have_waited_is_gone() {
        let mut queue = Queue::new(QueueRead::AtMost(2), 3);
        queue.push(since(1));
        // Of up to three and one, two are taken, so up to two are left; then none.
        assert_eq!([queue.take(), queue.take()], [Unknown, Unknown]);
        [since(5), since(6), since(7)].into_iter().for_each(|carried| queue.push(carried));
        assert_eq!([queue.take(), queue.take(), queue.take()], [since(6), since(7), Nothing]);
    }

    #[test]
    fn what_found_no_room_is_not_read_and_more_than_fit_are_not_believed() {
        let mut queue = Queue::new(QueueRead::AtMost(1), 1);
        queue.empty();
        [since(1), since(2)].into_iter().for_each(|carried| queue.push(carried));
        queue.refuse();
        assert_eq!([queue.take(), queue.take()], [since(1), Nothing]);
        [since(3), since(4), since(5)].into_iter().for_each(|carried| queue.push(carried));
        assert_eq!(queue.take(), Unknown);
    }
}
