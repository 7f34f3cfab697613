//! The faults inside a process: when each begins, what it does meanwhile, and that it has ended.

use crate::load;
use crate::orders::{Does, Fault, Subject};
use std::collections::BTreeMap;

/// The most messages of a flood that are sent in one go: between two of these the clock is looked at.
const MOST_AT_ONCE: u64 = 64;

/// What a flood asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Message {
    /// A message of a channel.
    Send {
        /// The task that writes it.
        task: usize,
        /// Its place among the task's outputs.
        output: usize,
    },
    /// The last one was sent.
    Over(Subject),
}

/// The faults of one process. Instants are those of the monotonic clock.
#[derive(Debug)]
pub(super) struct Mishaps {
    list: Vec<Mishap>,
}

#[derive(Debug)]
struct Mishap {
    who: Subject,
    at_ns: u64,
    does: Does,
    /// Whether a runaway has begun.
    begun: bool,
    /// How many messages were sent.
    sent: u64,
    /// How many jobs of each task began to overrun.
    jobs: BTreeMap<usize, u64>,
    /// How many of these have completed.
    completed: BTreeMap<usize, u64>,
    is_over: bool,
}

impl Mishaps {
    pub(super) fn new(faults: &[Fault], base_ns: u64) -> Self {
        let mishap = |fault: &Fault| Mishap {
            who: fault.who,
            at_ns: base_ns.saturating_add(fault.at_ns),
            does: fault.does.clone(),
            begun: false,
            sent: 0,
            jobs: BTreeMap::new(),
            completed: BTreeMap::new(),
            is_over: false,
        };
        Self { list: faults.iter().map(mishap).collect() }
    }

    /// Lets runaways begin that are due. Each is a thread of its own, which ends by itself or with the process.
    pub(super) fn begin(&mut self, now: u64) {
        for mishap in &mut self.list {
            let Does::Hog { for_ns } = mishap.does else { continue };
            if mishap.at_ns <= now && !std::mem::replace(&mut mishap.begun, true) {
                let until_ns = mishap.at_ns.saturating_add(for_ns);
                // Where no thread can be had, the fault does nothing, and the recording shows that.
                let _ = std::thread::Builder::new().spawn(move || load::hog(until_ns));
            }
        }
    }

    /// How long a job that starts now executes, of which the drawn and the longest time are given.
    pub(super) fn execution_ns(&mut self, task: usize, drawn: u64, most: u64, now: u64) -> u64 {
        for mishap in self.list.iter_mut().filter(|mishap| mishap.at_ns <= now) {
            match &mishap.does {
                Does::Loop { task: looping } if *looping == task && !mishap.begun => {
                    mishap.begun = true;
                    return u64::MAX;
                }
                Does::Overrun { tasks, extra_ns, jobs } if tasks.contains(&task) => {
                    let so_far = mishap.jobs.entry(task).or_default();
                    if *so_far < *jobs {
                        *so_far += 1;
                        return most.saturating_add(*extra_ns);
                    }
                }
                _ => {}
            }
        }
        drawn
    }

    /// The overrun that the completed job of a task was the last of. Jobs of one task start one after the other.
    pub(super) fn overrun_ended_by(&mut self, task: usize) -> Option<Subject> {
        let ends = |mishap: &mut Mishap| {
            let Does::Overrun { tasks, jobs, .. } = &mishap.does else { return None };
            let begun = mishap.jobs.get(&task).copied().unwrap_or_default();
            let completed = mishap.completed.entry(task).or_default();
            *completed = begun.min(completed.saturating_add(1));
            let is_whole = tasks.iter().all(|task| mishap.completed.get(task) == Some(jobs));
            (is_whole && !std::mem::replace(&mut mishap.is_over, true)).then_some(mishap.who)
        };
        self.list.iter_mut().find_map(ends)
    }

    /// Whether a channel is kept silent.
    pub(super) fn is_silent(&self, task: usize, output: usize, now: u64) -> bool {
        self.list.iter().any(|mishap| match &mishap.does {
            Does::Silence { channels, for_ns } => channels.contains(&(task, output)) && mishap.covers(now, *for_ns),
            _ => false,
        })
    }

    /// The messages of floods that are due and have not been sent, some at once.
    pub(super) fn messages_due(&mut self, now: u64) -> Vec<Message> {
        let mut due = Vec::new();
        for mishap in &mut self.list {
            let Does::Flood { channels, messages, every_ns } = &mishap.does else { continue };
            if mishap.is_over || now < mishap.at_ns {
                continue;
            }
            let by_now = (now - mishap.at_ns).checked_div(*every_ns).map_or(*messages, |count| count.saturating_add(1));
            let wanted = by_now.min(*messages).min(mishap.sent.saturating_add(MOST_AT_ONCE));
            for _ in mishap.sent..wanted {
                due.extend(channels.iter().map(|(task, output)| Message::Send { task: *task, output: *output }));
            }
            mishap.sent = wanted;
            if mishap.sent == *messages {
                mishap.is_over = true;
                due.push(Message::Over(mishap.who));
            }
        }
        due
    }

    /// The next message of a flood.
    pub(super) fn next_ns(&self, now: u64) -> u64 {
        let next = |mishap: &Mishap| match &mishap.does {
            Does::Flood { every_ns, .. } if !mishap.is_over => {
                Some(mishap.at_ns.saturating_add(every_ns.saturating_mul(mishap.sent)))
            }
            Does::Hog { .. } if !mishap.begun => Some(mishap.at_ns),
            _ => None,
        };
        self.list.iter().filter_map(next).min().map_or(u64::MAX, |at| at.max(now))
    }

    /// Up to which instant arrivals are seen: not beyond the begin of a time without ticks.
    pub(super) fn ticks_until(&self, now: u64) -> u64 {
        let lost = self.list.iter().filter_map(|mishap| match mishap.does {
            Does::LostTick { for_ns } if mishap.covers(now, for_ns) => Some(mishap.at_ns.saturating_sub(1)),
            _ => None,
        });
        lost.fold(now, u64::min)
    }

    /// When a release at that instant is seen.
    pub(super) fn release_at(&self, at_ns: u64) -> u64 {
        let seen = self.list.iter().filter_map(|mishap| match mishap.does {
            Does::LostTick { for_ns } if mishap.covers(at_ns, for_ns) => Some(mishap.at_ns.saturating_add(for_ns)),
            _ => None,
        });
        seen.fold(at_ns, u64::max)
    }
}

impl Mishap {
    fn covers(&self, at_ns: u64, for_ns: u64) -> bool {
        (self.at_ns..self.at_ns.saturating_add(for_ns)).contains(&at_ns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mishaps(does: Does) -> Mishaps {
        Mishaps::new(&[Fault { who: Subject(7), at_ns: 100, does }], 1_000)
    }

    #[test]
    fn as_many_jobs_overrun_as_asked_and_the_last_one_ends_it() {
        let mut all = mishaps(Does::Overrun { tasks: vec![0, 2], extra_ns: 5, jobs: 2 });
        assert_eq!(all.execution_ns(0, 10, 20, 1_099), 10);
        // This one began before the fault.
        assert_eq!(all.overrun_ended_by(0), None);
        assert_eq!([0, 1, 0, 0].map(|task| all.execution_ns(task, 10, 20, 1_100)), [25, 10, 25, 10]);
        assert_eq!([0, 0, 0].map(|task| all.overrun_ended_by(task)), [None; 3]);
        assert_eq!([2, 2, 2].map(|task| all.execution_ns(task, 10, 20, 1_200)), [25, 25, 10]);
        assert_eq!([2, 2, 2].map(|task| all.overrun_ended_by(task)), [None, Some(Subject(7)), None]);
    }

    #[test]
    fn one_job_loops() {
        let mut all = mishaps(Does::Loop { task: 1 });
        assert_eq!([0, 1, 1].map(|task| all.execution_ns(task, 10, 20, 1_100)), [10, u64::MAX, 10]);
    }

    #[test]
    fn a_babble_sends_what_came_due_while_it_was_stopped() {
        let mut all = mishaps(Does::Flood { channels: vec![(0, 1)], messages: 4, every_ns: 10 });
        assert!(all.messages_due(1_099).is_empty());
        assert_eq!(all.next_ns(0), 1_100);
        assert_eq!(all.messages_due(1_115).len(), 2);
        assert_eq!(all.next_ns(1_115), 1_120);
        let rest = all.messages_due(9_000);
        assert_eq!((rest.len(), rest.last()), (3, Some(&Message::Over(Subject(7)))));
        assert!(all.messages_due(9_001).is_empty());
        assert_eq!(all.next_ns(9_001), u64::MAX);
    }

    #[test]
    fn a_flood_is_sent_in_portions() {
        let mut all = mishaps(Does::Flood { channels: vec![(0, 0)], messages: 100, every_ns: 0 });
        assert_eq!([all.messages_due(1_100).len(), all.messages_due(1_100).len()], [64, 37]);
    }

    #[test]
    fn silence_and_lost_ticks_last_as_long_as_asked() {
        let silent = mishaps(Does::Silence { channels: vec![(0, 1)], for_ns: 50 });
        let asked = [(0, 1, 1_099), (0, 1, 1_100), (0, 0, 1_100), (0, 1, 1_150)];
        assert_eq!(asked.map(|(task, output, at)| silent.is_silent(task, output, at)), [false, true, false, false]);
        let lost = mishaps(Does::LostTick { for_ns: 50 });
        assert_eq!([1_050, 1_100, 1_149, 1_150].map(|now| lost.ticks_until(now)), [1_050, 1_099, 1_099, 1_150]);
        assert_eq!([1_099, 1_120, 1_150].map(|at| lost.release_at(at)), [1_099, 1_150, 1_150]);
    }
}
