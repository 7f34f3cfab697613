//! How long a stimulus takes through each chain, and how old what a chain puts out gets.
//!
//! **Computes**, of each chain, every reaction and every held data age that the recording shows. Followed is where the data
//! of each output comes from: the instant of the first task's read. An output whose data is younger than that of all outputs
//! before it is the first to answer every stimulus since the read behind those: so long did the oldest of them wait. Every
//! output ends the time for which the one before it was held.
//! **Source.** Backward job chains, reaction time and held data age: Günzel and others, "On the equivalence of maximum reaction
//! time and maximum data age for cause-effect chains", ECRTS 2023 (from memory); what tasks read and write: `docs/semantics.md`.
//! **Assumptions.** A job that reads a buffer, or begins a chain, reads when it first executes; one that writes a buffer, or ends
//! a chain, writes when it completes. Under logical execution time these are its arrival and its deadline. Messages are read
//! and written when the recording says so.
//! **Invariants.** What is not known speaks for nothing: data that comes from before the recording or a gap, or from a read that
//! was not recorded, makes its output begin the measurement anew. What was measured while events of some core were lost, or one of
//! the chain's partitions had failed, is taken back when that is told. So is what hangs on the order of two things of which
//! different sources tell, where their clocks are not known well enough to say which came first.
//! **Checked by** recordings made by hand, and runs of the simulator, which measures its own chains in another way.

mod pending;
mod queue;
mod station;

use super::tally::{Finding, Limit, Rule, Tally};
use super::{Most, channel_name};
use crate::moment::{Moment, Reading};
use crate::rebuilt::{Job, Observer};
use crate::seen::{Happening, Seen, Who};
use model::System;
use model::system::{Need, Partition};
use pending::{Pending, Value};
use quantity::{ChannelId, CoreId, PartitionId, TaskId};
use station::{Link, Station};

/// What a job, a message or a buffer carries of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Carried {
    /// Nothing of it: there was no message.
    Nothing,
    /// Something, and the recording does not say what.
    Unknown,
    /// Data that the first task read at this moment.
    Since(Moment),
}

impl Carried {
    /// What is there once `later` has come: nothing replaces nothing.
    fn then(self, later: Self) -> Self {
        if later == Self::Nothing { self } else { later }
    }
}

/// What was seen of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChainSeen {
    /// The longest reaction, with the times before the first and after the last task.
    pub reaction: Option<Most>,
    /// The greatest held data age, with the same.
    pub age: Option<Most>,
}

/// All chains of a system.
#[derive(Debug)]
pub(super) struct Chains {
    chains: Vec<Chain>,
    /// By task: of which chains it is which station.
    of_task: Vec<Vec<(usize, usize)>>,
    /// By channel: the stations to which it leads.
    of_channel: Vec<Vec<(usize, usize)>>,
    /// By core: the task that executes.
    running: Vec<Option<TaskId>>,
    /// The partition of each task.
    home: Vec<PartitionId>,
    pending: Pending,
    /// By partition: for how long it may have failed when that is noticed, in nanoseconds.
    unnoticed_ns: Vec<u64>,
    /// By partition: when an error of it was noticed that no start has answered yet.
    noticed: Vec<Option<u64>>,
    /// Of which chains the order of two things was just found to be open: what came first, and how far off the clocks are.
    open: Vec<(usize, (Moment, u64))>,
    /// No output is to come before this instant.
    next_due: u64,
    now: u64,
}

#[derive(Debug)]
struct Chain {
    stations: Vec<Station>,
    /// The time before its first task and after its last one, in nanoseconds.
    outside_ns: u64,
    held: Option<Held>,
    reactions: Tally,
    ages: Tally,
    asks: Rule,
    /// The channel that the forwarder carries, where one does.
    carried_by_forwarder: Option<ChannelId>,
}

/// What the last output put out.
#[derive(Debug, Clone, Copy)]
struct Held {
    /// When its data was read.
    since: Moment,
    /// The youngest data that any output since the measurement began put out.
    youngest: Moment,
}

impl Chains {
    pub(super) fn new(system: &System) -> Self {
        let detection = |partition: &Partition| partition.restart.as_ref()?.detection;
        let unnoticed =
            system.partitions.iter().map(|partition| detection(partition).map_or(0, |time| time.value.ns()));
        let unnoticed_ns: Vec<u64> = unnoticed.collect();
        let longest_ns = unnoticed_ns.iter().copied().max().unwrap_or(0);
        let mut chains = Self {
            chains: system.chains.iter().map(|chain| Chain::new(system, chain)).collect(),
            of_task: vec![Vec::new(); system.tasks.len()],
            of_channel: vec![Vec::new(); system.channels.len()],
            running: vec![None; system.board.cores.len()],
            home: system.tasks.iter().map(|task| task.partition).collect(),
            pending: Pending::new(system.board.cores.len(), longest_ns),
            noticed: vec![None; unnoticed_ns.len()],
            unnoticed_ns,
            open: Vec::new(),
            next_due: u64::MAX,
            now: 0,
        };
        for (number, chain) in chains.chains.iter().enumerate() {
            for (position, station) in chain.stations.iter().enumerate().filter(|_| chain.is_followed()) {
                chains.of_task[station.task.index()].push((number, position));
                if let Link::Channel(inlet) = &station.link {
                    chains.of_channel[inlet.channel.index()].push((number, position));
                }
            }
        }
        chains
    }

    /// Something is told of a task.
    fn expect_order(&mut self, at: Moment, task: TaskId) {
        let Self { chains, of_task, open, .. } = self;
        for (number, position) in &of_task[task.index()] {
            open.extend(chains[*number].stations[*position].order.take(at).map(|found| (*number, found)));
        }
    }

    /// Where the order of two things of a chain is open, so is what was measured since the first of them, and measurement begins
    /// anew after the second.
    fn leave_open(&mut self) {
        for (number, (from, error_ns)) in std::mem::take(&mut self.open) {
            for _ in self.pending.take_back(from.at_ns, |value| value.chain == number) {
                self.chains[number].note_undecided(error_ns);
            }
            self.chains[number].note_undecided(error_ns);
            self.chains[number].held = None;
            self.chains[number].forget();
        }
    }

    /// Everything was seen.
    pub(super) fn finish(&mut self) {
        self.outputs(self.now);
        let rest = self.pending.rest();
        self.note(&rest);
    }

    /// One finding for the need of each chain.
    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let chains = self.chains.iter().zip(&system.chains);
        let finding = |(chain, declared): (&Chain, &model::system::Chain)| {
            let tally = if chain.asks == Rule::Reaction { &chain.reactions } else { &chain.ages };
            tally.finding(declared.name.value.clone(), &chain.silence(system))
        };
        chains.map(finding).collect()
    }

    /// The most that was seen of each chain.
    pub(super) fn seen(&self) -> Vec<ChainSeen> {
        let seen = |chain: &Chain| ChainSeen { reaction: chain.reactions.most(), age: chain.ages.most() };
        self.chains.iter().map(seen).collect()
    }

    /// Every station of a task.
    fn each(&mut self, task: TaskId, mut each: impl FnMut(&mut Station)) {
        let Self { chains, of_task, .. } = self;
        of_task[task.index()].iter().for_each(|(chain, position)| each(&mut chains[*chain].stations[*position]));
    }

    /// Outputs come that are to come until `now`, in the order of time.
    fn outputs(&mut self, now: u64) {
        while self.next_due <= now {
            for (number, chain) in self.chains.iter_mut().enumerate() {
                let mut found = |open| self.open.push((number, open));
                chain.outputs(self.next_due, &mut found, |at_ns, age, reaction| {
                    self.pending.push(Value { chain: number, at_ns, age, reaction });
                });
            }
            let due = self.chains.iter().flat_map(|chain| &chain.stations).filter_map(Station::next_due);
            self.next_due = due.min().unwrap_or(u64::MAX);
        }
        let settled = self.pending.settled();
        self.note(&settled);
    }

    fn note(&mut self, values: &[Value]) {
        values.iter().for_each(|value| self.chains[value.chain].note(value));
    }

    fn writes(&mut self, at: Moment, channel: ChannelId) {
        for (number, position) in &self.of_channel[channel.index()] {
            let (before, after) = self.chains[*number].stations.split_at_mut(*position);
            let (Some(from), Link::Channel(inlet)) = (before.last_mut(), &mut after[0].link) else { continue };
            inlet.writes += 1;
            self.open
                .extend([inlet.order.take(at), from.order.take(at)].into_iter().flatten().map(|open| (*number, open)));
            // Of a channel of a whole partition, another task of it may be the one that writes.
            let is_from = inlet.writer.is_some() || from.wrote_at(at) || self.running.contains(&Some(from.task));
            let carried = if is_from { from.speaks(at) } else { Carried::Unknown };
            after[0].receive(carried);
        }
    }

    fn reads(&mut self, at: Moment, channel: ChannelId, receiver: u16) {
        for (number, position) in &self.of_channel[channel.index()] {
            let station = &mut self.chains[*number].stations[*position];
            let Link::Channel(inlet) = &mut station.link else { continue };
            if inlet.receiver != receiver {
                continue;
            }
            self.open.extend(
                [inlet.order.take(at), station.order.take(at)].into_iter().flatten().map(|open| (*number, open)),
            );
            let is_its = inlet.is_own || station.reads_at_arrival(at) || self.running.contains(&Some(station.task));
            if is_its { station.reads(at) } else { station.misses() }
        }
    }

    fn overflows(&mut self, channel: ChannelId, receiver: u16) {
        for (number, position) in &self.of_channel[channel.index()] {
            let station = &mut self.chains[*number].stations[*position];
            if matches!(&station.link, Link::Channel(inlet) if inlet.receiver == receiver) {
                station.refuse();
            }
        }
    }

    /// A partition starts anew or stops: chains through it are not followed across that, from the instant on at which it may
    /// have failed.
    fn start_anew(&mut self, at: Moment, partition: PartitionId) {
        let index = partition.index();
        let failed = self.noticed[index].take().unwrap_or(at.at_ns).saturating_sub(self.unnoticed_ns[index]);
        let failed = failed.saturating_sub(u64::from(at.clock.error_ns));
        let Self { chains, pending, running, home, .. } = self;
        for value in pending.take_back(failed, |value| chains[value.chain].passes(partition)) {
            chains[value.chain].withdraw(&value);
        }
        for chain in chains.iter_mut().filter(|chain| chain.passes(partition)) {
            chain.forget();
            chain.stations.iter_mut().filter(|station| station.home == partition).for_each(Station::start_anew);
        }
        running.iter_mut().for_each(|task| _ = task.take_if(|task| home[task.index()] == partition));
    }

    /// A partition is operational: what waited for it before is no measure of the chains through it.
    fn operational(&mut self, partition: PartitionId) {
        self.chains.iter_mut().filter(|chain| chain.passes(partition)).for_each(Chain::forget);
    }

    /// Events were lost: of a core, or of any.
    fn forget(&mut self, core: Option<CoreId>) {
        for value in core.map_or_else(Vec::new, |core| self.pending.lose(core)) {
            self.chains[value.chain].withdraw(&value);
        }
        self.chains.iter_mut().for_each(Chain::forget);
        self.running.fill(None);
        self.noticed.fill(None);
        self.next_due = u64::MAX;
    }
}

impl Chain {
    fn new(system: &System, chain: &model::system::Chain) -> Self {
        let outside = |time: &Option<diagnostic::Located<quantity::Duration>>| time.map_or(0, |time| time.value.ns());
        let no_limit = || Limit::Err("the chain declares no such need".to_owned());
        let (asks, reaction, age) = match chain.need {
            Need::Reaction(need) => (Rule::Reaction, Ok(need.value.ns()), no_limit()),
            Need::DataAge(need) => (Rule::DataAge, no_limit(), Ok(need.value.ns())),
        };
        let stations = (0..chain.steps.len()).map(|position| Station::new(system, &chain.steps, position));
        let links = chain.steps.iter().skip(1).filter_map(|step| step.via);
        Self {
            stations: stations.collect(),
            outside_ns: outside(&chain.before).saturating_add(outside(&chain.after)),
            held: None,
            reactions: Tally::new(Rule::Reaction, reaction),
            ages: Tally::new(Rule::DataAge, age),
            asks,
            carried_by_forwarder: links.into_iter().find(|channel| system.channel(*channel).forwarded),
        }
    }

    fn passes(&self, partition: PartitionId) -> bool {
        self.stations.iter().any(|station| station.home == partition)
    }

    fn is_followed(&self) -> bool {
        self.carried_by_forwarder.is_none()
    }

    /// Why nothing was measured.
    fn silence(&self, system: &System) -> String {
        if let Some(channel) = self.carried_by_forwarder {
            let name = channel_name(system, channel.index());
            return format!("the forwarder carries `{name}`, and no recording says which message a read finds");
        }
        for station in &self.stations {
            if let Link::Channel(inlet) = &station.link {
                let name = channel_name(system, inlet.channel.index());
                match (inlet.writes, inlet.reads) {
                    (0, _) => return format!("no write of `{name}` is recorded"),
                    (_, 0) => {
                        return format!("no read of `{name}` by `{}` is recorded", system.task_label(station.task));
                    }
                    _ => {}
                }
            }
            if station.completed == 0 {
                return format!("no job of `{}` was seen to complete", system.task_label(station.task));
            }
        }
        "no two outputs of it were seen one after the other of which it is known where their data comes from".to_owned()
    }

    /// Outputs come that are to come until `now`, those of the first tasks first.
    fn outputs(
        &mut self,
        now: u64,
        open: &mut impl FnMut((Moment, u64)),
        mut measured: impl FnMut(u64, Reading, Option<Reading>),
    ) {
        for position in 0..self.stations.len() {
            while self.stations[position].next_due().is_some_and(|due| due <= now) {
                let Some((at, carried)) = self.stations[position].output() else { break };
                match self.stations.get_mut(position + 1) {
                    Some(next) if matches!(next.link, Link::Buffer) => {
                        next.order.take(at).into_iter().for_each(&mut *open);
                        next.receive(carried);
                    }
                    Some(_) => {}
                    None => {
                        if let Some((age, reaction)) = self.put_out(at, carried) {
                            measured(at.at_ns, age, reaction);
                        }
                    }
                }
            }
        }
    }

    /// The last task puts out what it carries. How old what it replaces is by then, and how long the oldest stimulus waited
    /// that it is the first to answer.
    fn put_out(&mut self, at: Moment, carried: Carried) -> Option<(Reading, Option<Reading>)> {
        let since = match carried {
            Carried::Nothing => return None,
            Carried::Unknown => {
                self.lose_track();
                return None;
            }
            Carried::Since(since) => since,
        };
        let held = self.held.unwrap_or(Held { since, youngest: since });
        let is_younger = since.at_ns > held.youngest.at_ns;
        let youngest = if is_younger { since } else { held.youngest };
        let is_first = self.held.replace(Held { since, youngest }).is_none();
        let took = |from: Moment| at.since(from).plus(self.outside_ns);
        let reaction = is_younger.then(|| took(held.youngest));
        (!is_first).then(|| (took(held.since), reaction))
    }

    /// A value stands.
    fn note(&mut self, value: &Value) {
        let (at, age) = (value.at_ns, value.age);
        self.ages.note(age, at, || format!("what was put out before was {} ns old when it was replaced", age.value));
        if let Some(reaction) = value.reaction {
            self.reactions
                .note(reaction, at, || format!("a stimulus was answered only {} ns after it came", reaction.value));
        }
    }

    /// A value does not stand.
    fn withdraw(&mut self, value: &Value) {
        self.ages.note_gap();
        value.reaction.into_iter().for_each(|_| self.reactions.note_gap());
    }

    /// What was measured may be another value, as far as the clocks are known.
    fn note_undecided(&mut self, error_ns: u64) {
        self.ages.note_undecided(error_ns);
        self.reactions.note_undecided(error_ns);
    }

    /// What was put out last is not known any more.
    fn lose_track(&mut self) {
        if self.held.take().is_some() {
            self.ages.note_gap();
            self.reactions.note_gap();
        }
    }

    fn forget(&mut self) {
        self.lose_track();
        self.stations.iter_mut().for_each(Station::forget);
    }
}

impl Observer for Chains {
    fn seen(&mut self, seen: &Seen) {
        let at = seen.moment();
        self.outputs(at.at_ns);
        self.now = at.at_ns;
        self.pending.expect_error(at.clock);
        if let Some(core) = core_of(seen.what) {
            self.pending.hear(core, at.at_ns);
        }
        match seen.what {
            Happening::Runs { core, who, .. } => {
                let task = who.and_then(|who| if let Who::Task(task) = who { Some(task) } else { None });
                let before = std::mem::replace(&mut self.running[core.index()], task);
                before.into_iter().chain(task).for_each(|task| self.expect_order(at, task));
                task.into_iter().for_each(|task| self.each(task, |station| station.executes(at)));
            }
            Happening::Arrives { task, .. } => {
                self.expect_order(at, task);
                self.each(task, |station| station.arrives(at));
            }
            Happening::Completes { task, .. } => self.expect_order(at, task),
            Happening::Writes { channel, .. } => self.writes(at, channel),
            Happening::Reads { channel, receiver } => self.reads(at, channel, receiver),
            Happening::Overflows { channel, receiver } => self.overflows(channel, receiver),
            Happening::Noticed { partition } => {
                let noticed = &mut self.noticed[partition.index()];
                *noticed = noticed.or(Some(at.at_ns));
            }
            Happening::Restarts { partition, .. } | Happening::Stopped { partition } => self.start_anew(at, partition),
            Happening::Operational { partition } => self.operational(partition),
            Happening::Gap { core, .. } => self.forget(core),
            _ => {}
        }
        self.leave_open();
    }

    fn job(&mut self, job: &Job) {
        let mut next_due = self.next_due;
        self.each(job.task, |station| {
            station.ends(job);
            next_due = next_due.min(station.next_due().unwrap_or(u64::MAX));
        });
        self.next_due = next_due;
        self.outputs(self.now);
        self.leave_open();
    }
}

/// The core on which something happens, where it is of a core.
fn core_of(what: Happening) -> Option<CoreId> {
    match what {
        Happening::WindowBegins { core, .. }
        | Happening::WindowEnds { core, .. }
        | Happening::Runs { core, .. }
        | Happening::InterruptBegins { core, .. }
        | Happening::InterruptEnds { core, .. } => Some(core),
        _ => None,
    }
}
