//! Covert channels at the terminal: the shared-resource matrix, and what the policy forbids and may be carried all the same.

use super::layout::{Align, Page};
use crate::covert::{BOUNDS, LEGEND, NOTHING, largest, rows, ways, why_no_ways};
use crate::dossier::Dossier;
use crate::show::count;
use model::System;
use separation::covert::Resource;

/// The matrix row by row, as it would be wider than a terminal, behind the ways that no policy permits.
pub(super) fn draw(page: &mut Page, dossier: &Dossier) {
    let Some(system) = dossier.system() else { return };
    page.heading("Covert channels: what is forbidden and may be carried");
    let matrix = dossier.covert();
    if matrix.resources.is_empty() {
        return page.paragraph(2, NOTHING);
    }
    let ways = ways(matrix);
    match ways.is_empty() {
        true => page.paragraph(2, why_no_ways(system.flow.is_some())),
        false => {
            let row = |(resource, paths): &(&Resource, Vec<_>)| {
                vec![resource.name.clone(), count(paths.len(), "pair"), largest(paths)]
            };
            page.table(2, &[Align::Left, Align::Right, Align::Right], &ways.iter().map(row).collect::<Vec<_>>());
            page.paragraph(2, BOUNDS);
        }
    }
    page.heading("Shared-resource matrix: who may change and who may tell");
    for (resource, why) in rows(matrix) {
        page.hanging(2, 4, &format!("{}: {}.", resource.name, who(system, resource)));
        if let Some(why) = why {
            page.paragraph(4, &format!("{why}."));
        }
    }
    page.paragraph(2, LEGEND);
}

/// Whoever may do anything, by what it may.
fn who(system: &System, resource: &Resource) -> String {
    let with = |word: &str| {
        let those = system.partitions.iter().zip(&resource.access).filter(|(_, access)| access.word() == word);
        let names: Vec<&str> = those.map(|(partition, _)| partition.name.value.as_str()).collect();
        (!names.is_empty()).then(|| format!("{word} {}", names.join(", ")))
    };
    let parts: Vec<String> = ["RM", "M", "R"].into_iter().filter_map(with).collect();
    if parts.is_empty() { "nobody".to_owned() } else { parts.join("; ") }
}
