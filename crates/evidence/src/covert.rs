//! The shared-resource matrix in words, for pages and terminals alike.

use quantity::BitRate;
use separation::covert::{Capacity, CovertPath, Matrix, Resource};

/// What the marks of the matrix mean, and what it leaves out.
pub(crate) const LEGEND: &str = "M may change what can be told, R may tell, RM both. Ports and regions are declared and judged as information flow; \
     what their writers can tell goes against the flow. What a row carries is said once, at the first of those that carry alike.";

/// What the numbers of forbidden ways mean.
pub(crate) const BOUNDS: &str = "A number is a bound for one pair by that resource alone, to the resolution of the reader's clock. Not computed is \
     what no datum bounds; it is not zero. TCSEC, section 8, calls more than 100 bit/s high (from memory).";

/// What is said where the files tell of nothing that is shared.
pub(crate) const NOTHING: &str = "Partitions share nothing that the files tell of.";

/// Every resource, with why it carries what it does where no row before says the same.
pub(crate) fn rows(matrix: &Matrix) -> impl Iterator<Item = (&Resource, Option<&str>)> {
    matrix.resources.iter().enumerate().map(|(at, resource)| {
        let is_new = matrix.resources[..at].iter().all(|other| other.why != resource.why);
        (resource, is_new.then_some(resource.why.as_str()))
    })
}

/// The resources by which something may be carried that the policy forbids, with the ways of each.
pub(crate) fn ways(matrix: &Matrix) -> Vec<(&Resource, Vec<&CovertPath>)> {
    let of = |index: usize| matrix.paths.iter().filter(move |path| path.resource == index).collect::<Vec<_>>();
    let used = matrix.resources.iter().enumerate().map(|(index, resource)| (resource, of(index)));
    used.filter(|(_, paths)| !paths.is_empty()).collect()
}

/// Why there are no such ways.
pub(crate) const fn why_no_ways(has_policy: bool) -> &'static str {
    match has_policy {
        true => "Between partitions of which the policy permits no flow, nothing is shared that tells anything.",
        false => "No flow policy is declared, so no pair of partitions is forbidden.",
    }
}

/// The most that one pair may be told by a resource.
pub(crate) fn largest(paths: &[&CovertPath]) -> String {
    let known = |path: &&CovertPath| match path.capacity {
        Capacity::AtMost(rate) => Some(rate),
        Capacity::NotComputed => None,
    };
    let rates: Option<Vec<BitRate>> = paths.iter().map(known).collect();
    rates.and_then(|rates| rates.into_iter().max()).map_or_else(|| "not computed".to_owned(), |rate| rate.to_string())
}
