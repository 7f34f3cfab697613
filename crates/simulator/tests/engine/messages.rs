//! Messages, the internal network and chains in systems worked out by hand.

use crate::build::{drawn, events, scenario, task, window, windowed};
use model::system::HealthError;
use simulator::fault::{Fault, Kind, Target};
use simulator::machine::{
    Action, Arrivals, Chain, Channel, Guest, Input, Machine, Monitor, Network, Port, Recovery, Rule, Step, Task,
};
use simulator::scenario::{GivenJob, Spread, Times};
use simulator::{Event, Scenario, What};

const FIXED: Guest = Guest::FixedPriority;
const SAMPLED: Port = Port::Sampling { refresh_ns: Some(100) };
const QUEUED: Port = Port::Queuing { depth: 8, takes: None };

/// Adds a channel from one task to another, by the forwarder where a frame has a cost.
fn join(machine: &mut Machine, from: usize, to: usize, port: Port, frame_cost_ns: Option<u64>) {
    let (channel, input) = (machine.channels.len(), machine.inputs.len());
    machine.channels.push(Channel {
        name: format!("C{channel}"),
        port,
        source_task: Some(from),
        source: machine.tasks[from].partition,
        source_period_ns: None,
        batch: 1,
        inputs: input..input + 1,
        frame_cost_ns,
    });
    machine.inputs.push(Input { channel, partition: machine.tasks[to].partition, task: Some(to) });
    machine.tasks[from].writes.push(channel);
    machine.tasks[to].reads.push(input);
}

/// Ages that readers find: instant, input, age.
fn reads(events: &[Event]) -> Vec<(u64, usize, Option<u64>)> {
    let read = |event: &Event| match event.what {
        What::Reads { input, age_ns, .. } => Some((event.at_ns, input, age_ns)),
        _ => None,
    };
    events.iter().filter_map(read).collect()
}

/// Frames that are through: instant, input, delay.
fn forwarded(events: &[Event]) -> Vec<(u64, usize, u64)> {
    let moved = |event: &Event| match event.what {
        What::Forwarded { input, delay_ns } => Some((event.at_ns, input, delay_ns)),
        _ => None,
    };
    events.iter().filter_map(moved).collect()
}

#[test]
fn a_message_that_is_written_is_seen_by_a_job_that_starts_in_that_instant() {
    let windows = vec![window(0, 0, 10, 0), window(1, 10, 100, 0)];
    let mut machine = windowed(100, &[FIXED; 2], windows, vec![task(0, 1, 100, 10, 0), task(1, 1, 100, 5, 0)]);
    join(&mut machine, 0, 1, SAMPLED, None);
    join(&mut machine, 1, 0, SAMPLED, None);
    let (events, seen) = events(&machine, &scenario(200, drawn(Spread::Most)));
    assert_eq!(reads(&events), [(0, 1, None), (10, 0, Some(0)), (100, 1, Some(85)), (110, 0, Some(0))]);
    assert_eq!((seen.counts.writes, seen.counts.reads, seen.inputs[1].empty), (4, 4, 1));
}

#[test]
fn logical_execution_time_reads_at_arrival_and_writes_at_the_deadline() {
    let windows = vec![window(0, 0, 50, 0), window(1, 50, 100, 0)];
    let mut machine = windowed(100, &[FIXED; 2], windows, vec![task(0, 1, 100, 10, 0), task(1, 1, 100, 5, 0)]);
    machine.tasks.iter_mut().for_each(|task| task.logical = true);
    join(&mut machine, 0, 1, QUEUED, None);
    let (events, _) = events(&machine, &scenario(250, drawn(Spread::Most)));
    assert_eq!(reads(&events), [(0, 0, None), (100, 0, Some(0)), (200, 0, Some(0))]);
}

/// Two senders in [0, 20), the forwarder in [20, 30) and [50, 60), a reader in [60, 100).
fn board(forwarder_period: u64) -> Machine {
    let windows = vec![window(0, 0, 20, 0), window(1, 20, 30, 0), window(1, 50, 60, 0), window(2, 60, 100, 0)];
    let tasks =
        vec![task(0, 2, 100, 5, 0), task(0, 1, 100, 5, 0), task(1, 1, forwarder_period, 16, 0), task(2, 1, 100, 5, 0)];
    let mut machine = windowed(100, &[FIXED; 3], windows, tasks);
    join(&mut machine, 0, 3, QUEUED, Some(4));
    join(&mut machine, 1, 3, QUEUED, Some(6));
    // 2 ns beside frames.
    machine.network = Some(Network { forwarder: 1, task: Some(2), budget_ns: Some(14), depth: Some(4) });
    machine
}

#[test]
fn a_job_of_the_forwarding_task_moves_frame_after_frame_and_is_cut_at_its_windows_end() {
    let (events, seen) = events(&board(100), &scenario(100, drawn(Spread::Most)));
    // Sent at 5 and 10. From 20: 2 ns beside, 4 ns; then 4 of 6 ns until 30, 2 ns from 50 on.
    assert_eq!(forwarded(&events), [(26, 0, 21), (52, 1, 42)]);
    assert_eq!(reads(&events), [(60, 0, Some(55)), (60, 1, Some(50))]);
    assert_eq!((seen.partitions[0].most_waiting, seen.tasks[2].most_ns), (2, 52));
}

#[test]
fn a_job_without_frames_ends_at_once() {
    // The senders have a core of their own and write at 22 and 27.
    let mut machine = board(100);
    machine.cores.push(machine.cores[0].clone());
    machine.schedules[0].cores = vec![vec![window(1, 20, 100, 0)], vec![window(0, 17, 60, 0), window(2, 60, 100, 0)]];
    let (events, _) = events(&machine, &scenario(100, drawn(Spread::Most)));
    // It begins at 20 with nothing, and completes at 22; a frame of that instant is not there yet when it does.
    assert_eq!(forwarded(&events), []);
    let ends = |event: &Event| match event.what {
        What::Completes { task: 2, .. } => Some(event.at_ns),
        _ => None,
    };
    assert_eq!(events.iter().filter_map(ends).collect::<Vec<_>>(), [22]);
}

#[test]
fn a_sporadic_forwarding_task_is_released_by_frames_no_sooner_than_its_period_allows() {
    let mut machine = board(45);
    machine.tasks[2].arrivals = Arrivals::Sporadic;
    machine.tasks[3].writes.clear();
    join(&mut machine, 3, 0, SAMPLED, Some(4));
    let (events, _) = events(&machine, &scenario(200, drawn(Spread::Most)));
    let arrives = |event: &Event| match event.what {
        What::Arrives { task: 2, .. } => Some(event.at_ns),
        _ => None,
    };
    // The first frame at 5. By 50, when its period allows it again, none waits that is not under way. The reader's frames at
    // 65 and 165, the senders' next ones at 105 and 110; its queue has the turn when they are moved.
    assert_eq!(events.iter().filter_map(arrives).collect::<Vec<_>>(), [5, 65, 110, 165]);
    assert_eq!(forwarded(&events), [(26, 0, 21), (52, 1, 42), (126, 2, 61), (130, 0, 25), (156, 1, 46)]);
}

#[test]
fn a_forwarder_without_tasks_moves_frames_in_all_its_usable_time() {
    let mut machine = board(100);
    machine.tasks.remove(2);
    machine.partitions[1].tasks = 2..2;
    machine.partitions[2].tasks = 2..3;
    machine.inputs.iter_mut().for_each(|input| input.task = Some(2));
    machine.schedules[0].active.pop();
    machine.channels[0].frame_cost_ns = Some(7);
    machine.network = Some(Network { forwarder: 1, task: None, budget_ns: None, depth: None });
    let (events, _) = events(&machine, &scenario(100, drawn(Spread::Most)));
    assert_eq!(forwarded(&events), [(27, 0, 22), (53, 1, 43)], "3 of 6 ns until 30, the rest from 50 on");
}

#[test]
fn given_jobs_of_the_forwarding_task_execute_as_long_as_they_say() {
    let machine = board(100);
    let job = |task, execution_ns| GivenJob { arrival_ns: 0, task, release_ns: 0, execution_ns, goes_on_ns: 0 };
    let jobs = vec![job(0, 5), job(1, 5), job(2, 7), job(3, 5)];
    let (events, _) = events(&machine, &scenario(100, Times::Given(jobs)));
    assert_eq!(forwarded(&events), [(27, 0, 22)], "4 ns fit beside the other 2, 6 more do not");
}

#[test]
fn a_chain_over_a_last_value_buffer_and_a_queue_counts_from_the_read_just_missed() {
    // Two tasks of one partition, the second less urgent, and a reader.
    let windows = vec![window(0, 0, 20, 0), window(1, 20, 40, 0)];
    let tasks = vec![task(0, 2, 100, 5, 0), task(0, 1, 100, 5, 0), task(1, 1, 100, 5, 0)];
    let mut machine = windowed(100, &[FIXED; 2], windows, tasks);
    join(&mut machine, 1, 2, QUEUED, None);
    let step = |task, via| Step { task, via };
    let steps = vec![step(0, None), step(1, None), step(2, Some(0))];
    machine.chains.push(Chain { name: "E".to_owned(), steps, outside_ns: 7 });
    let (_, seen) = events(&machine, &scenario(1000, drawn(Spread::Most)));
    // Read at 0, out at 25; the next one at 125, and 7 ns outside.
    assert_eq!((seen.chains[0].reaction_ns, seen.chains[0].age_ns), (Some(132), Some(132)));
}

#[test]
fn a_job_of_the_forwarding_task_takes_what_comes_while_it_runs() {
    // The senders have a core of their own and write at 20 and 25, the forwarder begins at 20.
    let mut machine = board(100);
    machine.cores.push(machine.cores[0].clone());
    machine.schedules[0].cores = vec![vec![window(1, 20, 100, 0)], vec![window(0, 15, 60, 0), window(2, 60, 100, 0)]];
    let (events, _) = events(&machine, &scenario(100, drawn(Spread::Most)));
    assert_eq!(forwarded(&events), [(26, 0, 6), (32, 1, 7)]);
}

/// A forwarder in [0, 10) of each 20 that fails at 21, with or without a task; who sends has [10, 20). A frame takes 4.
fn dying(action: Action, task_forwards: bool) -> (Machine, Scenario) {
    let mut tasks = vec![task(1, 1, 20, 1, 0), task(1, 2, 20, 1, 0)];
    if task_forwards {
        tasks.insert(0, Task { arrivals: Arrivals::Sporadic, ..task(0, 1, 5, 4, 0) });
    }
    let (from, to) = (tasks.len() - 2, tasks.len() - 1);
    let mut machine = windowed(20, &[FIXED; 2], vec![window(0, 0, 10, 0), window(1, 10, 20, 0)], tasks);
    join(&mut machine, from, to, QUEUED, Some(4));
    let forwards = task_forwards.then_some(0);
    machine.network = Some(Network { forwarder: 0, task: forwards, budget_ns: forwards.map(|_| 4), depth: None });
    machine.partitions[0].recovery =
        Recovery { warm_init_ns: Some(12), detection_ns: Some(5), action_ns: Some(20), ..Recovery::default() };
    let rule = Rule { partition: 0, error: HealthError::MemoryViolation, action };
    machine.monitor = Some(Monitor { rules: vec![rule], escalations: Vec::new() });
    let crash = Fault { kind: Kind::Crash { start: None }, target: Target::Partition(0), at_ns: 21 };
    (machine, Scenario { faults: vec![crash], ..scenario(100, drawn(Spread::Most)) })
}

#[test]
fn a_forwarder_that_has_stopped_moves_nothing() {
    // The frame of 12 is under way from 20 on, and the forwarder fails at 21.
    let (machine, scenario) = dying(Action::Stop, false);
    assert_eq!(forwarded(&events(&machine, &scenario).0), []);
}

#[test]
fn a_forwarder_that_starts_again_initialises_first_and_then_moves_what_waits() {
    // Noticed at 26, the action done at 46: 4 of initialisation in [46, 50) and 8 in [60, 68). What was sent at 12, 32 and 52
    // waits: the frame of 12 takes 4 from 68 to 70 and from 80 to 82, then those of 32 and 52 until 86 and 90.
    for task_forwards in [false, true] {
        let (machine, mut scenario) = dying(Action::WarmStart, task_forwards);
        scenario.span_ns = 91;
        let (events, _) = events(&machine, &scenario);
        let sent = events.iter().filter(|event| matches!(event.what, What::Writes { .. })).map(|event| event.at_ns);
        assert_eq!(sent.collect::<Vec<_>>(), [12, 32, 52, 72]);
        let through: Vec<_> = forwarded(&events).into_iter().map(|(at_ns, ..)| at_ns).collect();
        assert_eq!(through, [82, 86, 90], "{task_forwards}");
    }
}
