//! Messages by calls in an order worked out by hand, and chains against whole job chains of random schedules.

use super::*;
use crate::draw::{Draw, Purpose};
use crate::engine::World;
use crate::event::{Event, What};
use crate::machine::{Arrivals, Chain, Channel, Input, Network, Partition, Port, Recovery, Step, Task};
use crate::scenario::{Begin, Drawn, Times};
use crate::{Protections, Seen};

/// What happens to a machine's messages.
struct Bench<'m> {
    comms: Comms<'m>,
    world: World,
    seen: Seen,
    events: Vec<Event>,
}

impl<'m> Bench<'m> {
    fn new(machine: &'m Machine) -> Self {
        let mut comms = Comms::new(machine);
        let mut world = World::new(machine);
        world.partitions.iter_mut().for_each(|partition| partition.up = true);
        comms.begin(&scenario(), &mut world);
        Self { comms, world, seen: Seen::nothing(machine), events: Vec::new() }
    }

    fn with(&mut self, work: impl FnOnce(&mut Comms<'m>, &mut World, &mut Out<'_, Vec<Event>>)) {
        let mut out = Out { seen: &mut self.seen, recorder: &mut self.events };
        work(&mut self.comms, &mut self.world, &mut out);
    }

    fn read(&mut self, now: u64, task: usize, job: u64) {
        self.with(|comms, _, out| comms.read(task, job, now, out));
    }

    /// A job writes, and all that comes of it in this instant happens.
    fn write(&mut self, now: u64, task: usize, job: u64) {
        self.with(|comms, world, out| comms.write(task, job, now, world, out));
        self.act(now);
    }

    fn act(&mut self, now: u64) {
        self.with(|comms, world, out| {
            if comms.next_ns() <= now {
                comms.act(now, world, out);
            }
        });
    }

    fn inject(&mut self, now: u64, channel: usize, messages: u64, by: usize) {
        self.with(|comms, world, out| comms.inject(channel, messages, by, now, world, out));
    }

    fn lost(&self) -> Vec<(u64, usize)> {
        let lost = |event: &Event| match event.what {
            What::Lost { input } => Some((event.at_ns, input)),
            _ => None,
        };
        self.events.iter().filter_map(lost).collect()
    }
}

fn scenario() -> Scenario {
    let least = crate::scenario::Spread::Least;
    Scenario {
        seed: 1,
        run: 0,
        begin: Begin::Running,
        schedule: 0,
        span_ns: 1_000_000,
        times: Times::Drawn(Drawn { executions: least, phases: least, jitters: least, blocking: least }),
        faults: Vec::new(),
        protections: Protections::ALL,
        changes: Vec::new(),
    }
}

/// Tasks that each have a partition to themselves.
fn machine(tasks: usize) -> Machine {
    let partition = |index: usize| Partition {
        name: format!("P{index}"),
        guest: crate::machine::Guest::FixedPriority,
        lanes: 0..0,
        tasks: index..index + 1,
        recovery: Recovery::default(),
        at_change: None,
        built_by: None,
        untrusted: false,
    };
    let task = |index: usize| Task {
        label: format!("P{index}.t"),
        partition: index,
        lane: None,
        period_ns: 100,
        deadline_ns: 100,
        arrivals: Arrivals::Free,
        jitter_ns: 0,
        least_ns: 1,
        charged_ns: 10,
        interference_ns: 0,
        line_requests: 0,
        priority: 0,
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    };
    Machine {
        frame_ns: 1_000,
        partitions: (0..tasks).map(partition).collect(),
        tasks: (0..tasks).map(task).collect(),
        ..Machine::default()
    }
}

/// Adds a channel from a task to others.
fn channel(machine: &mut Machine, from: usize, to: &[usize], port: Port) -> usize {
    let (index, first) = (machine.channels.len(), machine.inputs.len());
    machine.channels.push(Channel {
        name: format!("C{index}"),
        port,
        source_task: Some(from),
        source: machine.tasks[from].partition,
        source_period_ns: None,
        batch: 1,
        inputs: first..first + to.len(),
        frame_cost_ns: None,
    });
    machine.tasks[from].writes.push(index);
    for &task in to {
        machine.tasks[task].reads.push(machine.inputs.len());
        let partition = machine.tasks[task].partition;
        machine.inputs.push(Input { channel: index, partition, task: Some(task) });
    }
    index
}

const SAMPLED: Port = Port::Sampling { refresh_ns: Some(50) };

fn queue(depth: u64, takes: Option<u64>) -> Port {
    Port::Queuing { depth, takes }
}

#[test]
fn every_destination_has_a_queue_of_its_own_and_the_sender_goes_on_when_one_is_full() {
    let mut machine = machine(3);
    channel(&mut machine, 0, &[1, 2], queue(2, None));
    let mut bench = Bench::new(&machine);
    bench.write(10, 0, 0);
    bench.write(20, 0, 1);
    bench.read(25, 1, 0);
    bench.write(30, 0, 2);
    assert_eq!(bench.lost(), [(30, 1)], "the second reader has not read");
    bench.read(40, 1, 1);
    bench.read(40, 2, 0);
    let of = |input: usize, bench: &Bench<'_>| {
        let seen = &bench.seen.inputs[input];
        (seen.messages, seen.sum_age_ns, seen.most_age_ns, seen.lost, seen.most_held)
    };
    assert_eq!(of(0, &bench), (3, 15 + 5 + 10, 15, 0, 2));
    assert_eq!(of(1, &bench), (2, 30 + 20, 30, 1, 2));
    assert_eq!((bench.seen.channels[0].writes, bench.seen.channels[0].longest_gap_ns), (3, 10));
    assert_eq!((bench.seen.counts.writes, bench.seen.counts.reads), (3, 3));
}

#[test]
fn a_batch_of_which_not_all_fits_loses_the_rest() {
    let mut machine = machine(2);
    channel(&mut machine, 0, &[1], queue(5, Some(3)));
    machine.channels[0].batch = 4;
    let mut bench = Bench::new(&machine);
    bench.write(10, 0, 0);
    bench.read(11, 1, 0);
    bench.write(12, 0, 1);
    bench.write(13, 0, 2);
    assert_eq!(bench.lost(), [(13, 0); 4], "1 + 4 held, then full");
    let age = |event: &Event| match event.what {
        What::Reads { age_ns, .. } => Some(age_ns),
        _ => None,
    };
    bench.read(20, 1, 1);
    bench.read(20, 1, 2);
    bench.read(20, 1, 3);
    let ages: Vec<_> = bench.events.iter().filter_map(age).collect();
    assert_eq!(ages, [Some(1), Some(10), Some(8), None]);
    assert_eq!(bench.seen.inputs[0].empty, 1);
}

#[test]
fn a_source_that_is_no_task_sends_a_batch_each_period_while_it_runs() {
    let mut machine = machine(2);
    channel(&mut machine, 0, &[1], queue(9, None));
    machine.tasks[0].writes.clear();
    let declared = &mut machine.channels[0];
    (declared.source_task, declared.source_period_ns, declared.batch) = (None, Some(40), 2);
    let mut bench = Bench::new(&machine);
    for now in [0, 40] {
        assert_eq!(bench.comms.next_ns(), now);
        bench.act(now);
    }
    bench.world.partitions[0].up = false;
    bench.act(80);
    assert_eq!(bench.comms.next_ns(), 120);
    bench.read(85, 1, 0);
    assert_eq!((bench.seen.inputs[0].messages, bench.seen.channels[0].longest_gap_ns), (4, 40));
}

#[test]
fn floods_fill_queues_muted_sources_send_nothing_and_restarts_empty_queues() {
    let mut machine = machine(3);
    channel(&mut machine, 0, &[1, 2], queue(4, None));
    channel(&mut machine, 0, &[1], SAMPLED);
    let mut bench = Bench::new(&machine);
    bench.inject(5, 0, 6, 0);
    assert_eq!(bench.seen.inputs[0].lost + bench.seen.inputs[1].lost, 4);
    bench.comms.empty_queues(1);
    bench.comms.mute(0, 20);
    bench.write(10, 0, 0);
    bench.write(20, 0, 1);
    bench.read(21, 1, 0);
    bench.read(21, 2, 0);
    assert_eq!(bench.seen.inputs[0].messages, 1, "only what was written at 20");
    assert_eq!(bench.seen.inputs[1].messages, 4, "the flood of another reader stays");
    assert_eq!((bench.seen.inputs[2].messages, bench.seen.inputs[2].most_age_ns), (1, 1));
}

/// Two senders, a forwarder whose jobs have 10 ns for frames of 4 ns, two ns beside, queues of `depth` frames.
fn forwarded(depth: u64) -> Machine {
    let mut machine = machine(4);
    channel(&mut machine, 0, &[3, 2], queue(9, None));
    channel(&mut machine, 1, &[3], SAMPLED);
    machine.channels.iter_mut().for_each(|channel| channel.frame_cost_ns = Some(4));
    machine.tasks[2].charged_ns = 12;
    machine.network = Some(Network { forwarder: 2, task: Some(2), budget_ns: Some(10), depth: Some(depth) });
    machine
}

#[test]
fn a_message_becomes_a_frame_for_each_receiver_and_waits_for_a_job_that_has_room() {
    let machine = forwarded(3);
    let mut bench = Bench::new(&machine);
    bench.write(0, 0, 0);
    bench.write(1, 1, 0);
    assert_eq!(bench.comms.load(12), Some(2 + 4));
    assert_eq!(bench.comms.more(), Some(4));
    bench.act(8);
    assert_eq!(bench.comms.more(), None, "of three frames, two fit into ten");
    bench.write(12, 2, 0);
    let moved = |bench: &Bench<'_>| -> Vec<_> {
        let moved = |event: &Event| match event.what {
            What::Forwarded { input, delay_ns } => Some((event.at_ns, input, delay_ns)),
            _ => None,
        };
        bench.events.iter().filter_map(moved).collect()
    };
    assert_eq!(moved(&bench), [(8, 0, 8), (12, 2, 11)], "the queues take turns");
    assert_eq!(bench.comms.load(12), Some(6));
    bench.write(20, 2, 1);
    assert_eq!(moved(&bench)[2..], [(20, 1, 20)]);
    assert_eq!(bench.comms.load(12), Some(2), "a job without frames");
    bench.read(30, 3, 0);
    assert_eq!(bench.seen.inputs[0].most_age_ns, 30, "the age counts from the write");
    assert_eq!(bench.seen.inputs[2].most_age_ns, 29);
    assert_eq!(bench.seen.inputs.iter().map(|input| input.most_delay_ns).collect::<Vec<_>>(), [8, 20, 11]);
    assert_eq!(bench.seen.partitions[0].most_waiting, 2);
}

#[test]
fn a_frame_that_comes_when_another_leaves_finds_the_queue_still_full() {
    let machine = forwarded(2);
    let mut bench = Bench::new(&machine);
    bench.write(0, 0, 0);
    assert_eq!(bench.comms.load(12), Some(6));
    assert_eq!(bench.comms.more(), Some(4), "through at 5");
    bench.with(|comms, world, out| comms.write(0, 1, 5, world, out));
    bench.act(5);
    assert_eq!(bench.lost(), [(5, 0), (5, 1)]);
    assert_eq!(bench.seen.partitions[0].frames_lost, 2);
    bench.write(6, 0, 2);
    assert_eq!(bench.seen.partitions[0].frames_lost, 3, "one of two has left");
}

#[test]
fn a_foreign_message_fills_the_writers_own_queue_of_the_network() {
    let machine = forwarded(2);
    let mut bench = Bench::new(&machine);
    bench.inject(0, 1, 3, 0);
    assert_eq!((bench.seen.partitions[0].frames_lost, bench.seen.partitions[1].frames_lost), (1, 0));
    bench.write(1, 1, 0);
    assert_eq!(bench.seen.partitions[1].most_waiting, 1);
}

/// One way from task to task of a random chain.
#[derive(Clone, Copy)]
enum Way {
    Buffer,
    Sampled,
    /// A queue of which a read takes at most so many.
    Queue(Option<u64>),
}

/// Jobs of every task: `(read, write)` each, in their order.
type Schedule = Vec<Vec<(u64, u64)>>;

fn schedule(draw: Draw, tasks: usize) -> Schedule {
    let jobs = |task: usize| {
        let mut free = 0;
        let pace = draw.between(Purpose::Phase, task as u64, 0, 3, 40);
        let job = |job: u64| {
            let read = free + draw.between(Purpose::Gap, task as u64, job, 0, pace);
            free = read + draw.between(Purpose::Execution, task as u64, job, 1, 15);
            (read, free)
        };
        (0..60).map(job).collect()
    };
    (0..tasks).map(jobs).collect()
}

/// Runs a chain over a schedule: writes of an instant before its reads.
fn observed(schedule: &Schedule, ways: &[Way]) -> crate::seen::ChainSeen {
    let mut machine = machine(schedule.len());
    let mut steps = vec![Step { task: 0, via: None }];
    for (task, way) in ways.iter().enumerate() {
        let via = match way {
            Way::Buffer => None,
            Way::Sampled => Some(channel(&mut machine, task, &[task + 1], SAMPLED)),
            Way::Queue(most) => Some(channel(&mut machine, task, &[task + 1], queue(1000, *most))),
        };
        steps.push(Step { task: task + 1, via: via.map(|channel| machine.channels[channel].inputs.start) });
    }
    machine.chains.push(Chain { name: "E".to_owned(), steps, outside_ns: 0 });
    let calls = schedule.iter().enumerate().flat_map(|(task, jobs)| {
        let both = move |(job, &(read, write))| [(write, 0, task, job), (read, 1, task, job)];
        jobs.iter().enumerate().flat_map(both)
    });
    let mut calls: Vec<(u64, u8, usize, usize)> = calls.collect();
    calls.sort_unstable();
    let mut bench = Bench::new(&machine);
    for (now, reads, task, job) in calls {
        if reads == 1 { bench.read(now, task, job as u64) } else { bench.write(now, task, job as u64) }
    }
    bench.seen.chains[0]
}

/// Of which jobs of the task before each job of the next one takes messages out of a queue that holds them all.
fn taken(before: &[(u64, u64)], next: &[(u64, u64)], most: Option<u64>) -> Vec<std::ops::Range<usize>> {
    let most = most.map_or(usize::MAX, |most| most as usize);
    let mut from = 0_usize;
    let range = |(read, _): &(u64, u64)| {
        let there = before.iter().filter(|(_, write)| write <= read).count();
        let range = from..there.min(from.saturating_add(most));
        from = range.end;
        range
    };
    next.iter().map(range).collect()
}

/// The job of the next task that goes on with what a job has written.
fn goes_on(before: &[(u64, u64)], job: usize, next: &[(u64, u64)], way: Way) -> Option<usize> {
    match way {
        Way::Buffer | Way::Sampled => next.iter().position(|(read, _)| *read >= before[job].1),
        Way::Queue(most) => taken(before, next, most).iter().position(|range| range.contains(&job)),
    }
}

/// The longest way of a stimulus just missed by a read, stimuli before `first` left out: whole job chains, forwards.
fn reaction(schedule: &Schedule, ways: &[Way], first: u64) -> Option<u64> {
    let answered = |after: usize| {
        let mut job = after + 1;
        schedule[0].get(job)?;
        for (pair, way) in schedule.windows(2).zip(ways) {
            job = goes_on(&pair[0], job, &pair[1], *way)?;
        }
        Some(schedule[schedule.len() - 1][job].1 - schedule[0][after].0)
    };
    let stimuli = (0..schedule[0].len()).filter(|&job| schedule[0][job].0 >= first);
    stimuli.filter_map(answered).max()
}

/// The read from which what a job puts out comes, by each job of the last task: the newest that it has found.
fn origins(schedule: &Schedule, ways: &[Way]) -> Vec<Option<u64>> {
    let mut origins: Vec<Option<u64>> = schedule[0].iter().map(|(read, _)| Some(*read)).collect();
    for (pair, way) in schedule.windows(2).zip(ways) {
        let found: Vec<std::ops::Range<usize>> = match way {
            Way::Buffer | Way::Sampled => taken(&pair[0], &pair[1], None).iter().map(|range| 0..range.end).collect(),
            Way::Queue(most) => taken(&pair[0], &pair[1], *most),
        };
        origins = found.into_iter().map(|range| origins[range].iter().copied().flatten().max()).collect();
    }
    origins
}

#[test]
fn reaction_and_age_are_those_of_whole_job_chains_and_agree() {
    let mut complete = 0;
    for seed in 0..400 {
        let draw = Draw::of(seed, 0);
        let tasks = draw.between(Purpose::FaultKind, 0, 0, 1, 4) as usize;
        let schedule = schedule(draw, tasks);
        let drawn = |link: u64| {
            let ways = [Way::Buffer, Way::Sampled, Way::Queue(None), Way::Queue(Some(1)), Way::Queue(Some(3))];
            ways[draw.between(Purpose::FaultTarget, link, 0, 0, 4) as usize]
        };
        let ways: Vec<Way> = (1..tasks as u64).map(drawn).collect();
        let outputs: Vec<(u64, u64)> = schedule[tasks - 1]
            .iter()
            .zip(origins(&schedule, &ways))
            .filter_map(|((_, write), origin)| Some((*write, origin?)))
            .collect();
        let age = outputs.windows(2).map(|pair| pair[1].0 - pair[0].1).max();
        let first = outputs.first().map_or(u64::MAX, |(_, origin)| *origin);
        let seen = observed(&schedule, &ways);
        assert_eq!(seen.age_ns, age, "seed {seed}");
        assert_eq!(seen.reaction_ns, reaction(&schedule, &ways, first), "seed {seed}");
        complete += usize::from(seen.reaction_ns.is_some());
        // Outputs at the end that bring nothing new answer no stimulus. Up to there both have the same maximum.
        let new = outputs.windows(2).rposition(|pair| pair[0].1 != pair[1].1).map_or(0, |before| before + 2);
        let held = outputs[..new].windows(2).map(|pair| pair[1].0 - pair[0].1).max();
        assert_eq!(seen.reaction_ns, held, "seed {seed}");
    }
    assert!(complete > 350, "{complete}");
}

/// A chain some of whose links are short queues, lead through the internal network, or carry batches. The forwarder is the
/// last task.
fn lossy(draw: Draw, tasks: usize) -> Machine {
    let mut machine = machine(tasks + 1);
    machine.tasks[tasks].charged_ns = 20;
    machine.network = Some(Network { forwarder: tasks, task: Some(tasks), budget_ns: Some(15), depth: Some(2) });
    let mut steps = vec![Step { task: 0, via: None }];
    for task in 1..tasks {
        let one_of = |what: u64, most: u64| draw.between(Purpose::FaultParameter, what, task as u64, 0, most);
        let port = match one_of(0, 4) {
            0 => None,
            1 => Some(SAMPLED),
            2 => Some(queue(1 + one_of(1, 2), Some(1))),
            _ => Some(queue(1 + one_of(1, 2), None)),
        };
        let via = port.map(|port| {
            let index = channel(&mut machine, task - 1, &[task], port);
            let declared = &mut machine.channels[index];
            declared.frame_cost_ns = (one_of(2, 1) == 0).then_some(4);
            declared.batch = if port == queue(2, None) { 2 } else { 1 };
            declared.inputs.start
        });
        steps.push(Step { task, via });
    }
    machine.chains.push(Chain { name: "E".to_owned(), steps, outside_ns: 0 });
    machine
}

/// A job of the forwarding task, all in one instant.
fn forward(bench: &mut Bench<'_>, now: u64, task: usize) {
    bench.comms.load(20);
    while bench.comms.more().is_some() {}
    bench.write(now, task, 0);
}

/// Jobs read, write or are dropped, frames move, and queues are emptied, at random.
fn anything(bench: &mut Bench<'_>, draw: Draw, tasks: usize) {
    let mut jobs = vec![(0, false); tasks];
    for now in 0..800 {
        let dice = draw.between(Purpose::Phase, 0, now, 0, 99);
        let task = draw.between(Purpose::Phase, 1, now, 0, tasks as u64 - 1) as usize;
        let (job, under_way) = &mut jobs[task];
        match dice {
            0..15 => forward(bench, now, tasks),
            15 => bench.comms.empty_queues(task),
            16..24 => *under_way = false,
            _ if *under_way => {
                bench.write(now, task, *job);
                *under_way = false;
            }
            _ => {
                *job += 1;
                bench.read(now, task, *job);
                *under_way = true;
            }
        }
    }
}

/// Whole rounds, so that something new comes out last.
fn rounds(bench: &mut Bench<'_>, tasks: usize) {
    for round in 0..4 {
        let (now, job) = (1_000 + 10 * round, 10_000 + round);
        for task in 0..tasks {
            bench.read(now + task as u64, task, job);
            bench.write(now + task as u64, task, job);
            (0..4).for_each(|_| forward(bench, now + task as u64, tasks));
        }
    }
}

/// Günzel et al. 2023: both maxima of one schedule are equal.
#[test]
fn reaction_and_age_agree_whatever_is_lost() {
    let (mut lost, mut through) = (0, 0);
    for seed in 0..500 {
        let draw = Draw::of(seed, 1);
        let tasks = draw.between(Purpose::FaultKind, 0, 0, 2, 4) as usize;
        let machine = lossy(draw, tasks);
        let mut bench = Bench::new(&machine);
        anything(&mut bench, draw, tasks);
        rounds(&mut bench, tasks);
        let seen = bench.seen.chains[0];
        assert_eq!(seen.reaction_ns, seen.age_ns, "seed {seed}");
        lost += bench.lost().len();
        through += usize::from(seen.reaction_ns.is_some());
    }
    assert!(lost > 1_000 && through > 450, "{lost} messages lost, {through} chains through");
}
