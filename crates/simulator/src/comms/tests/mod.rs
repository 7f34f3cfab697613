//! Messages by calls in an order worked out by hand.

mod chains;

use super::*;
use crate::engine::World;
use crate::event::{Event, What};
use crate::machine::{Arrivals, Channel, Input, Network, Partition, Port, Recovery, Task};
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
        contention: Default::default(),
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
    assert_eq!((bench.lost(), bench.seen.inputs[0].lost), (vec![(13, 0)], 4), "1 + 4 held, then full");
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

#[test]
fn a_flood_beyond_all_measure_is_counted_and_does_not_take_forever() {
    const FLOOD: u64 = 1 << 60;
    let mut machine = forwarded(3);
    channel(&mut machine, 0, &[1, 3], queue(5, None));
    channel(&mut machine, 0, &[1], SAMPLED);
    let mut bench = Bench::new(&machine);
    bench.inject(1, 2, FLOOD, 0);
    let lost = |bench: &Bench<'_>| bench.seen.inputs.iter().map(|input| input.lost).collect::<Vec<_>>();
    assert_eq!(lost(&bench), [0, 0, 0, FLOOD - 5, FLOOD - 5, 0]);
    bench.inject(2, 3, FLOOD, 0);
    bench.inject(3, 0, FLOOD, 0);
    assert_eq!(lost(&bench), [FLOOD - 2, FLOOD - 1, 0, FLOOD - 5, FLOOD - 5, 0], "three frames of two messages");
    assert_eq!(bench.seen.partitions[0].frames_lost, 2 * FLOOD - 3);
    assert_eq!(bench.seen.counts.writes, 3 * FLOOD);
    bench.read(9, 1, 0);
    assert_eq!(bench.seen.inputs[5].most_age_ns, 7);
    assert!(bench.events.len() < 50);
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

#[test]
fn a_device_that_nobody_owns_sends_through_a_queue_of_its_own() {
    let mut machine = forwarded(2);
    machine.tasks[0].writes.clear();
    let declared = &mut machine.channels[0];
    (declared.source_task, declared.source, declared.source_period_ns) = (None, usize::MAX, Some(50));
    let mut bench = Bench::new(&machine);
    bench.act(0);
    bench.write(0, 1, 0);
    bench.act(50);
    assert_eq!(bench.lost(), [(50, 0), (50, 1)], "two frames a message, two held");
    assert_eq!((bench.seen.inputs[0].lost, bench.seen.inputs[1].lost), (1, 1));
    assert!(bench.seen.partitions.iter().all(|partition| partition.frames_lost == 0));
}
