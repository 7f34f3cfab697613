//! The board: cores, caches, memory, interconnect, devices.

use super::{Devicetree, Placed, Setting, Shared};
use diagnostic::Located;
use quantity::{Address, Bytes, CoreId, MemoryId, PartitionId, Rate};
use serde::Serialize;

/// One computing board.
#[derive(Debug, Clone, Serialize)]
pub struct Board {
    /// The board's name.
    pub name: Located<String>,
    /// The width of a physical address in bits, 64 where not declared.
    pub address_bits: u32,
    /// The cores in file order; at least one.
    pub cores: Vec<Core>,
    /// The caches.
    pub caches: Vec<Cache>,
    /// The memory regions of the address map.
    pub memories: Vec<Memory>,
    /// The path to memory and who competes on it.
    pub interconnect: Option<Interconnect>,
    /// The devices.
    pub devices: Vec<Device>,
    /// What else is shared, or what is known of what is.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub shared: Vec<Shared>,
    /// The configuration settings that results depend on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub settings: Vec<Setting>,
    /// What the board's devicetree says of its memory, where one is named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub devicetree: Option<Devicetree>,
}

/// One core.
#[derive(Debug, Clone, Serialize)]
pub struct Core {
    /// The core's name as claims and tables show it, such as `0`.
    pub name: Located<String>,
    /// The clock in hertz, where declared.
    pub clock_hz: Option<u64>,
    /// Whether the core is in use at all.
    pub active: bool,
}

/// One cache.
#[derive(Debug, Clone, Serialize)]
pub struct Cache {
    /// The cache's name.
    pub name: Located<String>,
    /// Its level, from 1.
    pub level: u32,
    /// Its whole size: ways times sets times line.
    pub size: Located<Bytes>,
    /// The number of ways.
    pub ways: Located<u32>,
    /// The slices that addresses are hashed over; one where not declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slices: Option<u32>,
    /// The size of one line.
    pub line: Located<Bytes>,
    /// The cores that use it; one for a private cache.
    pub cores: Vec<CoreId>,
    /// Whether its ways can be given to cores or partitions apart.
    pub partitionable: bool,
    /// Whether it is shared out by the colours of pages; where so, it says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coloured: Option<bool>,
}

/// One range of the address map that is memory.
#[derive(Debug, Clone, Serialize)]
pub struct Memory {
    /// The region's name.
    pub name: Located<String>,
    /// The first address.
    pub base: Located<Address>,
    /// The size.
    pub size: Located<Bytes>,
    /// The smallest unit in which access rights can be set.
    pub granule: Bytes,
    /// Whether partitions may be placed here (RAM), or not (flash, registers).
    pub placeable: bool,
    /// What chooses the bank: bit `n` of its number is the parity of the address bits of mask `n`. None where not declared.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub bank_masks: Vec<u64>,
    /// Whether its banks are given out by pages; where so, it says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coloured: Option<bool>,
}

impl Memory {
    /// The most address bits that may choose the bank together: a plan numbers no more banks than these make.
    pub const MOST_BANK_BITS: usize = 16;

    /// The number of its banks; one where nothing is declared of them.
    pub const fn banks(&self) -> u64 {
        1 << self.bank_masks.len()
    }

    /// The bank that an address lies in.
    pub fn bank_of(&self, address: u64) -> u64 {
        let bits = self.bank_masks.iter().enumerate();
        bits.fold(0, |bank, (bit, mask)| bank | u64::from((address & mask).count_ones() % 2) << bit)
    }
}

/// How masters take turns at the memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Arbitration {
    /// Each master in turn, one outstanding line request each.
    RoundRobin,
}

/// Which bound on the waiting for memory judges response times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Waiting {
    /// Each line request waits for one of every other master, whatever these do.
    RequestDriven,
    /// Besides, nobody waits longer for a master than that can ask in the time: in windows that overlap, within its
    /// budget, with the jobs that it has.
    WindowOverlap,
}

/// The path to memory.
#[derive(Debug, Clone, Serialize)]
pub struct Interconnect {
    /// The bytes moved by one line request.
    pub line: Located<Bytes>,
    /// The rate that the memory keeps up in the worst case.
    pub guaranteed: Located<Rate>,
    /// The rate on the data sheet, which bounds the guaranteed one and judges nothing else.
    pub peak: Option<Located<Rate>>,
    /// How masters take turns.
    pub arbitration: Located<Arbitration>,
    /// Which bound on the waiting judges; the request-driven one where not declared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub waiting: Option<Located<Waiting>>,
    /// Everything that can ask for a line. One that is not listed voids every interference bound.
    pub masters: Vec<Master>,
}

/// Something that can ask for memory lines.
#[derive(Debug, Clone, Serialize)]
pub struct Master {
    /// The master's name.
    pub name: Located<String>,
    /// The core, where the master is one.
    pub core: Option<CoreId>,
}

/// One device.
#[derive(Debug, Clone, Serialize)]
pub struct Device {
    /// The device's name.
    pub name: Located<String>,
    /// The partition that owns it, where one does.
    pub owner: Option<Located<PartitionId>>,
    /// The partitions that share it through a declared service of the owner.
    pub shared_with: Vec<Located<PartitionId>>,
    /// What the owner lets through of what those ask that share it, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service: Option<Located<String>>,
    /// Its register range.
    pub registers: Option<(Located<Address>, Located<Bytes>)>,
    /// The name of its stream at the I/O memory unit, where it moves memory by itself.
    pub dma_stream: Option<Located<String>>,
    /// The rate at which it moves memory by itself.
    pub dma_rate: Option<Located<Rate>>,
    /// The most that it asks for at once: in any time no more than this and its rate through that time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dma_burst: Option<Located<Bytes>>,
    /// The widest address it can form, in bits.
    pub dma_address_bits: Option<u32>,
    /// The memory of the board that its stream reaches whole, where it reaches any.
    pub memory: Option<MemoryId>,
    /// The placed memory that its stream reaches: partitions' RAM and regions.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reaches: Vec<Located<Placed>>,
    /// The rate the device itself can carry.
    pub capacity: Option<Located<Rate>>,
    /// Its interrupts.
    pub interrupts: Vec<Interrupt>,
}

impl Device {
    /// Whether it moves memory by itself.
    pub const fn moves_memory(&self) -> bool {
        self.dma_stream.is_some() || self.dma_rate.is_some()
    }
}

/// What happens to an interrupt that comes outside its owner's windows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum InterruptPolicy {
    /// It is kept until the owner's window; nobody loses time.
    Pended,
    /// It is handled at once and takes the time from whoever runs.
    Immediate,
}

/// One interrupt line of a device.
#[derive(Debug, Clone, Serialize)]
pub struct Interrupt {
    /// The line's number or name.
    pub line: Located<String>,
    /// The core it is routed to, where declared.
    pub core: Option<Located<CoreId>>,
    /// What happens outside the owner's windows.
    pub policy: Option<Located<InterruptPolicy>>,
    /// The least time between two of them.
    pub min_interarrival: Option<Located<quantity::Duration>>,
    /// The time that the handler takes.
    pub handler: Option<Located<quantity::Duration>>,
}
