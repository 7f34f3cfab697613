//! The fast engine: window tables, preemptive fixed priority, messages read at begin and written at completion.
//!
//! **Computes** what the general engine would see in a run, to the byte, where [`Unfit`] does not say otherwise.
//! **Source.** Ours. Where windows are static and no message changes what executes when, a partition can be run alone, in the
//! time that it is supplied; messages follow from when jobs begin and complete.
//! **Invariants and why it ends.** Nothing is added to what is seen before the whole run is known to fit.
//! **Checked by** the general engine on random machines, jobs worked by hand, the peers' checksums.

mod crash;
mod list;
mod merge;
mod releases;
mod script;
mod supply;
#[cfg(test)]
mod tests;
mod unfit;
mod unit;

pub use unfit::Unfit;

use crate::draw::{Draw, Purpose};
use crate::engine::spread;
use crate::machine::Action;
use crate::protection::Protection;
use crate::scenario::{Drawn, Times};
use crate::seen::{ChannelSeen, InputSeen, TaskSeen};
use crate::{Machine, Scenario, Seen};
use list::List;
use merge::Meddling;
use model::system::HealthError;
use releases::Ranked;
use script::{Fault, NOTHING};
use supply::Supplies;
use unit::{Clock, Log, Room, Unit};

/// A machine and the room that its runs need, kept from run to run.
#[derive(Debug)]
pub struct Table<'m> {
    machine: &'m Machine,
    schedule: usize,
    units: Vec<Unit>,
    rooms: Vec<Room>,
    /// Where each task is: partition and rank; `None` where it does not arrive.
    places: Vec<Option<(usize, usize)>>,
    /// The task that writes each channel, and that reads each input.
    writers: Vec<Option<usize>>,
    readers: Vec<Option<usize>>,
    /// The channels on which each partition sends or receives.
    channels: Vec<Vec<usize>>,
    /// Whether the health monitor may answer a missed deadline, by partition.
    answers: Vec<bool>,
    /// For which span and drawing what follows was made.
    made_for: Option<(u64, Drawn)>,
    supplies: Supplies,
    lists: Vec<List>,
    /// Partitions with the same releases in every run.
    same: Vec<bool>,
    /// Those of a partition with a fault.
    own: List,
    spare: Spare,
}

/// Rooms for work under way.
#[derive(Debug, Default)]
struct Spare {
    sent: Vec<u64>,
    coming: Vec<(u64, u64)>,
    waiting: Vec<u64>,
}

impl<'m> Table<'m> {
    /// An engine for runs of `machine` under a module schedule.
    ///
    /// # Errors
    /// [`Unfit`] where the machine needs the general engine.
    pub fn new(machine: &'m Machine, schedule: usize) -> Result<Self, Unfit> {
        unfit::check_machine(machine, schedule)?;
        let active = |task: usize| machine.schedules[schedule].active.get(task).copied().unwrap_or(true);
        let mut places = vec![None; machine.tasks.len()];
        let ranked = (0..machine.partitions.len()).map(|partition| {
            let runs = machine.runs(partition);
            let mut tasks: Vec<usize> = machine.partitions[partition].tasks.clone().collect();
            tasks.retain(|&task| runs && active(task));
            tasks.sort_by_key(|&task| std::cmp::Reverse(machine.tasks[task].priority));
            tasks.iter().enumerate().for_each(|(rank, &task)| places[task] = Some((partition, rank)));
            Ranked { tasks: tasks.into_iter().map(|task| (task, machine.tasks[task].clone())).collect() }
        });
        let units: Vec<Unit> = ranked.map(Unit::new).collect();
        let of = |task_of: fn(&crate::machine::Task) -> &Vec<usize>, index: usize| {
            machine.tasks.iter().position(|task| task_of(task).contains(&index))
        };
        Ok(Self {
            machine,
            schedule,
            rooms: units.iter().map(Unit::room).collect(),
            units,
            places,
            writers: (0..machine.channels.len()).map(|channel| of(|task| &task.writes, channel)).collect(),
            readers: (0..machine.inputs.len()).map(|input| of(|task| &task.reads, input)).collect(),
            channels: (0..machine.partitions.len()).map(|partition| touched(machine, partition)).collect(),
            answers: (0..machine.partitions.len()).map(|partition| answers(machine, partition)).collect(),
            made_for: None,
            supplies: Supplies::default(),
            lists: vec![List::default(); machine.partitions.len()],
            same: vec![false; machine.partitions.len()],
            own: List::default(),
            spare: Spare::default(),
        })
    }

    /// Runs one scenario with at most one fault and adds what it saw to `seen`.
    ///
    /// # Errors
    /// [`Unfit`] where the run needs the general engine; then `seen` is as it was.
    pub fn run(&mut self, scenario: &Scenario, seen: &mut Seen) -> Result<(), Unfit> {
        let drawn = self.prepare(scenario)?;
        let fault = self.script(scenario)?;
        let acting = fault.as_ref().filter(|fault| fault.script.acts());
        let elsewhere = |partition: usize| acting.is_none_or(|fault| fault.partition != partition);
        for partition in 0..self.units.len() {
            self.refresh(partition, scenario, &drawn);
            if elsewhere(partition) {
                self.run_unit(partition, scenario, &drawn)?;
            }
        }
        let windows = match acting {
            None => self.supplies.windows,
            Some(fault) => self.run_faulty(fault, scenario, &drawn)?,
        };
        for partition in 0..self.units.len() {
            self.add_tasks(partition, !elsewhere(partition), seen);
        }
        if let Some(fault) = &fault {
            self.add_partition(fault, seen);
        }
        for channel in 0..self.machine.channels.len() {
            self.add_channel(channel, fault.as_ref(), scenario, &drawn, seen);
        }
        seen.counts.windows += windows;
        seen.runs += 1;
        Ok(())
    }

    /// Runs one scenario with its one fault and without: what each saw alone replaces `with` and `without`. Only the partition
    /// with the fault is run twice.
    ///
    /// # Errors
    /// [`Unfit`] where either run needs the general engine; then what was replaced does not count.
    pub fn pair(&mut self, scenario: &Scenario, with: &mut Seen, without: &mut Seen) -> Result<(), Unfit> {
        let drawn = self.prepare(scenario)?;
        let fault = self.script(scenario)?;
        without.clear();
        for partition in 0..self.units.len() {
            self.refresh(partition, scenario, &drawn);
            self.run_unit(partition, scenario, &drawn)?;
            self.add_tasks(partition, false, without);
        }
        for channel in 0..self.machine.channels.len() {
            self.add_channel(channel, None, scenario, &drawn, without);
        }
        without.counts.windows += self.supplies.windows;
        without.runs += 1;
        with.clone_from(without);
        fault.map_or(Ok(()), |fault| self.change(&fault, scenario, &drawn, with))
    }

    /// Turns what was seen without a fault, in the run whose rooms still stand, into what is seen with it.
    fn change(&mut self, fault: &Fault, scenario: &Scenario, drawn: &Drawn, seen: &mut Seen) -> Result<(), Unfit> {
        let partition = fault.partition;
        let acts = fault.script.acts();
        let changed = if acts { self.channels[partition].clone() } else { fault.script.channels.clone() };
        changed.iter().for_each(|&channel| self.take_out_channel(channel, seen));
        if acts {
            seen.counts.releases -= self.lists[partition].count;
            seen.counts.completions -= self.rooms[partition].completions();
            seen.counts.windows = self.run_faulty(fault, scenario, drawn)?;
            self.machine.partitions[partition].tasks.clone().for_each(|task| seen.tasks[task] = TaskSeen::default());
            self.add_tasks(partition, true, seen);
            self.add_partition(fault, seen);
        }
        changed.iter().for_each(|&channel| self.add_channel(channel, Some(fault), scenario, drawn, seen));
        Ok(())
    }

    /// Supplies, and releases that are the same in every run.
    fn prepare(&mut self, scenario: &Scenario) -> Result<Drawn, Unfit> {
        unfit::check_scenario(scenario, self.schedule)?;
        let Times::Drawn(drawn) = scenario.times else { return Err(Unfit::Scenario) };
        if self.made_for == Some((scenario.span_ns, drawn)) {
            return Ok(drawn);
        }
        self.made_for = None;
        for unit in &self.units {
            unit.ranked.check_length(scenario.span_ns)?;
        }
        let sent = self.machine.channels.iter().filter_map(|channel| channel.source_period_ns);
        if sent.map(|period_ns| scenario.span_ns / period_ns.max(1)).any(|batches| batches > unfit::MOST_LISTED) {
            return Err(Unfit::Long);
        }
        self.supplies = supply::supplies(self.machine, self.schedule, scenario.span_ns, None)?;
        for partition in 0..self.units.len() {
            self.same[partition] = self.units[partition].ranked.always_same(&drawn);
            self.list(partition, scenario, &drawn);
        }
        self.made_for = Some((scenario.span_ns, drawn));
        Ok(drawn)
    }

    fn list(&mut self, partition: usize, scenario: &Scenario, drawn: &Drawn) {
        let (supply, ranked) = (&self.supplies.of[partition], &self.units[partition].ranked);
        let draw = Draw::of(scenario.seed, scenario.run);
        self.lists[partition].fill(ranked, supply, &NOTHING, scenario.span_ns, (draw, drawn));
    }

    /// The releases of this run, where they are not those of every run.
    fn refresh(&mut self, partition: usize, scenario: &Scenario, drawn: &Drawn) {
        if !self.same[partition] {
            self.list(partition, scenario, drawn);
        }
    }

    fn script(&self, scenario: &Scenario) -> Result<Option<Fault>, Unfit> {
        let ranked = |partition: usize| &self.units[partition].ranked;
        script::fault(self.machine, scenario, ranked, |partition| &self.supplies.of[partition])
    }

    fn run_unit(&mut self, partition: usize, scenario: &Scenario, drawn: &Drawn) -> Result<(), Unfit> {
        let (unit, room, list) = (&self.units[partition], &mut self.rooms[partition], &self.lists[partition]);
        unit.run(list, self.supplies.of[partition].opens(), &NOTHING, clock(scenario, drawn), room);
        self.check_answered(partition, scenario)
    }

    /// Runs the partition with the fault. The windows that begin, of all partitions.
    fn run_faulty(&mut self, fault: &Fault, scenario: &Scenario, drawn: &Drawn) -> Result<u64, Unfit> {
        let Fault { partition, script } = fault;
        let own;
        let supplies = match script.late {
            None => &self.supplies,
            late => {
                own = supply::supplies(self.machine, self.schedule, scenario.span_ns, late)?;
                &own
            }
        };
        let (unit, supply, windows) = (&self.units[*partition], &supplies.of[*partition], supplies.windows);
        if script.moves_releases() {
            let draw = Draw::of(scenario.seed, scenario.run);
            self.own.fill(&unit.ranked, supply, script, scenario.span_ns, (draw, drawn));
        } else {
            self.own.with_points(&self.lists[*partition], supply, script, scenario.span_ns);
        }
        unit.run(&self.own, supply.opens(), script, clock(scenario, drawn), &mut self.rooms[*partition]);
        self.check_answered(*partition, scenario)?;
        Ok(windows)
    }

    fn check_answered(&self, partition: usize, scenario: &Scenario) -> Result<(), Unfit> {
        let watched = self.answers[partition] && scenario.protections.has(Protection::HealthMonitor);
        if watched && self.rooms[partition].noticed { Err(Unfit::Answered(partition)) } else { Ok(()) }
    }

    fn add_tasks(&self, partition: usize, faulty: bool, seen: &mut Seen) {
        let list = if faulty { &self.own } else { &self.lists[partition] };
        let room = &self.rooms[partition];
        seen.counts.releases += list.count;
        seen.counts.completions += room.completions();
        for (rank, (index, task)) in self.units[partition].ranked.tasks.iter().enumerate() {
            seen.tasks[*index].join(&room.seen(rank, task.period_ns.max(1)));
        }
    }

    fn add_partition(&self, fault: &Fault, seen: &mut Seen) {
        let Some(crash) = fault.script.crash else { return };
        let ends_with = self.machine.partitions[fault.partition].recovery.ends_with;
        let outputs = ends_with.and_then(|task| self.log(task)).map(|log| log.writes.as_slice());
        seen.partitions[fault.partition].join(&crash.seen(outputs));
    }

    fn log(&self, task: usize) -> Option<&Log> {
        self.places[task].map(|(partition, rank)| &self.rooms[partition].logs[rank])
    }

    /// Takes out what was seen of one channel, in the run whose logs still stand.
    fn take_out_channel(&self, channel: usize, seen: &mut Seen) {
        seen.counts.writes -= seen.channels[channel].writes;
        seen.channels[channel] = ChannelSeen::default();
        for input in self.machine.channels[channel].inputs.clone() {
            let log = self.readers[input].and_then(|task| self.log(task));
            seen.counts.reads -= log.map_or(0, |log| log.reads.len() as u64);
            seen.inputs[input] = InputSeen::default();
        }
    }

    fn add_channel(
        &mut self,
        channel: usize,
        fault: Option<&Fault>,
        scenario: &Scenario,
        drawn: &Drawn,
        seen: &mut Seen,
    ) {
        let mut spare = std::mem::take(&mut self.spare);
        let declared = &self.machine.channels[channel];
        let crashed = fault.and_then(|fault| Some((fault.partition, fault.script.crash?)));
        let written = match self.writers[channel] {
            Some(task) => self.log(task).map_or(&[][..], |log| &log.writes),
            None => {
                self.sent_by_itself(channel, scenario, drawn, &mut spare.sent);
                if let Some((_, crash)) = crashed.filter(|(partition, _)| *partition == declared.source) {
                    spare.sent.retain(|at_ns| !crash.silences(*at_ns));
                }
                &spare.sent
            }
        };
        let meddled = fault.filter(|fault| fault.script.channels.contains(&channel));
        let meddling = meddled
            .map_or_else(Meddling::default, |fault| Meddling { muted: fault.script.muted, extra: &fault.script.extra });
        let (batch, before) = (declared.batch, seen.channels[channel].writes);
        let of = &mut seen.channels[channel];
        if meddling.is_none() {
            merge::note_writes(written.iter().copied(), batch, of);
        } else {
            meddling.arrivals(batch, written, of, &mut spare.coming);
        }
        seen.counts.writes += seen.channels[channel].writes - before;
        for input in declared.inputs.clone() {
            let reads = self.readers[input].and_then(|task| self.log(task)).map_or(&[][..], |log| &log.reads);
            seen.counts.reads += reads.len() as u64;
            let emptied = crashed.filter(|(partition, _)| *partition == self.machine.inputs[input].partition);
            let emptied_ns = emptied.map(|(_, crash)| crash.taken_down_ns);
            let of = &mut seen.inputs[input];
            if meddling.is_none() {
                let coming = written.iter().map(|&write_ns| (write_ns, batch));
                merge::reads(declared.port, coming, reads, emptied_ns, &mut spare.waiting, of);
            } else {
                merge::reads(declared.port, spare.coming.iter().copied(), reads, emptied_ns, &mut spare.waiting, of);
            }
        }
        self.spare = spare;
    }

    /// When a source that is no task sends.
    fn sent_by_itself(&self, channel: usize, scenario: &Scenario, drawn: &Drawn, into: &mut Vec<u64>) {
        into.clear();
        let declared = &self.machine.channels[channel];
        let Some(period_ns) = declared.source_period_ns.filter(|_| self.machine.runs(declared.source)) else { return };
        let (period_ns, draw) = (period_ns.max(1), Draw::of(scenario.seed, scenario.run));
        let first_ns = spread(draw, drawn.phases, Purpose::Message, channel as u64, 0, 0, period_ns - 1);
        let instants = std::iter::successors(Some(first_ns), |at_ns| at_ns.checked_add(period_ns));
        into.extend(instants.take_while(|at_ns| *at_ns < scenario.span_ns));
    }
}

fn clock(scenario: &Scenario, drawn: &Drawn) -> Clock {
    Clock { draw: Draw::of(scenario.seed, scenario.run), executions: drawn.executions, span_ns: scenario.span_ns }
}

/// The channels on which a partition, or a task of it, sends or receives.
fn touched(machine: &Machine, partition: usize) -> Vec<usize> {
    let tasks = || machine.partitions[partition].tasks.clone().map(|task| &machine.tasks[task]);
    let is_of = |channel: &usize| {
        let declared = &machine.channels[*channel];
        let receives = |input: usize| {
            machine.inputs[input].partition == partition || tasks().any(|task| task.reads.contains(&input))
        };
        declared.source == partition
            || tasks().any(|task| task.writes.contains(channel))
            || declared.inputs.clone().any(receives)
    };
    (0..machine.channels.len()).filter(is_of).collect()
}

/// Whether the health monitor may do something about a missed deadline of a partition that changes what happens.
fn answers(machine: &Machine, partition: usize) -> bool {
    let Some(monitor) = &machine.monitor else { return false };
    let harmless = |action: Action| matches!(action, Action::Ignore | Action::Handler);
    let rule = |rule: &crate::machine::Rule| {
        rule.partition == partition && rule.error == HealthError::DeadlineMissed && !harmless(rule.action)
    };
    let escalates = monitor.escalations.iter().any(|escalation| escalation.partition == partition);
    machine.partitions[partition].recovery.detection_ns.is_some() && (escalates || monitor.rules.iter().any(rule))
}
