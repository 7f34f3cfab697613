//! Chains against whole job chains of random schedules, and reaction against age.

use super::{Bench, SAMPLED, channel, machine, queue};
use crate::Machine;
use crate::draw::{Draw, Purpose};
use crate::machine::{Chain, Network, Step};

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

#[test]
fn a_chain_through_partitions_as_a_whole_is_carried_by_its_tasks() {
    let mut machine = machine(2);
    channel(&mut machine, 0, &[1], SAMPLED);
    // Both ends are the partitions'. It would send by itself, if no task did.
    (machine.channels[0].source_task, machine.channels[0].source_period_ns, machine.inputs[0].task) =
        (None, Some(5), None);
    machine.tasks.iter_mut().for_each(|task| (task.reads, task.writes) = (Vec::new(), Vec::new()));
    let steps = vec![Step { task: 0, via: None }, Step { task: 1, via: Some(0) }];
    machine.chains.push(Chain { name: "E".to_owned(), steps, outside_ns: 0 });
    let mut bench = Bench::new(&machine);
    assert_eq!(bench.comms.next_ns(), u64::MAX);
    for job in 0..3 {
        let now = 100 * job;
        bench.read(now, 0, job);
        bench.write(now + 10, 0, job);
        bench.read(now + 20, 1, job);
        bench.write(now + 30, 1, job);
    }
    assert_eq!((bench.seen.chains[0].reaction_ns, bench.seen.chains[0].age_ns), (Some(130), Some(130)));
    assert_eq!((bench.seen.channels[0].writes, bench.seen.inputs[0].messages), (3, 3));
}
