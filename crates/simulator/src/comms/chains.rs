//! Cause-effect chains: how old what a chain puts out is, and how long a stimulus takes through it.
//!
//! **Computes**, of each chain, the longest reaction and the greatest age held. A job of the first task that reads answers
//! every stimulus since the read before. What a job read goes with what it writes: the instant of the read that its data
//! comes from, and apart from that the oldest stimulus that no output has answered yet.
//! **Source.** Günzel, Teper, von der Brüggen, Chen, "End-to-end latency of cause-effect chains: a tutorial" (2024): maximum
//! reaction time and maximum data age, forward and backward job chains. That both have the same maximum in one schedule is
//! Günzel et al., "On the equivalence of maximum reaction time and maximum data age for cause-effect chains" (ECRTS 2023).
//! Both from memory.
//! **Assumptions.** Jobs of one task write in their order, and a channel's messages come in theirs.
//! **Symbols.** `stamp`: the instant of the first task's read, in nanoseconds; `oldest`: the instant just after which the
//! oldest stimulus came, in nanoseconds: that of the read which it just missed.
//! **Invariants.** A stimulus is at one place at any instant. Messages of a queue and their tokens come and go together.
//! **Differs from the source.** A queue's message carries its own data on, as `docs/semantics.md` says. Where a message or a
//! job is lost, the next one that comes through answers its stimuli. What finds nothing, carries nothing on. A reaction
//! counts from the first read on whose data came out, so that both see the same stimuli.
//! **Checked by** an enumeration of whole job chains over random schedules, and the survey vessel.

use crate::Machine;
use crate::engine::NEVER;
use crate::machine::{Chain, Port};
use crate::seen::ChainSeen;
use std::collections::VecDeque;

/// Where a message comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Origin {
    /// A job of its source, with what it computed.
    Job,
    /// Its source, once more or without a job.
    Again,
    /// Somebody else: nothing in it means anything.
    Foreign,
}

/// What a message or a job carries of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Token {
    stamp: u64,
    oldest: u64,
}

impl Token {
    const NOTHING: Self = Self { stamp: NEVER, oldest: NEVER };

    fn is_something(self) -> bool {
        self.stamp != NEVER
    }

    /// The same, its stimuli taken out.
    fn take(&mut self) -> Self {
        match self.is_something() {
            true => Self { oldest: std::mem::replace(&mut self.oldest, NEVER), ..*self },
            false => Self::NOTHING,
        }
    }

    /// Replaced by what came later, with the stimuli of both.
    fn add(&mut self, later: Self) {
        self.oldest = self.oldest.min(later.oldest);
        if later.is_something() {
            self.stamp = later.stamp;
        }
    }
}

/// One task of one chain.
#[derive(Debug, Clone)]
struct Place {
    chain: usize,
    task: usize,
    link: Link,
    last: bool,
    /// What the task before wrote last, with the stimuli that have not gone on from there.
    offered: Token,
    /// What a read of a sampled message or last value finds.
    present: Token,
    queue: VecDeque<Token>,
    /// In the internal network.
    transit: VecDeque<Token>,
    /// What the read under way took out of a queue.
    taken: Token,
    /// Of the first task: its last read.
    last_read: u64,
    /// What jobs that have read and not written carry, by number.
    jobs: VecDeque<(u64, Token)>,
    /// Stimuli of jobs that were dropped.
    kept: u64,
}

/// How a chain comes to a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Link {
    /// It begins there.
    Begins,
    /// By a last-value buffer.
    Buffer,
    /// By a sampling port.
    Sampling,
    /// By a queue.
    Queue,
}

/// What the last task of a chain put out.
#[derive(Debug, Clone, Copy)]
struct Output {
    /// The stamps of the first and of the last output.
    first: u64,
    last: u64,
    outside: u64,
}

/// All chains of a machine.
#[derive(Debug, Clone)]
pub(super) struct Chains {
    places: Vec<Place>,
    outputs: Vec<Output>,
    of_task: Vec<Vec<usize>>,
    of_input: Vec<Vec<usize>>,
}

impl Chains {
    pub(super) fn new(machine: &Machine) -> Self {
        let mut chains = Self {
            places: Vec::new(),
            outputs: machine.chains.iter().map(|chain| Output::new(chain.outside_ns)).collect(),
            of_task: vec![Vec::new(); machine.tasks.len()],
            of_input: vec![Vec::new(); machine.inputs.len()],
        };
        for (number, chain) in machine.chains.iter().enumerate() {
            chains.add(machine, number, chain);
        }
        chains
    }

    fn add(&mut self, machine: &Machine, number: usize, chain: &Chain) {
        for (position, step) in chain.steps.iter().enumerate() {
            let port = step.via.map(|input| machine.channels[machine.inputs[input].channel].port);
            let link = match port {
                _ if position == 0 => Link::Begins,
                None => Link::Buffer,
                Some(Port::Sampling { .. }) => Link::Sampling,
                Some(Port::Queuing { .. }) => Link::Queue,
            };
            let place = self.places.len();
            self.of_task[step.task].push(place);
            if let Some(input) = step.via.filter(|_| position > 0) {
                self.of_input[input].push(place);
            }
            self.places.push(Place::new(number, step.task, link, position + 1 == chain.steps.len()));
        }
    }

    /// A run begins.
    pub(super) fn reset(&mut self) {
        self.places.iter_mut().for_each(Place::reset);
        self.outputs.iter_mut().for_each(|output| *output = Output::new(output.outside));
    }

    /// A job of the task takes that many messages from an input, or reads a sampled one.
    #[inline]
    pub(super) fn take(&mut self, input: usize, task: usize, messages: usize) {
        for &place in &self.of_input[input] {
            self.places[place].take(task, messages);
        }
    }

    /// A job has read everything.
    #[inline]
    pub(super) fn begin_job(&mut self, task: usize, job: u64, now: u64) {
        for &place in &self.of_task[task] {
            let place = &mut self.places[place];
            let token = place.found(now);
            if token.is_something() {
                place.jobs.push_back((job, token));
            }
        }
    }

    /// A job writes: its messages follow by `pass` and `enter`.
    #[inline]
    pub(super) fn end_job(&mut self, task: usize, job: u64, now: u64, seen: &mut [ChainSeen]) {
        for &index in &self.of_task[task] {
            let place = &mut self.places[index];
            let token = place.brought(job);
            if place.last {
                self.outputs[place.chain].note(token, now, &mut seen[place.chain]);
            } else {
                self.places[index + 1].offer(token);
            }
        }
    }

    /// A message has come to an input, straight from its source, and was accepted.
    #[inline]
    pub(super) fn pass(&mut self, input: usize, origin: Origin) {
        for &place in &self.of_input[input] {
            let place = &mut self.places[place];
            let token = place.sent(origin);
            place.arrive(token, origin, true);
        }
    }

    /// A message has gone into the internal network on its way to an input.
    pub(super) fn enter(&mut self, input: usize, origin: Origin) {
        for &place in &self.of_input[input] {
            let place = &mut self.places[place];
            let token = place.sent(origin);
            place.transit.push_back(token);
        }
    }

    /// The oldest message on its way to an input has come.
    pub(super) fn leave(&mut self, input: usize, origin: Origin, accepted: bool) {
        for &place in &self.of_input[input] {
            let place = &mut self.places[place];
            if let Some(token) = place.transit.pop_front() {
                place.arrive(token, origin, accepted);
            }
        }
    }

    /// The queue of an input is emptied.
    pub(super) fn empty(&mut self, input: usize) {
        for &place in &self.of_input[input] {
            let place = &mut self.places[place];
            place.lose(place.queue.len());
        }
    }
}

impl Place {
    fn new(chain: usize, task: usize, link: Link, last: bool) -> Self {
        Self {
            chain,
            task,
            link,
            last,
            offered: Token::NOTHING,
            present: Token::NOTHING,
            queue: VecDeque::new(),
            transit: VecDeque::new(),
            taken: Token::NOTHING,
            last_read: NEVER,
            jobs: VecDeque::new(),
            kept: NEVER,
        }
    }

    fn reset(&mut self) {
        (self.offered, self.present, self.taken) = (Token::NOTHING, Token::NOTHING, Token::NOTHING);
        (self.last_read, self.kept) = (NEVER, NEVER);
        self.queue.clear();
        self.transit.clear();
        self.jobs.clear();
    }

    /// What the task before wrote: a last-value buffer has it at once.
    fn offer(&mut self, token: Token) {
        self.offered = Token { stamp: token.stamp, oldest: self.offered.oldest.min(token.oldest) };
        if self.link == Link::Buffer {
            let token = self.offered.take();
            self.present.add(token);
        }
    }

    /// What a message carries that is sent now.
    fn sent(&mut self, origin: Origin) -> Token {
        if origin == Origin::Job { self.offered.take() } else { Token::NOTHING }
    }

    fn arrive(&mut self, token: Token, origin: Origin, accepted: bool) {
        match self.link {
            Link::Queue if accepted => self.queue.push_back(token),
            Link::Queue => self.offered.oldest = self.offered.oldest.min(token.oldest),
            _ if origin == Origin::Foreign => self.present.stamp = NEVER,
            _ => self.present.add(token),
        }
    }

    /// A job of a task takes messages; those that another task of the partition takes are lost to the chain.
    fn take(&mut self, task: usize, messages: usize) {
        if self.link != Link::Queue {
            return;
        }
        if task != self.task {
            return self.lose(messages);
        }
        let taken = &mut self.taken;
        self.queue.drain(..messages.min(self.queue.len())).for_each(|token| taken.add(token));
    }

    /// The oldest messages are lost: their stimuli go with the next one.
    fn lose(&mut self, messages: usize) {
        let offered = &mut self.offered;
        let lost = self.queue.drain(..messages.min(self.queue.len()));
        lost.for_each(|token| offered.oldest = offered.oldest.min(token.oldest));
    }

    /// What a job that reads now has found.
    fn found(&mut self, now: u64) -> Token {
        match self.link {
            Link::Begins => Token { stamp: now, oldest: std::mem::replace(&mut self.last_read, now) },
            Link::Buffer | Link::Sampling => self.present.take(),
            Link::Queue => std::mem::replace(&mut self.taken, Token::NOTHING),
        }
    }

    /// What a job brings that writes now, with the stimuli of jobs before it that never wrote.
    fn brought(&mut self, job: u64) -> Token {
        let mut token = Token { stamp: NEVER, oldest: self.kept };
        while let Some((number, of_job)) = self.jobs.pop_front_if(|(number, _)| *number <= job) {
            token.oldest = token.oldest.min(of_job.oldest);
            if number == job {
                token.stamp = of_job.stamp;
            }
        }
        self.kept = if token.is_something() { NEVER } else { token.oldest };
        token
    }
}

impl Output {
    fn new(outside: u64) -> Self {
        Self { first: NEVER, last: NEVER, outside }
    }

    /// The last task writes.
    fn note(&mut self, token: Token, now: u64, seen: &mut ChainSeen) {
        if !token.is_something() {
            return;
        }
        if self.first == NEVER {
            (self.first, self.last) = (token.stamp, token.stamp);
            return;
        }
        let since = |instant: u64| Some((now - instant).saturating_add(self.outside));
        seen.age_ns = seen.age_ns.max(since(self.last));
        if token.oldest != NEVER && token.oldest >= self.first {
            seen.reaction_ns = seen.reaction_ns.max(since(token.oldest));
        }
        self.last = token.stamp;
    }
}
