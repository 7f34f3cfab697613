//! Fluid curves of network calculus: delays and backlogs of token buckets behind a rate and a latency.

use super::{fields, table, value};
use crate::compare::{Answer, Answers, Share};
use serde::Deserialize;
use std::num::NonZeroU64;
use timing::network_calculus::Arrivals;
use timing::network_calculus::fluid::{Number, RateLatency, TokenBucket, Traffic, whole};
use timing::supply::{Interval, Supply};

const NS_PER_MS: u64 = 1_000_000;
const NS_PER_S: u64 = 1_000_000_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bucket {
    b: u64,
    r: u64,
    #[serde(rename = "R")]
    rate: u64,
    #[serde(rename = "T")]
    latency: u64,
}

/// One token bucket: what the curves' deviations are, and what leaves.
pub fn token_bucket(input: &Bucket) -> Result<Answers, String> {
    let server = RateLatency { rate: whole(input.rate), latency: whole(input.latency) };
    let bucket = TokenBucket { burst: whole(input.b), rate: whole(input.r) };
    let output = server.output(&bucket).ok_or("the bucket outruns the server")?;
    let mut answers = deviations(&server, &Traffic::of_bucket(bucket))?;
    answers.insert("output_burst".to_owned(), share(&output.burst)?);
    Ok(answers)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TSpec {
    #[serde(rename = "M")]
    largest: u64,
    p: u64,
    b: u64,
    r: u64,
    #[serde(rename = "R")]
    rate: u64,
    #[serde(rename = "T")]
    latency: u64,
}

/// Two buckets at once.
pub fn t_spec(input: &TSpec) -> Result<Answers, String> {
    let server = RateLatency { rate: whole(input.rate), latency: whole(input.latency) };
    deviations(&server, &Traffic::of_flow(input.largest, input.p, input.b, input.r))
}

/// The program has no second way to a delay than the deviation, so both fields are held to it.
fn deviations(server: &RateLatency, traffic: &Traffic) -> Result<Answers, String> {
    let delay = server.delay(traffic).ok_or("the traffic outruns the server")?;
    let backlog = server.backlog(traffic).ok_or("the traffic outruns the server")?;
    Ok(fields([
        ("delay", share(&delay)?),
        ("backlog", share(&backlog)?),
        ("delay_by_deviation", share(&delay)?),
        ("backlog_by_deviation", share(&backlog)?),
    ]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Slot {
    cycle: u64,
    slot: u64,
    capacity: u64,
}

/// A slot of every cycle, and the straight line that its supply never falls below.
pub fn time_slot(input: &Slot) -> Result<Answers, String> {
    let slot = Interval { start_ns: 0, end_ns: input.slot };
    let supply = Supply::new(input.cycle, &[slot]).map_err(|why| why.to_string())?;
    let line = RateLatency::below(&supply, input.capacity);
    let served = |t: u64| whole(input.capacity) * whole(supply.least_supply_ns(t));
    let promised = |t: u64| (whole(t) - &line.latency) * &line.rate;
    let spans = 0..=10 * input.cycle;
    let below = spans.clone().all(|t| promised(t) <= served(t)) && spans.skip(1).any(|t| promised(t) == served(t));
    Ok(fields([
        ("rate", share(&line.rate)?),
        ("latency", share(&line.latency)?),
        ("lower_bounds_exact_staircase", value(below)),
    ]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VirtualLink {
    bag_ms: u64,
    lmax_bytes: u64,
    bag_table_ms: Vec<u64>,
}

/// The rate of messages that keep a least distance.
pub fn virtual_link(input: &VirtualLink) -> Result<Answers, String> {
    let per_s = |batch: u64, bag_ms: u64| {
        let distance_ns = NonZeroU64::new(bag_ms * NS_PER_MS).ok_or("a distance of zero")?;
        let frames = Arrivals { batch, burst: 0, distance_ns, jitter_ns: 0 };
        share(&(frames.bucket().rate * whole(NS_PER_S)))
    };
    let entry = |&bag_ms: &u64| Ok((bag_ms, per_s(1, bag_ms)?));
    let frequencies: Vec<_> = input.bag_table_ms.iter().map(entry).collect::<Result<_, String>>()?;
    Ok(fields([("max_bandwidth_bps", per_s(8 * input.lmax_bytes, input.bag_ms)?), ("hz", table(frequencies))]))
}

fn share(number: &Number) -> Result<Answer, String> {
    let (part, whole) = (u128::try_from(number.numer().clone()), u128::try_from(number.denom().clone()));
    match (part, whole) {
        (Ok(part), Ok(whole)) => Ok(Answer::Share(Share { parts: vec![part], whole })),
        _ => Err("a number below zero or beyond 128 bits".to_owned()),
    }
}
