//! Elements and numbers in words.

use model::System;
use model::system::Placed;

/// The name of what is placed.
pub(crate) fn placed_name(system: &System, what: &Placed) -> String {
    match what {
        Placed::Partition(id) => system.partition(*id).name.value.clone(),
        Placed::Region(index) => system.regions[*index].name.value.clone(),
    }
}

/// So many of a thing.
pub(crate) fn counted(number: u64, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}
