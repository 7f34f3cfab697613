//! What waits at one destination of a channel.

use crate::engine::NEVER;
use crate::machine::Port;
use crate::seen::InputSeen;
use std::collections::VecDeque;

/// A sampled message, or a queue; in one line of a cache.
#[derive(Debug, Clone)]
#[repr(align(64))]
pub(super) enum Inbox {
    /// The instant at which the last message was written, and the age up to which it is valid.
    Sampled { written: u64, refresh: u64 },
    /// The instants at which the messages that wait were written.
    Queue { waiting: VecDeque<u64>, depth: u64, takes: usize },
}

/// What a read found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Taken {
    /// How many messages it took out of a queue, or 1 where a sampled one was there.
    pub(super) messages: usize,
    /// The age of the oldest.
    pub(super) age_ns: Option<u64>,
    /// Whether a sampled one was older than its refresh period.
    pub(super) stale: bool,
}

impl Inbox {
    pub(super) fn new(port: Port) -> Self {
        match port {
            Port::Sampling { refresh_ns } => Self::Sampled { written: NEVER, refresh: refresh_ns.unwrap_or(NEVER) },
            Port::Queuing { depth, takes } => Self::Queue {
                waiting: VecDeque::new(),
                depth,
                takes: takes.map_or(usize::MAX, |most| usize::try_from(most).unwrap_or(usize::MAX)),
            },
        }
    }

    /// Before the first message.
    pub(super) fn empty(&mut self) {
        match self {
            Self::Sampled { written, .. } => *written = NEVER,
            Self::Queue { waiting, .. } => waiting.clear(),
        }
    }

    /// The messages of a queue are thrown away; a sampled one stays.
    pub(super) fn empty_queue(&mut self) {
        if let Self::Queue { waiting, .. } = self {
            waiting.clear();
        }
    }

    /// A message comes. Says whether it is accepted.
    #[inline]
    pub(super) fn receive(&mut self, at: u64, seen: &mut InputSeen) -> bool {
        match self {
            Self::Sampled { written, .. } => *written = at,
            Self::Queue { waiting, depth, .. } if waiting.len() as u64 >= *depth => {
                seen.lost += 1;
                return false;
            }
            Self::Queue { waiting, .. } => {
                waiting.push_back(at);
                seen.most_held = seen.most_held.max(waiting.len() as u64);
            }
        }
        true
    }

    /// A job reads.
    #[inline]
    pub(super) fn read(&mut self, now: u64, seen: &mut InputSeen) -> Taken {
        let taken = match self {
            Self::Sampled { written, refresh } => sample(now, *written, *refresh, seen),
            Self::Queue { waiting, takes, .. } => take(now, waiting, *takes, seen),
        };
        seen.stale += u64::from(taken.stale);
        seen.empty += u64::from(taken.messages == 0);
        taken
    }
}

#[inline]
fn sample(now: u64, written: u64, refresh: u64, seen: &mut InputSeen) -> Taken {
    if written == NEVER {
        return Taken { messages: 0, age_ns: None, stale: false };
    }
    let age = now.saturating_sub(written);
    note(age, seen);
    Taken { messages: 1, age_ns: Some(age), stale: age > refresh }
}

#[inline]
fn take(now: u64, waiting: &mut VecDeque<u64>, most: usize, seen: &mut InputSeen) -> Taken {
    let messages = waiting.len().min(most);
    let mut ages = waiting.drain(..messages).map(|written| now.saturating_sub(written));
    let oldest = ages.next();
    oldest.into_iter().chain(ages).for_each(|age| note(age, seen));
    Taken { messages, age_ns: oldest, stale: false }
}

#[inline]
fn note(age: u64, seen: &mut InputSeen) {
    seen.messages += 1;
    seen.sum_age_ns = seen.sum_age_ns.wrapping_add(age);
    seen.most_age_ns = seen.most_age_ns.max(age);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sampled_message_is_valid_up_to_its_refresh_period() {
        let (mut inbox, mut seen) = (Inbox::new(Port::Sampling { refresh_ns: Some(10) }), InputSeen::default());
        assert_eq!(inbox.read(3, &mut seen), Taken { messages: 0, age_ns: None, stale: false });
        assert!(inbox.receive(5, &mut seen));
        assert_eq!(inbox.read(15, &mut seen), Taken { messages: 1, age_ns: Some(10), stale: false });
        assert_eq!(inbox.read(16, &mut seen), Taken { messages: 1, age_ns: Some(11), stale: true });
        assert!(inbox.receive(16, &mut seen), "a new message replaces the old one");
        assert_eq!(inbox.read(16, &mut seen), Taken { messages: 1, age_ns: Some(0), stale: false });
        let expected = InputSeen { messages: 3, sum_age_ns: 21, most_age_ns: 11, stale: 1, empty: 1, ..seen };
        assert_eq!(seen, expected);
        assert_eq!((seen.lost, seen.most_held), (0, 0));
    }

    #[test]
    fn a_queue_takes_exactly_its_depth() {
        let (mut inbox, mut seen) = (Inbox::new(Port::Queuing { depth: 3, takes: None }), InputSeen::default());
        assert_eq!([1, 2, 3, 4].map(|at| inbox.receive(at, &mut seen)), [true, true, true, false]);
        assert_eq!((seen.lost, seen.most_held), (1, 3));
        assert_eq!(inbox.read(9, &mut seen), Taken { messages: 3, age_ns: Some(8), stale: false });
        assert_eq!((seen.messages, seen.sum_age_ns, seen.most_age_ns), (3, 8 + 7 + 6, 8));
        assert_eq!(inbox.read(9, &mut seen).messages, 0);
        assert_eq!(seen.empty, 1);
    }

    #[test]
    fn a_read_of_two_takes_the_oldest_two() {
        let (mut inbox, mut seen) = (Inbox::new(Port::Queuing { depth: 9, takes: Some(2) }), InputSeen::default());
        assert_eq!([1, 2, 3].map(|at| inbox.receive(at, &mut seen)), [true; 3]);
        assert_eq!(inbox.read(10, &mut seen), Taken { messages: 2, age_ns: Some(9), stale: false });
        assert_eq!(inbox.read(10, &mut seen), Taken { messages: 1, age_ns: Some(7), stale: false });
        assert_eq!(seen.sum_age_ns, 9 + 8 + 7);
    }
}
