//! What the tasks of the chain hold and hand on: each message is the instant at which the first task read what is
//! behind it.

use crate::made::{Made, Queue};
use crate::run::Latencies;
use std::collections::{BTreeMap, VecDeque};

pub struct Data<'a> {
    made: &'a Made,
    /// What each place of the chain has written last.
    written: Vec<Option<u64>>,
    /// What waits before each place that a queue leads to.
    queued: Vec<VecDeque<u64>>,
    /// What the job that arrived then has read, by place and arrival; none where it found nothing.
    read: BTreeMap<(usize, u64), Option<u64>>,
    /// Logical writes to come, by instant and place.
    due: BTreeMap<(u64, usize), Option<u64>>,
    /// All reads of the first task.
    reads: Vec<u64>,
    /// All outputs with what is behind them.
    outputs: Vec<(u64, u64)>,
}

impl<'a> Data<'a> {
    pub fn new(made: &'a Made) -> Self {
        let places = made.chain.len();
        Self {
            made,
            written: vec![None; places],
            queued: vec![VecDeque::new(); places],
            read: BTreeMap::new(),
            due: BTreeMap::new(),
            reads: Vec::new(),
            outputs: Vec::new(),
        }
    }

    fn place(&self, task: usize) -> Option<usize> {
        self.made.chain.iter().position(|&(other, _)| other == task)
    }

    /// The job of `task` that arrived then reads.
    pub fn read(&mut self, task: usize, arrival: u64, now: u64) {
        let Some(place) = self.place(task) else { return };
        let value = match self.made.chain[place].1 {
            _ if place == 0 => {
                self.reads.push(now);
                Some(now)
            }
            None => self.written[place - 1],
            Some(queue) => self.take(place, queue),
        };
        self.read.insert((place, arrival), value);
        let task = &self.made.tasks[task];
        if task.logical {
            self.due.insert((arrival + task.period, place), value);
        }
    }

    /// The newest of what a read takes.
    fn take(&mut self, place: usize, queue: Queue) -> Option<u64> {
        let waiting = &mut self.queued[place];
        let count = if queue.at_most == 0 { waiting.len() } else { waiting.len().min(queue.at_most as usize) };
        waiting.drain(..count).next_back()
    }

    /// The job of `task` that arrived then completes.
    pub fn complete(&mut self, task: usize, arrival: u64, now: u64) {
        let Some(place) = self.place(task) else { return };
        let value = self.read.remove(&(place, arrival)).flatten();
        let task = &self.made.tasks[task];
        if !task.logical {
            self.write(place, value, now);
        } else if now > arrival + task.period {
            // Late: it is written now, and was not at its deadline.
            self.write(place, value, now);
        }
    }

    /// Writes whose instant has come. One whose job has not completed is late, and comes with its completion.
    pub fn write_logical(&mut self, now: u64) {
        while let Some((&(instant, place), &value)) = self.due.first_key_value() {
            if instant > now {
                return;
            }
            self.due.remove(&(instant, place));
            let arrival = instant - self.made.tasks[self.made.chain[place].0].period;
            if !self.read.contains_key(&(place, arrival)) {
                self.write(place, value, now);
            }
        }
    }

    fn write(&mut self, place: usize, value: Option<u64>, now: u64) {
        let Some(value) = value else { return };
        if place + 1 == self.made.chain.len() {
            self.outputs.push((now, value));
            return;
        }
        self.written[place] = Some(value);
        if let Some(queue) = self.made.chain[place + 1].1
            && (self.queued[place + 1].len() as u64) < queue.depth
        {
            self.queued[place + 1].push_back(value);
        }
    }

    /// By the definitions: from the read before each read to the first output with what it read, or newer, behind it;
    /// and from what is behind each output to the next one. Nothing before the first read whose data reaches an
    /// output counts.
    pub fn latencies(&self) -> Latencies {
        let Some(&(_, first)) = self.outputs.first() else { return Latencies::default() };
        let after_first = self.reads.windows(2).filter(|pair| pair[0] >= first);
        let reaction = after_first.filter_map(|pair| {
            let caused = self.outputs.iter().find(|(_, source)| *source >= pair[1]);
            caused.map(|&(at, _)| at - pair[0])
        });
        // An output of what is behind the one before as well replaces nothing.
        let mut fresh = self.outputs.clone();
        fresh.dedup_by_key(|output| output.1);
        let age = fresh.windows(2).map(|pair| pair[1].0 - pair[0].1);
        Latencies { reaction: reaction.max().unwrap_or(0), age: age.max().unwrap_or(0) }
    }
}
