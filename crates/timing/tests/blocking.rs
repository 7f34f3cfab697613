//! Blocking through named resources: published tables, and every choice of sections.

use proptest::prelude::*;
use timing::blocking::{Protocol, User, longest_ns};

/// Rows are tasks, the most urgent first; columns are resources; 0 where a task does not use one.
fn users(table: &[Vec<u64>]) -> Vec<User> {
    let user = |(level, row): (i64, &Vec<u64>)| User {
        suffers: level,
        blocks: level,
        sections: row.iter().copied().enumerate().filter(|section| section.1 > 0).collect(),
    };
    (0..).zip(table).map(user).collect()
}

/// Public course notes: an exact 29 where the smaller of two sums says 33.
#[test]
fn published_sections() {
    let table = [vec![3, 6, 10, 0, 5], vec![0, 0, 8, 0, 0], vec![0, 4, 0, 8, 14], vec![7, 0, 9, 0, 11]];
    assert_eq!(longest_ns(&users(&table), Protocol::Inheritance), [29, 23, 11, 0]);
    assert_eq!(longest_ns(&users(&table), Protocol::Ceiling), [14, 14, 11, 0]);
}

/// A resource that only less urgent tasks use, one that only one task uses, two sections on one resource.
#[test]
fn who_does_not_meet_at_a_resource_does_not_wait() {
    let table = [vec![0, 0], vec![0, 5], vec![9, 7]];
    assert_eq!(longest_ns(&users(&table), Protocol::Inheritance), [0, 7, 0]);
    assert_eq!(longest_ns(&users(&table), Protocol::Ceiling), [0, 7, 0]);
    let mut twice = users(&table);
    twice[2].sections.push((1, 8));
    assert_eq!(longest_ns(&twice, Protocol::Inheritance), [0, 8, 0]);
    assert!(longest_ns(&[], Protocol::Ceiling).is_empty());
}

/// Who is late by its jitter suffers at a more urgent level than it blocks at.
#[test]
fn levels_of_suffering_and_blocking_differ() {
    let user = |suffers, blocks| User { suffers, blocks, sections: vec![(0, 4)] };
    assert_eq!(longest_ns(&[user(10, 10), user(9, 12)], Protocol::Ceiling), [4, 4]);
    assert_eq!(longest_ns(&[user(10, 10), user(10, 12)], Protocol::Inheritance), [4, 0]);
}

/// The greatest sum over all ways to take at most one section of each less urgent task and one on each resource.
fn by_trial(table: &[Vec<u64>], k: usize, from: usize, taken: &mut Vec<bool>) -> u64 {
    let Some(row) = table.get(from) else { return 0 };
    let mut best = by_trial(table, k, from + 1, taken);
    for resource in 0..row.len() {
        let wanted = table[..=k].iter().any(|above| above[resource] > 0);
        if wanted && row[resource] > 0 && !taken[resource] {
            taken[resource] = true;
            best = best.max(row[resource] + by_trial(table, k, from + 1, taken));
            taken[resource] = false;
        }
    }
    best
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn inheritance_is_the_best_of_all_choices(
        table in (1..5usize).prop_flat_map(|columns| {
            prop::collection::vec(prop::collection::vec(prop_oneof![Just(0u64), 1..20u64], columns), 1..6)
        })
    ) {
        let found = longest_ns(&users(&table), Protocol::Inheritance);
        let columns = table[0].len();
        for (k, found_ns) in found.iter().enumerate() {
            prop_assert_eq!(*found_ns, by_trial(&table, k, k + 1, &mut vec![false; columns]), "task {}", k);
        }
        let ceiling = longest_ns(&users(&table), Protocol::Ceiling);
        prop_assert!(ceiling.iter().zip(&found).all(|(one, sum)| one <= sum));
    }
}
