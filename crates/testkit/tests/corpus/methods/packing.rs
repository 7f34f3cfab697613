//! Bin packing by the planner.

use super::{fields, value};
use crate::compare::Answers;
use planner::packing::{first_fit_decreasing, lower_bound, pack};
use serde::Deserialize;

const STEPS: u64 = 2_000_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Items {
    capacity: u64,
    items: Vec<u64>,
    /// The sizes of each bin of a packing into the published number of bins.
    witness: Vec<Vec<u64>>,
}

pub fn packing(input: &Items) -> Result<Answers, String> {
    let items = &input.items;
    holds_all(&input.witness, items, input.capacity)?;
    let simple = first_fit_decreasing(items, input.capacity).map_err(|why| why.to_string())?;
    let best = pack(items, input.capacity, STEPS).map_err(|why| why.to_string())?;
    let sizes: Vec<Vec<u64>> = best.bins.iter().map(|bin| bin.iter().map(|&k| items[k]).collect()).collect();
    holds_all(&sizes, items, input.capacity)?;
    Ok(fields([
        ("ffd", value(simple.len())),
        ("optimum", value(best.is_optimal().then_some(best.bins.len()))),
        ("lower_bound", value(lower_bound(items, input.capacity).map_err(|why| why.to_string())?)),
    ]))
}

/// Holds that `bins` are a packing of `items`.
fn holds_all(bins: &[Vec<u64>], items: &[u64], capacity: u64) -> Result<(), String> {
    if bins.iter().any(|bin| bin.iter().sum::<u64>() > capacity) {
        return Err("a bin holds more than its capacity".to_owned());
    }
    let (mut packed, mut given) = (bins.concat(), items.to_vec());
    packed.sort_unstable();
    given.sort_unstable();
    if packed == given { Ok(()) } else { Err("the bins do not hold the items".to_owned()) }
}
