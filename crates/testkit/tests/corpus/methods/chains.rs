//! Chains of tasks.

use super::{fields, table, value};
use crate::compare::Answers;
use serde::Deserialize;
use serde_json::json;
use timing::chain::logical::{LogicalTask, LogicalTasks};
use timing::chain::{Hop, JobChain, JobTimes, Seen, Stage, generic_ns};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Responses {
    tasks: Vec<Response>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Response {
    #[allow(dead_code, reason = "for the reader of the file")]
    name: String,
    #[serde(rename = "T")]
    period: u64,
    #[serde(rename = "R")]
    response: u64,
}

pub fn generic(input: &Responses) -> Result<Answers, String> {
    let stage =
        |task: &Response| Stage { period_ns: task.period, response_ns: task.response, reads: 1, transport_ns: 0 };
    let stages: Vec<_> = input.tasks.iter().map(stage).collect();
    Ok(fields([("bound", value(generic_ns(&stages)))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chains {
    /// Period and offset of each task of each chain; the deadline is the period.
    chains: Vec<Vec<(u64, u64)>>,
}

pub fn equivalence(input: &Chains) -> Result<Answers, String> {
    let values: Vec<[u64; 3]> = input.chains.iter().map(|chain| longest(chain)).collect::<Result<_, _>>()?;
    let all_equal = values.iter().all(|[longest, reaction, age]| longest == reaction && reaction == age);
    let pairs: Vec<_> = values.iter().map(|[_, reaction, age]| json!([reaction, age])).collect();
    Ok(fields([("all_equal", value(all_equal)), ("values", value(pairs))]))
}

/// By the slowest task's jobs, as reaction time, as held data age.
fn longest(chain: &[(u64, u64)]) -> Result<[u64; 3], String> {
    let logical = |&(period_ns, offset_ns): &(u64, u64)| LogicalTask { period_ns, offset_ns, deadline_ns: period_ns };
    let tasks = LogicalTasks::new(&chain.iter().map(logical).collect::<Vec<_>>()).map_err(|why| why.to_string())?;
    let all: Vec<usize> = (0..chain.len()).collect();
    let found = [tasks.longest_ns(&all), tasks.reaction_ns(&all), tasks.age_ns(&all)];
    let [longest, reaction, age] = found.map(|found| found.map_err(|why| why.to_string()));
    Ok([longest?, reaction?, age?])
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pairs {
    /// Periods of writer and reader, whose jobs write and read at their multiples.
    pairs: Vec<(u64, u64)>,
}

/// The points at which a pair publishes and reads, found by following job chains from and to each multiple of the
/// longer period, against the published formulas.
pub fn logical_points(input: &Pairs) -> Result<Answers, String> {
    let mut agree = true;
    let mut points = Vec::new();
    for &(writer, reader) in &input.pairs {
        let (longer, hyperperiod) = (writer.max(reader), lcm(writer, reader));
        let multiples = || (1..=hyperperiod / longer).map(move |n| n * longer);
        let publish = each(multiples().map(|at| published_at(writer, at, hyperperiod)))?;
        let read = each(multiples().map(|at| read_at(reader, at, hyperperiod)))?;
        agree &= publish.iter().copied().eq(multiples().map(|at| at / writer * writer));
        agree &= read.iter().copied().eq(multiples().map(|at| at.div_ceil(reader) * reader));
        points.push((
            format!("writer {writer} reader {reader}"),
            table([("publish", value(publish)), ("read", value(read))]),
        ));
    }
    Ok(fields([("agree_with_bruteforce", value(agree)), ("points", table(points))]))
}

fn each(points: impl Iterator<Item = Result<u64, String>>) -> Result<Vec<u64>, String> {
    points.collect()
}

/// The first point of the reader at or after `at`: where the job chain of a write at `at` leads.
fn read_at(reader: u64, at: u64, hyperperiod: u64) -> Result<u64, String> {
    let probe = once(at, hyperperiod);
    let points = JobTimes::new(reader, 0, 0, vec![0], vec![0]);
    let chain = JobChain { tasks: vec![&probe, &points], entry_reads: 1, hops: vec![HOP] };
    let found = chain.follow().map_err(|why| why.to_string())?;
    u64::try_from(points.read_ns(found.jobs[1])).map_err(|_| "a point before 0".to_owned())
}

/// The last point of the writer at or before `at`: what the job chain of a read one hyperperiod later follows at once.
fn published_at(writer: u64, at: u64, hyperperiod: u64) -> Result<u64, String> {
    let probe = once(at, hyperperiod);
    let points = JobTimes::new(writer, 0, 0, vec![0], vec![0]);
    let chain = JobChain { tasks: vec![&points, &probe], entry_reads: 1, hops: vec![HOP] };
    let found = chain.follow().map_err(|why| why.to_string())?;
    // The stimulus that waits longest comes just after the point that a read before takes.
    let rounds = found.jobs[1] - 1;
    let point = found.stimulus_ns - rounds * hyperperiod as i64;
    u64::try_from(point).map_err(|_| "a point before 0".to_owned())
}

const HOP: Hop = Hop { seen: Seen::Written, reads: 1 };

/// A task that reads and writes at `at` in each hyperperiod.
fn once(at: u64, hyperperiod: u64) -> JobTimes {
    JobTimes::new(hyperperiod, at, 0, vec![at as i64], vec![at as i64])
}

fn lcm(a: u64, b: u64) -> u64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}
