//! What a partition's RAM must hold.
//!
//! Computes: the sum of image, heap and stacks against the RAM asked for, less the share that must be left.
//! Source: memory faults, stack overflow among them, ISO 26262-6:2018 annex D.2.3 (from memory); the sum is common practice.
//! Assumptions: sizes are as declared; the image is loaded whole.
//! Symbols: sizes in bytes, the share that is left in parts per million; the limit is rounded down.
//! Invariants and why it ends: one look at each task.
//! Differs from the source: not at all.
//! Checked by: sums by hand at their limits.

use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use model::System;
use model::system::Partition;
use quantity::{Bytes, PartitionId};

/// One verdict for every partition that declares anything of what its RAM holds beside the image.
pub(crate) fn check(system: &System) -> Vec<Verdict> {
    system.partition_ids().filter(|id| says_something(system, *id)).map(|id| verdict(system, id)).collect()
}

fn says_something(system: &System, id: PartitionId) -> bool {
    let partition = system.partition(id);
    let has_stack = partition.tasks.iter().any(|task| system.task(*task).stack.is_some());
    partition.heap.is_some() || partition.ram_margin.is_some() || has_stack
}

/// What lies in a partition's RAM, and what it may take.
struct Sum {
    image: u64,
    heap: u64,
    stacks: u64,
    limit: u64,
}

fn verdict(system: &System, id: PartitionId) -> Verdict {
    let partition = system.partition(id);
    let basis = Basis {
        analysis: "memory-contents",
        source: "ISO 26262-6:2018 annex D.2.3 (from memory); sums, common practice",
        assumptions: vec![Assumption::InputsValid],
    };
    let base = Verdict::not_analysed(Kind::Memory, format!("contents/{}", partition.name.value), basis, String::new());
    let base = Verdict { unit: Unit::Bytes, place: Some(partition.name.span), ..base };
    match sum(system, partition) {
        Ok(sum) => judged(sum, base),
        Err(missing) => Verdict { reason: Some(missing), ..base },
    }
}

fn judged(sum: Sum, base: Verdict) -> Verdict {
    let bound = sum.image.saturating_add(sum.heap).saturating_add(sum.stacks);
    let base = Verdict { bound: Some(bound), limit: Some(sum.limit), exact: true, reason: None, ..base };
    if bound <= sum.limit {
        return Verdict { status: Status::Shown, ..base };
    }
    let [image, heap, stacks, limit, bound] = [sum.image, sum.heap, sum.stacks, sum.limit, bound].map(Bytes::new);
    let reason = format!("the image of {image}, the heap of {heap} and stacks of {stacks} take {bound} of {limit}");
    let witness = Some(Witness::of_fact(reason.clone()));
    Verdict { status: Status::Violated, reason: Some(reason), witness, ..base }
}

/// The sum, or what is not declared.
fn sum(system: &System, partition: &Partition) -> Result<Sum, String> {
    let without_stack = partition.tasks.iter().find(|task| system.task(**task).stack.is_none());
    if let Some(task) = without_stack {
        return Err(format!("`{}` declares no `stack`", system.task_label(*task)));
    }
    let sizes = [("image", partition.image), ("heap", partition.heap), ("ram", partition.ram)];
    let [image, heap, ram] = sizes.map(|(key, size)| {
        let missing = || format!("`{}` declares no `{key}`", partition.name.value);
        size.map(|size| size.value.get()).ok_or_else(missing)
    });
    let stacks = partition.tasks.iter().filter_map(|task| system.task(*task).stack);
    let left = partition.ram_margin.map_or(0, |share| share.value.get());
    let usable = u128::from(ram?) * u128::from(1_000_000u64.saturating_sub(left)) / 1_000_000;
    Ok(Sum {
        image: image?,
        heap: heap?,
        stacks: stacks.fold(0, |sum: u64, stack| sum.saturating_add(stack.value.get())),
        limit: u64::try_from(usable).unwrap_or(u64::MAX),
    })
}
