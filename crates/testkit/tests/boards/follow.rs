//! The definitions of reaction, held age and backlog, word by word, over the log of one run.

use std::collections::VecDeque;

use testkit::oracle::backlog::SmallQueue;
use testkit::oracle::board::{BoardTask, Start};
use testkit::oracle::chain::{ChainWorst, Link, SmallChain};

use crate::machine::Exchanged;

/// A job of the task at a place of the path reads or writes. At one instant writes come before reads.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Event {
    at: u32,
    reads: bool,
    place: usize,
    job: usize,
}

fn events(log: &[&[Exchanged]], length: u32) -> Vec<Event> {
    let mut events = Vec::new();
    for (place, jobs) in log.iter().enumerate() {
        for (job, exchanged) in jobs.iter().enumerate() {
            events.push(Event { at: exchanged.write, reads: false, place, job });
            events.push(Event { at: exchanged.read, reads: true, place, job });
        }
    }
    events.retain(|event| event.at <= length);
    events.sort_unstable();
    events
}

/// Whether a reader has arrived for the first time before an instant.
fn is_awake(reader: &BoardTask, jobs: &[Exchanged], at: u32) -> bool {
    reader.start == Start::Aligned || jobs.first().is_some_and(|job| job.arrival < at)
}

/// What is in a link, the oldest first: by the job that wrote it and its datum.
type Contents = VecDeque<(usize, usize)>;

/// The data of one run of a chain.
struct Carried {
    /// By place and job: the job of the first task that read the datum that this one carries.
    data: Vec<Vec<Option<usize>>>,
    /// By place and job: the job of the next task that first took what this one wrote.
    takers: Vec<Vec<Option<usize>>>,
}

impl Carried {
    fn new(chain: &SmallChain, log: &[&[Exchanged]], events: &[Event]) -> Self {
        let nothing: Vec<_> = log.iter().map(|jobs| vec![None; jobs.len()]).collect();
        let mut carried = Self { data: nothing.clone(), takers: nothing };
        let mut links = vec![Contents::new(); chain.links.len()];
        for event in events {
            match (event.reads, event.place) {
                (true, 0) => carried.data[0][event.job] = Some(event.job),
                (true, place) => carried.take(chain.links[place - 1], &mut links[place - 1], event),
                (false, place) if place < links.len() => {
                    let reader = &chain.board.tasks[chain.path[place + 1]];
                    let limited = matches!(chain.links[place], Link::QueueAtMost(_));
                    if !limited || is_awake(reader, log[place + 1], event.at) {
                        carried.put(chain.links[place], &mut links[place], event);
                    }
                }
                (false, _) => {}
            }
        }
        carried
    }

    fn put(&self, link: Link, contents: &mut Contents, event: &Event) {
        let Some(datum) = self.data[event.place][event.job] else {
            return;
        };
        if link == Link::LastValue {
            contents.clear();
        }
        contents.push_back((event.job, datum));
    }

    fn take(&mut self, link: Link, contents: &mut Contents, event: &Event) {
        let number = match link {
            Link::LastValue | Link::Queue => contents.len(),
            Link::QueueAtMost(number) => contents.len().min(number as usize),
        };
        let taken: Vec<_> = contents.iter().take(number).copied().collect();
        self.data[event.place][event.job] = taken.last().map(|&(_, datum)| datum);
        if link != Link::LastValue {
            contents.drain(..number);
        }
        for (writer, _) in taken {
            self.takers[event.place - 1][writer].get_or_insert(event.job);
        }
    }

    /// The job of the next task with which the output of a job goes on: from a buffer the first that reads at or after
    /// the write, whatever the buffer then holds; from a queue the one that takes the message.
    fn next_job(&self, chain: &SmallChain, log: &[&[Exchanged]], place: usize, job: usize) -> Option<usize> {
        match chain.links[place] {
            Link::LastValue => log[place + 1].iter().position(|next| next.read >= log[place][job].write),
            Link::Queue | Link::QueueAtMost(_) => self.takers[place][job],
        }
    }
}

/// The greatest reaction and held age in one run of `length` ticks.
pub fn worst_of_chain(chain: &SmallChain, log: &[Vec<Exchanged>], length: u32) -> ChainWorst {
    let log: Vec<&[Exchanged]> = chain.path.iter().map(|&task| &log[task][..]).collect();
    let events = events(&log, length);
    let carried = Carried::new(chain, &log, &events);
    let last = chain.path.len() - 1;
    let outputs = events.iter().filter(|event| event.place == last && !event.reads);
    let outputs: Vec<(u32, usize)> =
        outputs.filter_map(|event| carried.data[last][event.job].map(|datum| (event.at, datum))).collect();
    let held = outputs.windows(2).map(|pair| pair[1].0 - log[0][pair[0].1].read);
    let first_datum = outputs.first().map_or(usize::MAX, |output| output.1);
    let reactions = (1..log[0].len()).filter(|&job| job > first_datum).filter_map(|job| {
        let mut with = job;
        for place in 0..last {
            with = carried.next_job(chain, &log, place, with)?;
        }
        let write = log[last][with].write;
        (write <= length).then(|| write - log[0][job - 1].read)
    });
    ChainWorst { reaction: reactions.max().unwrap_or(0), held: held.max().unwrap_or(0) }
}

/// The greatest backlog in one run of `length` ticks.
pub fn worst_of_queue(queue: &SmallQueue, log: &[Vec<Exchanged>], length: u32) -> u32 {
    let ends = [&log[queue.writer][..], &log[queue.reader][..]];
    let (mut held, mut worst) = (0, 0);
    for event in events(&ends, length) {
        match (event.place, event.reads) {
            (0, false) if is_awake(&queue.board.tasks[queue.reader], ends[1], event.at) => held += 1,
            (1, true) => held -= queue.at_most.unwrap_or(held).min(held),
            _ => {}
        }
        worst = worst.max(held);
    }
    worst
}
