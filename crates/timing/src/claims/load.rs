//! How much of what a partition is given its tasks ask for.
//!
//! Computes: the sum of `C' / T` of a partition's tasks as a share of its supply, in parts per million, rounded up.
//! Source: necessary condition of every schedulability test; Liu & Layland 1973 for the sum.
//! Assumptions: those of the charged times and of the supply.
//! Symbols: as there; of a partition with several virtual cores both sums are over all of them.
//! Invariants and why it ends: one pass over the tasks; each term is rounded to the safe side once.
//! Differs from the source: nothing.
//! Checked by: the survey vessel's utilisation of its usable supply, partition by partition.

use super::results::Results;
use super::scope::Scope;
use crate::demand::enclose;
use quantity::PartitionId;

const WHOLE_PPM: u128 = 1_000_000;

/// The demand of a partition in one module schedule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Load {
    /// The partition.
    pub partition: PartitionId,
    /// Its demand as a share of its usable supply, in ppm; why it is not known, where it is not.
    pub ppm: Result<u64, String>,
}

/// The loads of all partitions that run in a schedule and have tasks.
pub(super) fn of_schedule(scope: &Scope<'_>, results: &Results) -> Vec<Load> {
    let with_tasks = scope.running_partitions().filter(|partition| !scope.tasks(*partition).is_empty());
    with_tasks.map(|partition| Load { partition, ppm: of_partition(results, partition) }).collect()
}

fn of_partition(results: &Results, partition: PartitionId) -> Result<u64, String> {
    let (mut asked, mut given) = (0u128, 0u128);
    for (_, found) in results.cores(partition) {
        let analysed = found.as_ref().map_err(Clone::clone)?;
        for task in &analysed.tasks {
            asked = asked.saturating_add(enclose(u128::from(task.charged_ns), u128::from(task.period_ns)).1);
        }
        for supply in analysed.supplies() {
            given = given.saturating_add(enclose(u128::from(supply.per_frame_ns()), u128::from(supply.frame_ns())).0);
        }
    }
    let share = asked.checked_mul(WHOLE_PPM).filter(|_| given > 0).map(|scaled| scaled.div_ceil(given));
    let share = share.and_then(|share| u64::try_from(share).ok()).filter(|share| *share <= quantity::LIMIT);
    share.ok_or_else(|| "it is given nothing, or asks for more than can be counted".to_owned())
}
