//! Plans of generated systems, against an independent reader and against every allocation.

use crate::checker;
use crate::common::{partition, plan, system, task, with_growth};
use model::System;
use model::system::GrowthSubject;
use planner::Answer;
use proptest::prelude::*;
use quantity::PartitionId;

const HEAD_NS: u64 = 40_000;
const FRAME_MS: u64 = 40;
const PERIODS_MS: [u64; 5] = [5, 8, 10, 20, 40];

/// A partition: which period, its budget in hundredths of the period, whether it has a task, and of whom it is apart.
type Spec = (usize, u64, bool, Option<usize>);

fn specs() -> impl Strategy<Value = Vec<Spec>> {
    prop::collection::vec((0..PERIODS_MS.len(), 5u64..60, any::<bool>(), prop::option::of(0..6usize)), 1..7)
}

fn build(cores: usize, growth_percent: u64, specs: &[Spec]) -> System {
    let one = |(index, spec): (usize, &Spec)| {
        let period = PERIODS_MS[spec.0];
        let budget_us = period * 10 * spec.1;
        // A task that surely keeps its deadline: a third of the budget, twice the period.
        let task = task(
            "t",
            &format!("{} ms", 2 * period),
            &format!("{} ms", 2 * period),
            &format!("{} us", budget_us / 3),
            1,
        );
        let apart = spec.3.filter(|other| *other < index).map(|other| format!("apart_from = [\"P{other}\"]\n"));
        let more = apart.unwrap_or_default() + if spec.2 { &task } else { "" };
        partition(&format!("P{index}"), &format!("{period} ms"), &format!("{budget_us} us"), &more)
    };
    let partitions: String = specs.iter().enumerate().map(one).collect();
    with_growth(system(&format!("{FRAME_MS} ms"), cores, &partitions), GrowthSubject::Cores, growth_percent * 10_000)
}

fn load_us(spec: &Spec) -> u64 {
    PERIODS_MS[spec.0] * 10 * spec.1 * (FRAME_MS / PERIODS_MS[spec.0])
}

/// Whether any allocation keeps the sums and the wishes to be apart, by trying all.
fn some_allocation(cores: usize, capacity_us: u64, specs: &[Spec], chosen: &mut Vec<usize>) -> bool {
    let index = chosen.len();
    let Some(spec) = specs.get(index) else { return true };
    (0..cores).any(|core| {
        let load: u64 = (0..index).filter(|i| chosen[*i] == core).map(|i| load_us(&specs[i])).sum();
        let apart = spec.3.filter(|other| *other < index).is_none_or(|other| chosen[other] != core);
        if load + load_us(spec) > capacity_us || !apart {
            return false;
        }
        chosen.push(core);
        let fits = some_allocation(cores, capacity_us, specs, chosen);
        chosen.pop();
        fits
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn every_plan_found_keeps_what_it_promises(cores in 1..4usize, growth in prop::sample::select(vec![0u64, 10, 30]), specs in specs()) {
        let system = build(cores, growth, &specs);
        let outcome = plan(&system);
        let capacity_us = FRAME_MS * 10 * (100 - growth);
        let possible = some_allocation(cores, capacity_us, &specs, &mut Vec::new());
        match &outcome.answer {
            Answer::Optimal(plan) | Answer::Feasible(plan) => {
                prop_assert!(possible);
                checker::assert_windows(&system, plan, 0, &checker::declared(&system), HEAD_NS);
                prop_assert!(checker::loads(&system, plan, 0).iter().all(|load| *load <= capacity_us * 1_000));
                for (index, spec) in specs.iter().enumerate() {
                    let core = |id: usize| checker::core_of(plan, PartitionId::new(id), 0);
                    if let Some(other) = spec.3.filter(|other| *other < index) {
                        prop_assert_ne!(core(index), core(other));
                    }
                }
            }
            Answer::Impossible(_) => prop_assert!(!possible, "{:?}", outcome),
            // The sums allow an allocation, and the heads of split windows do not: that takes some core that no allocation
            // leaves a quarter free, or periods of which none divides the other.
            Answer::GaveUp { .. } => {
                let full = !some_allocation(cores, capacity_us * 3 / 4, &specs, &mut Vec::new());
                let harmonic = specs.iter().all(|spec| PERIODS_MS[spec.0] != 8);
                prop_assert!(possible && (full || !harmonic), "{:?}", outcome);
            }
        }
    }
}
