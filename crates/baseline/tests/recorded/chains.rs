//! Reaction and held data age of chains.

use crate::common::Made;
use crate::draws::{self, Draws};
use model::system::{ChannelKind, PortEnd, QueueRead};
use simulator::Scenario;
use simulator::scenario::Begin;
use trace::judge::{Judgement, Most, Status};

/// The most that a witness saw of a chain: reaction and age.
type Both = [Option<u64>; 2];

/// What the simulator saw of each chain, and what its recording shows.
fn values(made: &Made, scenario: &Scenario) -> Vec<(String, Both, Both)> {
    let (seen, judgement) = made.both(scenario);
    let most = |most: Option<Most>| most.map(|most| most.value);
    let rows = made.machine.chains.iter().zip(&seen.chains).zip(&judgement.chains);
    rows.map(|((chain, simulated), recorded)| {
        let recorded = [most(recorded.reaction), most(recorded.age)];
        (chain.name.clone(), [simulated.reaction_ns, simulated.age_ns], recorded)
    })
    .collect()
}

/// Whether the chain goes through a queue that is read in pieces: how many messages waited in it before the recording is not
/// known, so that it is followed later than the simulator does, who knows that none did.
fn is_read_in_pieces(made: &Made, chain: &str) -> bool {
    let chain = made.system.chains.iter().find(|declared| declared.name.value == chain).expect("a chain");
    let mut ways = chain.steps.iter().filter_map(|step| step.via).map(|channel| &made.system.channel(channel).kind);
    ways.any(|kind| matches!(kind, ChannelKind::Queuing { read: QueueRead::AtMost(_), .. }))
}

/// The chains of which the recording shows something in every one of these runs, and always what the simulator saw.
fn agreed(made: &Made, runs: impl Iterator<Item = Scenario>) -> Vec<String> {
    let mut agreed: Option<Vec<String>> = None;
    for scenario in runs {
        let values = values(made, &scenario);
        let (shown, silent): (Vec<_>, Vec<_>) = values.into_iter().partition(|(_, _, recorded)| recorded[0].is_some());
        for (name, simulated, recorded) in &shown {
            if is_read_in_pieces(made, name) {
                assert!(recorded.iter().zip(simulated).all(|(recorded, simulated)| recorded <= simulated), "{name}");
            } else {
                assert_eq!(recorded, simulated, "{name} in {scenario:?}");
            }
        }
        let silent_names: Vec<_> = silent.iter().map(|(name, ..)| name).collect();
        let names = agreed.get_or_insert_with(|| shown.iter().map(|(name, ..)| name.clone()).collect());
        names.retain(|name| !silent_names.contains(&name));
    }
    agreed.expect("some run")
}

#[test]
fn chains_of_the_vessel_take_in_the_recording_what_they_took_in_the_run() {
    let vessel = Made::vessel();
    let runs = (0..12).map(|run| vessel.scenario(run, 6));
    assert_eq!(agreed(&vessel, runs), ["E1", "E2", "E3", "E4", "E5", "E6", "E7"]);
}

/// What waits for a partition that is not up yet is in the run's values and not in those of the recording.
#[test]
fn chains_are_judged_once_their_partitions_are_operational() {
    let vessel = Made::vessel();
    let mut less = 0;
    for run in 0..4 {
        let scenario = Scenario { begin: Begin::FirstFrame, ..vessel.scenario(run, 40) };
        for (name, simulated, recorded) in values(&vessel, &scenario) {
            assert!(recorded.iter().zip(&simulated).all(|(recorded, simulated)| recorded <= simulated), "{name}");
            assert!(recorded[0].is_some(), "{name}");
            less += usize::from(recorded != simulated);
        }
    }
    assert!(less > 0, "a queue fills while its reader initialises");
}

#[test]
fn chains_of_the_nacelle_take_the_same_but_for_the_one_that_the_forwarder_carries() {
    let nacelle = Made::nacelle();
    let runs = (0..8).map(|run| nacelle.scenario(run, 4));
    assert_eq!(agreed(&nacelle, runs), ["E1", "E2", "E3", "E5"], "two of them under logical execution time");
    let (_, judgement) = nacelle.both(&nacelle.scenario(0, 1));
    let found = judgement.findings.iter().find(|found| found.id() == "reaction/E4").expect("a finding");
    let Status::NotAnalysed(why) = &found.status else { panic!("{found:?}") };
    assert!(why.contains("the forwarder carries `WindState`"), "{why}");
}

#[test]
fn chains_of_the_canal_lock_take_the_same() {
    let lock = Made::lock();
    let runs = (0..8).map(|run| lock.scenario(run, 8));
    assert_eq!(agreed(&lock, runs), ["LIGHTS", "SEAL"]);
}

#[test]
fn no_chain_of_a_run_is_above_its_bound() {
    for made in [Made::vessel(), Made::nacelle(), Made::lock()] {
        let verdicts = baseline::verdicts(&made.system, &made.plan);
        let of_chain = |claim: &str| claim.starts_with("reaction/") || claim.starts_with("data_age/");
        let mut bounded = 0;
        for run in 0..6 {
            let (_, judgement) = made.both(&made.scenario(run, 6));
            let rows = baseline::measured::beside(&made.system, &judgement, &verdicts);
            for row in rows.iter().filter(|row| of_chain(&row.claim)) {
                bounded += usize::from(row.bound.is_some_and(|bound| row.seen <= bound));
                assert!(!row.is_alarm(), "{row:?}");
            }
        }
        assert!(bounded >= 6 * 4, "{bounded} rows with a bound");
    }
}

/// With a fault no more is seen than was: what the recording cannot follow through a start it leaves out.
#[test]
fn after_a_start_nothing_is_seen_that_was_not() {
    let vessel = Made::vessel();
    let mut starts = 0;
    for (run, fault) in
        (0..).zip(["crash:NAVF@500ms,start=warm", "crash:PROP@700ms,start=cold", "crash:TRAK@900ms,start=warm"])
    {
        let scenario = Scenario { faults: vec![vessel.fault(fault)], ..vessel.scenario(run, 16) };
        let (seen, judgement) = vessel.both(&scenario);
        starts += judgement.coverage.restarts;
        let most = |most: Option<Most>| most.map(|most| most.value);
        for (simulated, recorded) in seen.chains.iter().zip(&judgement.chains) {
            assert!(most(recorded.reaction) <= simulated.reaction_ns, "{fault}: {simulated:?} {recorded:?}");
            assert!(most(recorded.age) <= simulated.age_ns, "{fault}: {simulated:?} {recorded:?}");
        }
        assert!(measured(&judgement) >= 7, "{fault}");
    }
    assert_eq!(starts, 3);
}

/// What a recorder loses of one core is told when it goes on: what the other cores read meanwhile may have been newer.
#[test]
fn nothing_is_seen_that_was_not_where_events_of_one_core_were_lost() {
    let vessel = Made::vessel();
    let mut draws = Draws(3);
    for run in 0..16 {
        let (simulated, table) = vessel.recorded(&vessel.scenario(run, 10));
        let core = draws.within(0, 3) as usize;
        let from = draws.within(0, 600_000_000);
        let until = from + draws.within(1_000_000, 300_000_000);
        let judgement = vessel.judged(without(&vessel, &table, core, from..until));
        assert_eq!(judgement.coverage.gaps, 1);
        for (simulated, recorded) in simulated.chains.iter().zip(&judgement.chains) {
            assert!(recorded.reaction.map(|most| most.value) <= simulated.reaction_ns, "{core} {from} {until}");
            assert!(recorded.age.map(|most| most.value) <= simulated.age_ns, "{core} {from} {until}");
        }
        assert!(measured(&judgement) >= 3, "{core} {from} {until}");
    }
}

/// The table without what a core's partitions did in a span, and a line at its end that says so.
fn without(made: &Made, table: &str, core: usize, span: std::ops::Range<u64>) -> String {
    let windows =
        made.plan.schedules.iter().flat_map(|schedule| &schedule.cores).filter(|one| one.core.index() == core);
    let ours: Vec<_> = windows.flat_map(|one| &one.windows).map(|window| window.partition).collect();
    let names: Vec<_> = ours.iter().map(|partition| made.system.partition(*partition).name.value.as_str()).collect();
    let tasks = |end: PortEnd| matches!(end, PortEnd::Task(task) if ours.contains(&made.system.task(task).partition));
    let is_ours = |word: &str, who: &str| {
        let (name, receiver) = who.split_once(" > ").unwrap_or((who, "1"));
        match made.system.channels.iter().find(|channel| channel.name.value == name) {
            Some(channel) if word == "writes" => tasks(channel.source.value),
            Some(channel) => tasks(channel.destinations[receiver.parse::<usize>().expect("a number") - 1].value),
            None => names.contains(&who.split('.').next().expect("a name")),
        }
    };
    let mut lines: Vec<String> = Vec::new();
    let mut told = false;
    for line in table.lines() {
        let columns: Vec<&str> = line.split(',').collect();
        let Ok(at) = columns[0].parse::<u64>() else {
            lines.push(line.to_owned());
            continue;
        };
        if at >= span.end && !std::mem::replace(&mut told, true) {
            lines.push(format!("{at},{core},lost,,9"));
        }
        if !span.contains(&at) || !(columns[1] == core.to_string() || is_ours(columns[2], columns[3])) {
            lines.push(line.to_owned());
        }
    }
    lines.join("\n") + "\n"
}

/// How many chains show anything.
fn measured(judgement: &Judgement) -> usize {
    judgement.chains.iter().filter(|chain| chain.age.is_some()).count()
}

#[test]
fn chains_of_random_systems_take_the_same() {
    let mut draws = Draws(7);
    let mut shown = 0;
    for _ in 0..25 {
        let (text, plan) = draws::system(&mut draws);
        let made = Made::of(&[("drawn.toml", &text)], &plan);
        let (frame_ns, span_ns) = (made.system.frame.value.ns(), 2_000_000_000);
        let frames = (span_ns / frame_ns).clamp(1, 40);
        shown += agreed(&made, (0..2).map(|run| made.scenario(run, frames))).len();
    }
    assert!(shown >= 30, "{shown} chains were followed");
}
