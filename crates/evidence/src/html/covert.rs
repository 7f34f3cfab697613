//! Covert channels: the shared-resource matrix, and how fast what the policy forbids may be carried all the same.

use super::claims::of_kinds;
use super::names::{head, note, partition, table};
use crate::dossier::Dossier;
use crate::show::count;
use claim::Kind;
use maud::{Markup, html};
use model::System;
use quantity::BitRate;
use separation::covert::{Capacity, CovertPath, Matrix, Resource};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let drawn = dossier.system().filter(|_| !dossier.covert().resources.is_empty());
    html! {
        @match drawn {
            Some(system) => { (ways(system, dossier.covert())) (matrix(system, dossier.covert())) }
            None => (note("Partitions share nothing that the files tell of.")),
        }
        (of_kinds(dossier, &[Kind::Covert]))
    }
}

/// Who may change what can be told of a resource, and who may tell.
fn matrix(system: &System, matrix: &Matrix) -> Markup {
    let names = system.partitions.iter().map(|partition| partition.name.value.as_str());
    let titles: Vec<&str> = std::iter::once("Resource, and what can be told of it").chain(names).collect();
    let rows = html! {
        @for (at, resource) in matrix.resources.iter().enumerate() {
            tr {
                (head(&resource.name, why(&matrix.resources[..at], resource)))
                @for access in &resource.access { td { (access.word()) } }
            }
        }
    };
    html! {
        (table("Who may change what can be told of a resource, and who may tell", &titles, rows))
        (note("M may change what can be told, R may tell, RM both. Ports and regions are declared and judged as information flow; \
               what their writers can tell goes against the flow. What a row carries is said once, at the first of those that carry alike."))
    }
}

/// Why a resource carries what it does, where no row before says the same.
fn why<'r>(before: &[Resource], resource: &'r Resource) -> Option<&'r str> {
    let is_new = before.iter().all(|other| other.why != resource.why);
    is_new.then_some(resource.why.as_str())
}

/// The ways between partitions of which the policy permits no flow, resource by resource.
fn ways(system: &System, matrix: &Matrix) -> Markup {
    let of = |index: usize| matrix.paths.iter().filter(move |path| path.resource == index).collect::<Vec<_>>();
    let used = matrix.resources.iter().enumerate().map(|(index, resource)| (resource, of(index)));
    let used: Vec<(&Resource, Vec<&CovertPath>)> = used.filter(|(_, paths)| !paths.is_empty()).collect();
    let rows = html! {
        @for (resource, paths) in &used {
            tr {
                (head(&resource.name, None))
                td {
                    details {
                        summary { (count(paths.len(), "pair")) }
                        (paths.iter().map(|path| pair(system, path)).collect::<Vec<_>>().join(", "))
                    }
                }
                td class="n" { (largest(paths)) }
            }
        }
    };
    html! {
        @if system.flow.is_none() { (note("No flow policy is declared, so no pair of partitions is forbidden.")) }
        @else if used.is_empty() { (note("Between partitions of which the policy permits no flow, nothing is shared that tells anything.")) }
        @else {
            (table("What the policy forbids, and may be carried all the same", &["Resource", "Pairs", "#Of one pair, at most"], rows))
            (note("A number is a bound for one pair by that resource alone, to the resolution of the reader's clock. Not computed is \
                   what no datum bounds; it is not zero. TCSEC, section 8, calls more than 100 bit/s high (from memory)."))
        }
    }
}

fn pair(system: &System, path: &CovertPath) -> String {
    format!("{} to {}", partition(system, path.from), partition(system, path.to))
}

fn largest(paths: &[&CovertPath]) -> String {
    let known = |path: &&CovertPath| match path.capacity {
        Capacity::AtMost(rate) => Some(rate),
        Capacity::NotComputed => None,
    };
    let rates: Option<Vec<BitRate>> = paths.iter().map(known).collect();
    rates.and_then(|rates| rates.into_iter().max()).map_or_else(|| "not computed".to_owned(), |rate| rate.to_string())
}
