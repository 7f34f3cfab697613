//! The survey vessel's messages against gaps and depths worked out apart from this program.

use crate::build::drawn;
use crate::vessel::{free, machine, seen};
use simulator::Seen;
use simulator::machine::{Arrivals, Machine, Port};
use simulator::scenario::{Drawn, Spread, Times};

/// Of each sampling channel the worst time between two writes, in tenths of a millisecond, rounded to the nearest; of each queuing one
/// the depth that is enough. Worked out apart from this program, for any phase.
const ENOUGH: [(&str, u64); 24] = [
    ("CH01", 193),
    ("CH02", 180),
    ("CH03", 377),
    ("CH04", 1393),
    ("CH05", 385),
    ("CH06", 879),
    ("CH07", 884),
    ("CH08", 1787),
    ("CH09", 4),
    ("CH10", 1387),
    ("CH11", 390),
    ("CH12", 696),
    ("CH13", 5),
    ("CH14", 10),
    ("CH15", 2),
    ("CH16", 1389),
    ("CH17", 1914),
    ("CH18", 2),
    ("CH19", 21),
    ("CH20", 181),
    ("CH21", 1387),
    ("CH22", 1790),
    ("CH23", 196),
    ("CH24", 8),
];

fn holds(machine: &Machine, seen: &Seen) {
    assert_eq!(machine.channels.len(), ENOUGH.len());
    for (index, (channel, (number, enough))) in machine.channels.iter().zip(ENOUGH).enumerate() {
        let name = &channel.name;
        assert_eq!(name, number);
        let inputs = &seen.inputs[channel.inputs.clone()];
        assert!(seen.channels[index].writes > 0, "{name}");
        match channel.port {
            Port::Sampling { refresh_ns } => {
                let gap = seen.channels[index].longest_gap_ns;
                assert!(gap < enough * 100_000 + 50_000, "{name}: {gap} ns");
                assert!(refresh_ns.is_some(), "{name}");
            }
            Port::Queuing { .. } => {
                let most = inputs.iter().map(|input| input.most_held).max();
                assert!(most > Some(0) && most <= Some(enough), "{name}: {most:?}");
            }
        }
        assert_eq!(inputs.iter().map(|input| input.lost).sum::<u64>(), 0, "{name}");
    }
}

#[test]
fn no_gap_and_no_queue_of_the_vessel_is_above_its_bound() {
    let machine = machine();
    for spread in [Spread::Even, Spread::Most, Spread::Ends] {
        holds(&machine, &seen(&machine, 300, 1, &drawn(spread)));
    }
}

#[test]
fn no_gap_and_no_queue_in_random_phases_is_above_its_bound_and_some_come_near() {
    let machine = free(machine());
    let mut all = Seen::nothing(&machine);
    for spread in [Spread::Even, Spread::Ends] {
        let (executions, phases) = (Spread::Ends, Spread::Even);
        let times = Times::Drawn(Drawn { executions, phases, jitters: spread, blocking: spread });
        all.join(&seen(&machine, 10, 300, &times));
    }
    holds(&machine, &all);
    let near = |(index, (_, enough)): &(usize, (&str, u64))| {
        let inputs = &all.inputs[machine.channels[*index].inputs.clone()];
        let held = inputs.iter().map(|input| input.most_held).max().unwrap_or(0);
        let gap = all.channels[*index].longest_gap_ns;
        match machine.channels[*index].port {
            Port::Sampling { .. } => gap * 100 >= enough * 100_000 * 90,
            Port::Queuing { .. } => held == *enough,
        }
    };
    let near = ENOUGH.into_iter().enumerate().filter(near).count();
    assert!(near >= 12, "{near}");
}

/// Of each chain, in tenths of a millisecond, rounded to the nearest: a bound for any phase, one for frame-aligned tasks over
/// synchronised frames, and what one run of those gives in which all jobs take their charged time, without jitter and blocking.
/// Worked out apart from this program.
const CHAINS: [(&str, u64, u64, u64); 7] = [
    ("E1", 670, 347, 347),
    ("E2", 4192, 2527, 1527),
    ("E3", 530, 327, 326),
    ("E4", 1433, 637, 537),
    ("E5", 3737, 2347, 1747),
    ("E6", 1213, 895, 894),
    ("E7", 966, 585, 585),
];

/// In tenths of a millisecond, rounded to the nearest.
fn tenths(ns: Option<u64>) -> u64 {
    (ns.expect("stimuli came through") + 50_000) / 100_000
}

fn aligned(mut machine: Machine) -> Machine {
    machine.tasks.iter_mut().for_each(|task| task.arrivals = Arrivals::Aligned { offset_ns: 0 });
    machine
}

#[test]
fn the_vessels_chains_take_as_long_as_worked_out_when_all_jobs_take_their_charged_time() {
    let machine = aligned(machine());
    let times =
        Drawn { executions: Spread::Most, phases: Spread::Least, jitters: Spread::Least, blocking: Spread::Least };
    let seen = seen(&machine, 30, 1, &Times::Drawn(times));
    for ((chain, seen), (name, _, _, charged)) in machine.chains.iter().zip(&seen.chains).zip(CHAINS) {
        assert_eq!(chain.name, name);
        assert_eq!((tenths(seen.reaction_ns), tenths(seen.age_ns)), (charged, charged), "{name}");
        assert_eq!(seen.reaction_ns, seen.age_ns, "{name}: one schedule");
    }
}

#[test]
fn no_chain_of_the_vessel_is_above_its_bounds() {
    let machine = aligned(machine());
    for spread in [Spread::Even, Spread::Most, Spread::Ends] {
        let seen = seen(&machine, 300, 1, &drawn(spread));
        for (seen, (name, _, most, _)) in seen.chains.iter().zip(CHAINS) {
            assert!(tenths(seen.reaction_ns) <= most && tenths(seen.age_ns) <= most, "{name}: {seen:?}");
        }
    }
    let machine = free(machine);
    let seen = seen(&machine, 10, 300, &drawn(Spread::Even));
    for (seen, (name, most, _, _)) in seen.chains.iter().zip(CHAINS) {
        assert!(tenths(seen.reaction_ns) <= most && tenths(seen.age_ns) <= most, "{name}: {seen:?}");
    }
}

#[test]
fn varying_execution_times_make_two_of_the_vessels_chains_take_longer() {
    // Worked out apart from this program: 192.7 ms and 214.7 ms.
    let machine = aligned(machine());
    let (executions, phases, jitters, blocking) = (Spread::Ends, Spread::Least, Spread::Even, Spread::Even);
    let seen = seen(&machine, 20, 300, &Times::Drawn(Drawn { executions, phases, jitters, blocking }));
    let longest = ["E2", "E5"].map(|name| machine.chains.iter().position(|chain| chain.name == name));
    assert_eq!(longest.map(|chain| tenths(chain.and_then(|chain| seen.chains[chain].reaction_ns))), [1927, 2147]);
}
