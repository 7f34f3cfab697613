//! Packings against published instances and against every way to pack a short list.

use planner::packing::{first_fit_decreasing, lower_bound, pack};
use proptest::prelude::*;

/// Falkenauer 1996 (J. Heuristics 2), OR-Library binpack1, instance u120_00: capacity 150, 120 items, optimum 48.
const U120_00: [u64; 120] = [
    98, 98, 98, 96, 96, 94, 93, 93, 92, 91, 91, 90, 87, 86, 85, 85, 84, 84, 84, 84, 84, 83, 83, 82, 82, 81, 80, 80, 80,
    79, 79, 78, 78, 78, 78, 76, 74, 74, 73, 73, 73, 73, 72, 71, 70, 70, 70, 69, 69, 69, 67, 66, 64, 62, 62, 60, 60, 59,
    58, 58, 58, 57, 57, 57, 57, 55, 55, 55, 50, 49, 49, 49, 47, 46, 46, 45, 45, 44, 44, 43, 43, 43, 43, 42, 42, 42, 42,
    42, 41, 41, 41, 39, 39, 38, 38, 38, 37, 36, 36, 36, 35, 33, 33, 33, 32, 32, 30, 30, 30, 29, 28, 27, 27, 26, 25, 25,
    24, 23, 23, 20,
];

const STEPS: u64 = 2_000_000;

fn assert_packs(bins: &[Vec<usize>], items: &[u64], capacity: u64) {
    let mut seen = vec![0; items.len()];
    for bin in bins {
        assert!(bin.iter().map(|i| items[*i]).sum::<u64>() <= capacity, "a bin holds more than its capacity");
        bin.iter().for_each(|i| seen[*i] += 1);
    }
    assert!(seen.iter().all(|count| *count == 1), "every item lies in exactly one bin");
}

#[test]
fn the_published_instance_of_120_items_needs_48_bins() {
    let packing = pack(&U120_00, 150, STEPS).unwrap();
    assert_packs(&packing.bins, &U120_00, 150);
    assert_eq!((packing.bins.len(), packing.lower_bound, packing.is_optimal()), (48, 48, true));
}

/// Johnson, Demers, Ullman, Garey & Graham 1974 (SIAM J. Comput. 3), from memory: items of 1/2 + e, 1/4 + 2e, 1/4 + e
/// and 1/4 - 2e with e = 1/100, for which first fit decreasing takes 11 bins where 9 do.
#[test]
fn first_fit_decreasing_takes_11_bins_where_9_do() {
    let of = |size: u64, count: usize| std::iter::repeat_n(size, count);
    let items: Vec<u64> = of(510, 6).chain(of(270, 6)).chain(of(260, 6)).chain(of(230, 12)).collect();
    let simple = first_fit_decreasing(&items, 1000).unwrap();
    assert_packs(&simple, &items, 1000);
    assert_eq!(simple.len(), 11);
    let packing = pack(&items, 1000, STEPS).unwrap();
    assert_packs(&packing.bins, &items, 1000);
    assert_eq!((packing.bins.len(), packing.is_optimal()), (9, true));
}

/// Arithmetic: three items of six tenths share no bin, though their sum would fit two.
#[test]
fn the_bound_counts_items_that_cannot_share_a_bin() {
    assert_eq!(lower_bound(&[6, 6, 6], 10), Ok(3));
    assert_eq!(lower_bound(&[5, 5, 5, 5], 10), Ok(2));
    assert_eq!(lower_bound(&[], 10), Ok(0));
    assert!(lower_bound(&[11], 10).is_err());
}

#[test]
fn empty_items_need_one_bin_at_most() {
    assert_eq!(pack(&[0, 0], 10, STEPS).unwrap().bins, [[0, 1]]);
    assert_eq!(pack(&[], 10, STEPS).unwrap().bins.len(), 0);
    assert_packs(&pack(&[0, 6, 6, 4, 4, 0], 10, STEPS).unwrap().bins, &[0, 6, 6, 4, 4, 0], 10);
}

/// The fewest bins by trying every bin for every item, one item after another.
fn fewest_bins(items: &[u64], capacity: u64, loads: &mut Vec<u64>) -> usize {
    let Some((item, rest)) = items.split_first() else { return loads.len() };
    loads.push(*item);
    let mut best = fewest_bins(rest, capacity, loads);
    loads.pop();
    for bin in 0..loads.len() {
        if loads[bin] + item <= capacity {
            loads[bin] += item;
            best = best.min(fewest_bins(rest, capacity, loads));
            loads[bin] -= item;
        }
    }
    best
}

proptest! {
    #[test]
    fn short_lists_are_packed_into_the_fewest_bins(items in prop::collection::vec(1u64..=20, 0..8)) {
        let packing = pack(&items, 20, STEPS).unwrap();
        assert_packs(&packing.bins, &items, 20);
        prop_assert!(packing.is_optimal());
        prop_assert_eq!(packing.bins.len(), fewest_bins(&items, 20, &mut Vec::new()));
        prop_assert!(lower_bound(&items, 20).unwrap() <= packing.bins.len());
    }
}
