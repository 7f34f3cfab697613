//! When the jobs of a process arrive: as declared, and where that leaves a choice, as drawn.

use crate::orders::Task;
use simulator::draw::{Draw, Purpose};

/// One job to come. Instants count from the first frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Arrival {
    pub(super) number: u64,
    pub(super) at_ns: u64,
    pub(super) release_ns: u64,
}

/// The next job of each task.
#[derive(Debug)]
pub(super) struct Arrivals {
    next: Vec<Arrival>,
}

impl Arrivals {
    pub(super) fn new(tasks: &[Task], draw: Draw) -> Self {
        Self { next: tasks.iter().map(|task| first(task, draw)).collect() }
    }

    /// The jobs released by an instant, with their tasks, by release.
    pub(super) fn take_due(&mut self, tasks: &[Task], draw: Draw, due_ns: u64) -> Vec<(usize, Arrival)> {
        let mut due = Vec::new();
        for (index, (task, next)) in tasks.iter().zip(&mut self.next).enumerate() {
            while next.release_ns <= due_ns {
                due.push((index, *next));
                *next = after(task, *next, draw);
            }
        }
        due.sort_by_key(|(index, arrival)| (arrival.release_ns, *index));
        due
    }

    /// Jobs that arrived before an instant do not come any more.
    pub(super) fn skip_to(&mut self, tasks: &[Task], draw: Draw, at_ns: u64) {
        for (task, next) in tasks.iter().zip(&mut self.next) {
            while next.at_ns < at_ns {
                *next = after(task, *next, draw);
            }
        }
    }

    /// The next release of all.
    pub(super) fn next_ns(&self) -> Option<u64> {
        self.next.iter().map(|next| next.release_ns).min()
    }
}

fn first(task: &Task, draw: Draw) -> Arrival {
    let phase = || draw.between(Purpose::Phase, task.number, 0, 0, task.period_ns.saturating_sub(1));
    arrival(task, 0, task.offset_ns.unwrap_or_else(phase), draw)
}

fn after(task: &Task, last: Arrival, draw: Draw) -> Arrival {
    let number = last.number + 1;
    let later = if task.sporadic { draw.between(Purpose::Gap, task.number, number, 0, task.period_ns) } else { 0 };
    arrival(task, number, last.at_ns.saturating_add(task.period_ns.max(1)).saturating_add(later), draw)
}

fn arrival(task: &Task, number: u64, at_ns: u64, draw: Draw) -> Arrival {
    let jitter = draw.between(Purpose::Jitter, task.number, number, 0, task.jitter_ns);
    Arrival { number, at_ns, release_ns: at_ns.saturating_add(jitter) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orders::Subject;

    fn task(offset_ns: Option<u64>, sporadic: bool) -> Task {
        Task {
            who: Subject(0),
            number: 3,
            period_ns: 100,
            deadline_ns: 100,
            offset_ns,
            sporadic,
            jitter_ns: 0,
            execution_ns: (1, 2),
            lines: 0,
            priority: 0,
            reads: Vec::new(),
            writes: Vec::new(),
        }
    }

    #[test]
    fn aligned_jobs_arrive_at_their_offset_and_keep_their_numbers_across_a_start() {
        let (tasks, draw) = ([task(Some(30), false)], Draw::of(1, 0));
        let mut arrivals = Arrivals::new(&tasks, draw);
        let due = arrivals.take_due(&tasks, draw, 230);
        assert_eq!(
            due.iter().map(|(_, one)| (one.number, one.at_ns)).collect::<Vec<_>>(),
            [(0, 30), (1, 130), (2, 230)]
        );
        arrivals.skip_to(&tasks, draw, 431);
        assert_eq!(arrivals.next_ns(), Some(530));
        assert_eq!(arrivals.take_due(&tasks, draw, 530)[0].1.number, 5);
    }

    #[test]
    fn drawn_arrivals_keep_to_their_ranges() {
        let (tasks, draw) = ([task(None, false), task(None, true)], Draw::of(9, 0));
        let due = Arrivals::new(&tasks, draw).take_due(&tasks, draw, 10_000);
        let of = |wanted: usize| -> Vec<u64> {
            due.iter().filter(|(task, _)| *task == wanted).map(|(_, one)| one.at_ns).collect()
        };
        assert!(of(0)[0] < 100 && of(1)[0] < 100);
        assert!(of(0).windows(2).all(|pair| pair[1] - pair[0] == 100));
        assert!(of(1).windows(2).all(|pair| (100..=200).contains(&(pair[1] - pair[0]))));
    }
}
