//! Outages, boots, and the ages of sampled messages.

use crate::common::Made;
use simulator::Scenario;
use simulator::machine::Port;
use simulator::scenario::Begin;
use trace::judge::{Most, Since};
use trace::seen::Start;

fn alarms(made: &Made, judgement: &trace::judge::Judgement) -> (usize, Vec<String>) {
    let verdicts = baseline::verdicts(&made.system, &made.plan);
    let rows = baseline::measured::beside(&made.system, judgement, &verdicts);
    let alarms = rows.iter().filter(|row| row.is_alarm()).map(|row| row.claim.clone()).collect();
    let of_starts = |claim: &str| claim.starts_with("restart/") || claim.starts_with("boot/");
    (rows.iter().filter(|row| of_starts(&row.claim) && row.bound.is_some() && row.is_claimed).count(), alarms)
}

#[test]
fn outages_last_in_the_recording_as_long_as_in_the_run_and_no_longer_than_their_bounds() {
    let mut measured = 0;
    for made in [Made::vessel(), Made::nacelle(), Made::lock()] {
        for (run, partition) in (0..).zip(&made.machine.partitions) {
            let (start, word) = if run % 2 == 0 { (Start::Warm, "warm") } else { (Start::Cold, "cold") };
            let at_ms = made.system.frame.value.ns() / 1_000_000 * 2 + run * 7;
            let fault = made.fault(&format!("crash:{}@{at_ms}ms,start={word}", partition.name));
            let (seen, judgement) = made.both(&Scenario { faults: vec![fault], ..made.scenario(run, 30) });
            let simulated = seen.partitions.iter().map(|seen| match start {
                Start::Warm => seen.warm_outage_ns,
                Start::Cold => seen.cold_outage_ns,
            });
            let simulated: Vec<u64> = simulated.flatten().collect();
            let recorded: Vec<_> =
                judgement.outages.iter().map(|seen| (seen.since, seen.start, seen.most.value)).collect();
            let expected: Vec<_> = simulated.iter().map(|value| (Since::Fault, start, *value)).collect();
            assert_eq!(recorded, expected, "{}", partition.name);
            let (bounded, alarms) = alarms(&made, &judgement);
            assert_eq!(alarms, [""; 0], "{}", partition.name);
            measured += bounded;
        }
    }
    assert!(measured >= 20, "{measured} outages beside a bound");
}

#[test]
fn partitions_are_operational_in_the_recording_when_they_were_in_the_run() {
    let mut measured = 0;
    for made in [Made::vessel(), Made::nacelle(), Made::lock()] {
        for run in 0..3 {
            let (seen, judgement) = made.both(&Scenario { begin: Begin::FirstFrame, ..made.scenario(run, 30) });
            let recorded: Vec<_> = judgement.boots.iter().map(|most| most.map(|most| most.value)).collect();
            let simulated: Vec<_> = seen.partitions.iter().map(|seen| seen.operational_ns).collect();
            assert_eq!(recorded, simulated);
            let (bounded, alarms) = alarms(&made, &judgement);
            assert_eq!(alarms, [""; 0]);
            measured += bounded;
        }
    }
    assert!(measured >= 3 * 12, "{measured} boots beside a bound");
}

#[test]
fn messages_are_read_in_the_recording_at_the_age_that_they_had_in_the_run() {
    for made in [Made::vessel(), Made::nacelle(), Made::lock()] {
        let (seen, judgement) = made.both(&made.scenario(5, 8));
        for ((channel, declared), most) in made.machine.channels.iter().zip(&made.system.channels).zip(&judgement.ages)
        {
            let oldest = seen.inputs[channel.inputs.clone()].iter().map(|input| input.most_age_ns).max();
            let is_aged = matches!(channel.port, Port::Sampling { refresh_ns: Some(_) }) && !declared.forwarded;
            let recorded: Option<u64> = most.map(|most: Most| most.value);
            assert_eq!(recorded, oldest.filter(|_| is_aged && most.is_some()), "{}", channel.name);
            assert!(!is_aged || recorded.is_some() || oldest == Some(0), "{} was read", channel.name);
        }
    }
}
