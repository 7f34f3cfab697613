//! Banks of the memory that partitions lie in.
//!
//! Computes: for the memory whose banks are to be given out, disjoint runs of banks: one for all partitions of a core, which take
//! turns, and one for each partition of several cores; at least one bank each, the others by line requests, by largest remainder.
//! With them, how large a range must be of which only the pages in these banks are used.
//! Source: Yun, Mancuso, Wu, Pellizzoni, RTAS 2014 (from memory), of banks by core; the size of a range by plain linear algebra.
//! Assumptions: a partition with windows runs where these are, another one wherever its core set or the board lets it.
//! Symbols: of the pages of an aligned block each bank has equally many, if the bits that choose within it make every bank.
//! Checked by: the planner's tests, which let the checks judge the plan and look at every page.

use crate::answer::Report;
use crate::cache::{apportion, weight};
use crate::colours::{Spread, groups};
use model::System;
use model::system::Memory;
use plan::{ColourGrant, Coloured, Plan};
use quantity::{CoreId, MemoryId, PartitionId};

/// The banks of all partitions; `plan` holds the windows, `on_core` is as in the bandwidth budgets, `colours` what is given of caches.
pub(crate) fn bank_grants(
    system: &System,
    plan: &Plan,
    on_core: &[Vec<(PartitionId, u32)>],
    colours: &[ColourGrant],
    report: &mut Report,
) -> (Vec<ColourGrant>, Vec<Spread>) {
    let (mut grants, mut spreads) = (Vec::new(), Vec::new());
    let Some((id, memory)) = the_memory(system, colours, report) else { return (grants, spreads) };
    let cores: Vec<CoreId> = (0..system.board.cores.len()).map(CoreId::new).collect();
    let groups = groups(system, plan, on_core, &cores);
    let (banks, wanted) = (memory.banks(), groups.len() as u64);
    if wanted > banks {
        report.open(format!(
            "those who may run at once ask for {wanted} banks of memory {}, one each, it has {banks}",
            memory.name.value
        ));
        return (grants, spreads);
    }
    let weights: Vec<u128> = groups.iter().map(|group| weight(system, &group.here)).collect();
    let shares = apportion(banks - wanted, &vec![1; groups.len()], &weights);
    let block = Block::of(memory);
    let mut first = 0;
    for (group, own) in groups.iter().zip(shares) {
        // At most 2^16 banks, as the system file is held to.
        let colours: Vec<u32> = (first..first + own).map(|bank| bank as u32).collect();
        let grant = |id_of: &PartitionId| ColourGrant {
            of: Coloured::Banks(id),
            partition: *id_of,
            colours: colours.clone(),
            span: None,
        };
        grants.extend(group.partitions.iter().map(grant));
        spreads.extend(group.partitions.iter().map(|id| block.spread(*id, own, memory)));
        first += own;
    }
    (grants, spreads)
}

/// The memory of which banks are to be given out, if it can be told who will lie in it and nothing else chooses pages.
fn the_memory<'a>(system: &'a System, colours: &[ColourGrant], report: &mut Report) -> Option<(MemoryId, &'a Memory)> {
    let mut placeable = system.board.memories.iter().enumerate().filter(|(_, memory)| memory.placeable);
    let of_banks = |(_, memory): &(usize, &Memory)| memory.coloured == Some(true);
    let (at, memory) = placeable.clone().find(of_banks)?;
    let name = &memory.name.value;
    if placeable.any(|(other, _)| other != at) {
        report.open(format!(
            "banks of memory {name} are to be given out, and partitions may lie in others too: choose them by hand"
        ));
        return None;
    }
    if let Some(Coloured::Cache(cache)) = colours.first().map(|grant| grant.of) {
        let cache = &system.board.caches[cache.index()].name.value;
        report.open(format!(
            "both the banks of memory {name} and the page colours of cache {cache} are to be given out: choose the banks by hand"
        ));
        return None;
    }
    Some((MemoryId::new(at), memory))
}

/// Neighbouring pages of which each bank has equally many.
struct Block {
    pages: u64,
    of_each: u64,
    /// Whether higher address bits change which pages of the block are whose, so that only whole blocks count.
    is_ragged: bool,
}

impl Block {
    fn of(memory: &Memory) -> Self {
        let page = memory.granule.get().max(1);
        let masks: Vec<u64> = memory.bank_masks.iter().map(|mask| mask / page).collect();
        let below = |bits: u32| masks.iter().map(|mask| mask & ((1 << bits) - 1)).collect::<Vec<_>>();
        // All bits together make every bank: a bit that says what others say is refused with the system file.
        let bits = (0..u64::BITS).find(|bits| are_independent(below(*bits))).unwrap_or(u64::BITS - 1);
        let pages = 1u64 << bits;
        Self { pages, of_each: (pages / memory.banks()).max(1), is_ragged: masks.iter().any(|mask| *mask >= pages) }
    }

    fn spread(&self, partition: PartitionId, banks: u64, memory: &Memory) -> Spread {
        Spread {
            partition,
            own: banks * self.of_each,
            number: self.pages,
            before: if self.is_ragged { self.pages - 1 } else { 0 },
            page: memory.granule,
        }
    }
}

/// Whether none of these masks is the exclusive-or of others.
fn are_independent(mut masks: Vec<u64>) -> bool {
    while let Some(mask) = masks.pop() {
        let Some(bit) = mask.checked_ilog2() else { return false };
        masks.iter_mut().filter(|other| **other >> bit & 1 == 1).for_each(|other| *other ^= mask);
    }
    true
}
