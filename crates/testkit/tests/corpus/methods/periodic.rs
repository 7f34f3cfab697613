//! Two strictly periodic windows on one core, placed by the planner.

use super::{fields, table, value};
use crate::compare::Answers;
use model::System;
use plan::Plan;
use planner::{Answer, Options};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pairs {
    /// Length and period of the one, length and period of the other.
    pairs: Vec<[u64; 4]>,
}

pub fn strictly_periodic_pairs(input: &Pairs) -> Result<Answers, String> {
    let placed = |pair: &[u64; 4]| Ok((*pair, are_placed(*pair)?));
    let placed: Vec<([u64; 4], bool)> = input.pairs.iter().map(placed).collect::<Result<_, String>>()?;
    let agree = placed.iter().all(|&([c1, t1, c2, t2], placed)| placed == (c1 + c2 <= gcd(t1, t2)));
    let named = placed.iter().map(|&([c1, t1, c2, t2], placed)| {
        (format!("C=({c1},{c2}) T=({t1},{t2})"), table([("feasible", value(placed))]))
    });
    Ok(fields([("agree", value(agree)), ("pairs", table(named))]))
}

/// Whether the planner finds windows for both, one in each period and equally far apart.
fn are_placed([c1, t1, c2, t2]: [u64; 4]) -> Result<bool, String> {
    let system = two_partitions([(c1, t1), (c2, t2)])?;
    let mut go_on = |_| ControlFlow::Continue(());
    match planner::plan(&system, None, Options::default(), &mut go_on).answer {
        Answer::Optimal(plan) | Answer::Feasible(plan) => Ok(is_strictly_periodic(&system, &plan)),
        Answer::Impossible(_) | Answer::GaveUp { .. } => Ok(false),
    }
}

fn two_partitions(asked: [(u64, u64); 2]) -> Result<System, String> {
    let frame = asked[0].1 / gcd(asked[0].1, asked[1].1) * asked[1].1;
    let mut text = format!(
        "[system]\nname = \"pair\"\nframe = \"{frame} ms\"\n[board]\nname = \"board\"\n[[board.core]]\nname = \"0\"\n\
         [platform]\nswitch = \"0 ns\"\nrefill = \"0 ns\"\n"
    );
    for (name, (length, period)) in ["one", "other"].into_iter().zip(asked) {
        text += &format!(
            "[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nperiod = \"{period} ms\"\nbudget = \"{length} ms\"\n"
        );
    }
    let mut files = BTreeMap::from([("pair.toml".to_owned(), text.into_bytes())]);
    let reading = model::read_system("pair.toml", &mut files);
    reading.system.ok_or_else(|| format!("{:?}", reading.diagnostics))
}

/// Whether each partition has one window a period, all equally far apart.
fn is_strictly_periodic(system: &System, plan: &Plan) -> bool {
    let frame_ns = system.frame.value.ns();
    let windows: Vec<_> = plan.schedules.iter().flat_map(|table| &table.cores).flat_map(|core| &core.windows).collect();
    system.partition_ids().all(|partition| {
        let starts: Vec<u64> = windows.iter().filter(|w| w.partition == partition).map(|w| w.start.ns()).collect();
        let step_ns = frame_ns / (starts.len() as u64).max(1);
        !starts.is_empty() && starts.windows(2).all(|pair| pair[1] - pair[0] == step_ns)
    })
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}
