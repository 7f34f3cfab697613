//! Covert channels: the shared-resource matrix, and how fast what the policy forbids may be carried all the same.

use super::claims::of_kinds;
use super::names::{head, note, partition, table};
use crate::covert::{BOUNDS, LEGEND, NOTHING, largest, rows, ways, why_no_ways};
use crate::dossier::Dossier;
use crate::show::count;
use claim::Kind;
use maud::{Markup, html};
use model::System;
use separation::covert::{CovertPath, Matrix};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let drawn = dossier.system().filter(|_| !dossier.covert().resources.is_empty());
    html! {
        @match drawn {
            Some(system) => { (ways_table(system, dossier.covert())) (matrix(system, dossier.covert())) }
            None => (note(NOTHING)),
        }
        (of_kinds(dossier, &[Kind::Covert]))
    }
}

/// Who may change what can be told of a resource, and who may tell.
fn matrix(system: &System, matrix: &Matrix) -> Markup {
    let names = system.partitions.iter().map(|partition| partition.name.value.as_str());
    let titles: Vec<&str> = std::iter::once("Resource, and what can be told of it").chain(names).collect();
    let rows = html! {
        @for (resource, why) in rows(matrix) {
            tr {
                (head(&resource.name, why))
                @for access in &resource.access { td { (access.word()) } }
            }
        }
    };
    html! {
        (table("Who may change what can be told of a resource, and who may tell", &titles, rows))
        (note(LEGEND))
    }
}

/// The ways between partitions of which the policy permits no flow, resource by resource.
fn ways_table(system: &System, matrix: &Matrix) -> Markup {
    let used = ways(matrix);
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
        @if used.is_empty() { (note(why_no_ways(system.flow.is_some()))) }
        @else {
            (table("What the policy forbids, and may be carried all the same", &["Resource", "Pairs", "#Of one pair, at most"], rows))
            (note(BOUNDS))
        }
    }
}

fn pair(system: &System, path: &CovertPath) -> String {
    format!("{} to {}", partition(system, path.from), partition(system, path.to))
}
