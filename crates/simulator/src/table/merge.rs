//! Messages, channel by channel, once it is known when jobs write and read.

use crate::machine::Port;
use crate::seen::{ChannelSeen, InputSeen};
use std::iter::Peekable;

/// What a fault does to a channel.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Meddling<'a> {
    /// What is written after the first instant and before the second comes to nothing.
    pub(super) muted: Option<(u64, u64)>,
    /// Messages that nobody planned: instants, and how many at each.
    pub(super) extra: &'a [(u64, u64)],
}

impl Meddling<'_> {
    /// Whether it changes nothing of what is sent.
    pub(super) fn is_none(&self) -> bool {
        self.muted.is_none() && self.extra.is_empty()
    }

    /// The messages that come to the inputs of a channel, by instant: each with their number.
    pub(super) fn arrivals(&self, batch: u64, writes: &[u64], seen: &mut ChannelSeen, into: &mut Vec<(u64, u64)>) {
        into.clear();
        let is_muted = |write_ns: u64| self.muted.is_some_and(|(from, until)| from < write_ns && write_ns < until);
        into.extend(writes.iter().filter(|write_ns| !is_muted(**write_ns)).map(|&write_ns| (write_ns, batch)));
        note_writes(into.iter().map(|(write_ns, _)| *write_ns), batch, seen);
        if !self.extra.is_empty() {
            into.extend(self.extra);
            // What jobs write at an instant comes before what nobody planned: the sort keeps the order of equals.
            into.sort_by_key(|(instant_ns, _)| *instant_ns);
            seen.writes += self.extra.iter().map(|(_, messages)| messages).sum::<u64>();
        }
    }
}

/// What is seen of a channel whose source writes a batch at each of these instants.
pub(super) fn note_writes(mut writes: impl ExactSizeIterator<Item = u64>, batch: u64, seen: &mut ChannelSeen) {
    seen.writes += batch * writes.len() as u64;
    let Some(mut last_ns) = writes.next() else { return };
    for write_ns in writes {
        seen.longest_gap_ns = seen.longest_gap_ns.max(write_ns - last_ns);
        last_ns = write_ns;
    }
}

/// The reads of an input among the messages that come to it; those of an instant come before the reads of it. A queue may
/// be emptied at an instant, between the two.
pub(super) fn reads(
    port: Port,
    arrivals: impl Iterator<Item = (u64, u64)>,
    reads: &[u64],
    emptied_ns: Option<u64>,
    waiting: &mut Vec<u64>,
    seen: &mut InputSeen,
) {
    match port {
        Port::Sampling { refresh_ns } => sampled(refresh_ns, arrivals, reads, seen),
        Port::Queuing { depth, takes } => {
            waiting.clear();
            let coming = arrivals.peekable();
            Queue { depth, takes, waiting, taken: 0, coming }.run(reads, emptied_ns, seen);
        }
    }
}

fn sampled(
    refresh_ns: Option<u64>,
    mut arrivals: impl Iterator<Item = (u64, u64)>,
    reads: &[u64],
    seen: &mut InputSeen,
) {
    let refresh_ns = refresh_ns.unwrap_or(u64::MAX);
    let mut coming = arrivals.next();
    let mut held = None;
    for &read_ns in reads {
        while let Some((write_ns, messages)) = coming.filter(|(write_ns, _)| *write_ns <= read_ns) {
            if messages > 0 {
                held = Some(write_ns);
            }
            coming = arrivals.next();
        }
        match held {
            None => seen.empty += 1,
            Some(write_ns) => {
                let age_ns = read_ns - write_ns;
                note(age_ns, seen);
                seen.stale += u64::from(age_ns > refresh_ns);
            }
        }
    }
}

#[inline]
fn note(age_ns: u64, seen: &mut InputSeen) {
    seen.messages += 1;
    seen.sum_age_ns = seen.sum_age_ns.wrapping_add(age_ns);
    seen.most_age_ns = seen.most_age_ns.max(age_ns);
}

/// A queue: what was accepted, of which the first `taken` have gone, and what comes yet.
struct Queue<'a, I: Iterator<Item = (u64, u64)>> {
    depth: u64,
    takes: Option<u64>,
    waiting: &'a mut Vec<u64>,
    taken: usize,
    coming: Peekable<I>,
}

impl<I: Iterator<Item = (u64, u64)>> Queue<'_, I> {
    fn run(mut self, reads: &[u64], mut emptied_ns: Option<u64>, seen: &mut InputSeen) {
        for &read_ns in reads {
            if let Some(at_ns) = emptied_ns.take_if(|at_ns| *at_ns <= read_ns) {
                self.empty(at_ns, seen);
            }
            self.receive_until(read_ns, seen);
            self.read(read_ns, seen);
        }
        if let Some(at_ns) = emptied_ns {
            self.empty(at_ns, seen);
        }
        self.receive_until(u64::MAX, seen);
    }

    fn empty(&mut self, at_ns: u64, seen: &mut InputSeen) {
        self.receive_until(at_ns, seen);
        self.taken = self.waiting.len();
    }

    /// Takes in what comes up to an instant.
    #[inline]
    fn receive_until(&mut self, until_ns: u64, seen: &mut InputSeen) {
        while let Some((write_ns, messages)) = self.coming.next_if(|(write_ns, _)| *write_ns <= until_ns) {
            let accepted = messages.min(self.depth.saturating_sub(self.held()));
            self.waiting.extend((0..accepted).map(|_| write_ns));
            seen.lost += messages - accepted;
            if accepted > 0 {
                seen.most_held = seen.most_held.max(self.held());
            }
        }
    }

    fn held(&self) -> u64 {
        (self.waiting.len() - self.taken) as u64
    }

    fn read(&mut self, read_ns: u64, seen: &mut InputSeen) {
        let messages = self.held().min(self.takes.unwrap_or(u64::MAX));
        seen.empty += u64::from(messages == 0);
        let end = self.taken + messages as usize; // No more than wait.
        for &write_ns in &self.waiting[self.taken..end] {
            note(read_ns - write_ns, seen);
        }
        self.taken = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(port: Port, coming: &[(u64, u64)], at: &[u64], emptied_ns: Option<u64>) -> InputSeen {
        let mut seen = InputSeen::default();
        reads(port, coming.iter().copied(), at, emptied_ns, &mut Vec::new(), &mut seen);
        seen
    }

    #[test]
    fn a_sampled_message_is_read_at_the_instant_of_its_write_and_grows_old() {
        let port = Port::Sampling { refresh_ns: Some(10) };
        let seen = read(port, &[(5, 1), (16, 1)], &[4, 5, 15, 16, 27], None);
        // Nothing at 4; ages 0, 10, 0, 11.
        let expected =
            InputSeen { messages: 4, sum_age_ns: 21, most_age_ns: 11, stale: 1, empty: 1, ..InputSeen::default() };
        assert_eq!(seen, expected);
    }

    #[test]
    fn a_queue_holds_its_depth_and_gives_the_oldest() {
        let port = Port::Queuing { depth: 3, takes: Some(2) };
        let seen = read(port, &[(1, 2), (2, 2), (9, 1)], &[3, 10, 11], None);
        // 1, 1, 2 are held and one is lost; then 2 and 9; then nothing.
        assert_eq!((seen.messages, seen.lost, seen.most_held, seen.empty), (4, 1, 3, 1));
        assert_eq!((seen.sum_age_ns, seen.most_age_ns), (2 + 2 + 8 + 1, 8));
    }

    #[test]
    fn a_queue_is_emptied_after_the_writes_and_before_the_reads_of_an_instant() {
        let port = Port::Queuing { depth: 2, takes: None };
        let seen = read(port, &[(1, 1), (5, 1), (5, 1), (6, 1)], &[5, 7], Some(5));
        assert_eq!((seen.messages, seen.lost, seen.empty, seen.sum_age_ns), (1, 1, 1, 1));
        let unread = read(port, &[(1, 2), (5, 1), (6, 2)], &[], Some(5));
        assert_eq!((unread.messages, unread.lost, unread.most_held), (0, 1, 2));
    }

    #[test]
    fn what_a_silent_sender_writes_strictly_within_its_silence_comes_to_nothing() {
        let (mut seen, mut coming) = (ChannelSeen::default(), Vec::new());
        let meddling = Meddling { muted: Some((10, 30)), extra: &[(15, 7)] };
        meddling.arrivals(2, &[5, 10, 20, 30], &mut seen, &mut coming);
        assert_eq!(coming, [(5, 2), (10, 2), (15, 7), (30, 2)]);
        assert_eq!(seen, ChannelSeen { writes: 13, longest_gap_ns: 20 });
    }
}
