//! The plan: windows of every module schedule, memory map, cache ways, page colours, banks, bandwidth budgets.
//!
//! A plan is written by the planner or by hand; nobody trusts either, so the same checks judge both.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod read;
mod windows;
mod write;

pub use model::system::Placed;
pub use read::{key_tables, read_plan};
pub use windows::{CoreTable, MergedWindow, ScheduleTable, Window};
pub use write::write_plan;

use diagnostic::{Located, Span};
use model::Digest;
use quantity::{Address, Bytes, CacheId, CoreId, MemoryId, PartitionId, Rate};

/// A whole plan, its names resolved against one system.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plan {
    /// The digest of the system that it was made for, where it says so.
    pub made_for: Option<Located<Digest>>,
    /// One table for each module schedule of the system that has windows, in the system's order.
    pub schedules: Vec<ScheduleTable>,
    /// Where memory lies.
    pub memory: Vec<Placement>,
    /// Cache ways.
    pub cache: Vec<WayGrant>,
    /// Page colours of caches and banks of memories.
    pub colours: Vec<ColourGrant>,
    /// Bandwidth budgets.
    pub bandwidth: Vec<BandwidthBudget>,
}

/// A range of memory given to somebody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placement {
    /// To whom.
    pub what: Placed,
    /// The first address.
    pub base: Address,
    /// The size.
    pub size: Bytes,
    /// Whether the planner must leave it where it is.
    pub pinned: bool,
    /// The place in the plan file; `None` in a plan that was never text.
    pub span: Option<Span>,
}

/// Who gets cache ways.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WayHolder {
    /// Everything on a core.
    Core(CoreId),
    /// One partition.
    Partition(PartitionId),
}

/// Ways of a cache given to somebody, as a mask: bit `n` is way `n`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WayGrant {
    /// The cache.
    pub cache: CacheId,
    /// To whom.
    pub holder: WayHolder,
    /// The mask.
    pub mask: u64,
    /// The place in the plan file.
    pub span: Option<Span>,
}

/// What can be shared out by choosing pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Coloured {
    /// The sets of a cache, by page colours.
    Cache(CacheId),
    /// The banks of a memory.
    Banks(MemoryId),
}

/// Page colours of a cache, or banks of a memory, given to a partition: its memory is put together of pages of these only.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColourGrant {
    /// Of what.
    pub of: Coloured,
    /// To whom.
    pub partition: PartitionId,
    /// The colours or banks from 0, in rising order.
    pub colours: Vec<u32>,
    /// The place in the plan file.
    pub span: Option<Span>,
}

impl ColourGrant {
    /// The first and the last colour of each run of them.
    pub fn runs(&self) -> impl Iterator<Item = (u32, u32)> {
        write::runs(&self.colours)
    }

    /// The colours as a plan writes them, such as `0,2,5-7`.
    pub fn words(&self) -> String {
        write::ranges(&self.colours)
    }
}

/// The rate that a master may move memory at, kept in every regulation period.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandwidthBudget {
    /// The master: an index into the interconnect's masters.
    pub master: usize,
    /// The budget.
    pub budget: Rate,
    /// The place in the plan file.
    pub span: Option<Span>,
}

impl Plan {
    /// The same plan as if it had never been text: two plans that say the same are then equal.
    #[must_use]
    pub fn without_places(&self) -> Self {
        let mut plan = self.clone();
        plan.made_for = plan.made_for.map(|digest| Located::new(digest.value, Span::NOWHERE));
        let cores = plan.schedules.iter_mut().flat_map(|table| &mut table.cores);
        cores.flat_map(|core| &mut core.windows).for_each(|window| window.span = None);
        plan.memory.iter_mut().for_each(|place| place.span = None);
        plan.cache.iter_mut().for_each(|grant| grant.span = None);
        plan.colours.iter_mut().for_each(|grant| grant.span = None);
        plan.bandwidth.iter_mut().for_each(|budget| budget.span = None);
        plan
    }
}
