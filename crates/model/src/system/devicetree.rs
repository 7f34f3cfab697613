//! What the devicetree of the board says of its memory.

use diagnostic::Located;
use quantity::{Address, Bytes, PartitionId};
use serde::Serialize;

/// The memory of the board as its devicetree tells it.
#[derive(Debug, Clone, Serialize)]
pub struct Devicetree {
    /// The partition whose system is given the tree and uses all memory that it does not reserve; the hypervisor where not declared.
    pub user: Option<Located<PartitionId>>,
    /// The memory nodes.
    pub memories: Vec<TreeMemory>,
    /// What is reserved of the memory.
    pub reserved: Vec<ReservedMemory>,
}

/// One memory node.
#[derive(Debug, Clone, Serialize)]
pub struct TreeMemory {
    /// Its path without the first slash; its place is in the devicetree source.
    pub name: Located<String>,
    /// The line of the source, from 1.
    #[serde(skip)]
    pub line: u32,
    /// Where there is memory.
    pub ranges: Vec<AddressRange>,
}

/// A range of addresses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct AddressRange {
    /// The first address.
    pub base: Address,
    /// The size.
    pub size: Bytes,
}

/// One piece of memory that is kept from ordinary use.
#[derive(Debug, Clone, Serialize)]
pub struct ReservedMemory {
    /// The name of its node; its place is in the devicetree source.
    pub name: Located<String>,
    /// The labels of its node.
    pub labels: Vec<String>,
    /// The line of the source, from 1.
    #[serde(skip)]
    pub line: u32,
    /// Where it is.
    pub place: ReservedPlace,
    /// Whether a system that is given the tree must not even map it.
    pub no_map: bool,
    /// Whether such a system may use it while its owner does not.
    pub reusable: bool,
}

/// Where reserved memory is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum ReservedPlace {
    /// At addresses that are given.
    Fixed(Vec<AddressRange>),
    /// Wherever the system that is given the tree puts it at boot.
    Chosen {
        /// The size.
        size: Bytes,
        /// The ranges that it is chosen in; anywhere in the memory where there are none.
        within: Vec<AddressRange>,
    },
}
