//! What masters share on the board beyond what caches, memory path and devices say: declared resources and settings.

use diagnostic::Located;
use serde::Serialize;

/// What a shared resource is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum SharedKind {
    /// A cache.
    Cache,
    /// The path to memory.
    Interconnect,
    /// What serves requests at a memory.
    MemoryController,
    /// The banks of a memory, with their open rows.
    Banks,
    /// A device.
    Device,
    /// The walks and caches of the I/O memory unit.
    Translation,
    /// The interrupt controller.
    InterruptController,
    /// What keeps the caches of cores coherent.
    Coherency,
    /// Power and heat: one core may slow another.
    Power,
    /// Anything else.
    Other,
}

/// What the integrator says of the interference through a resource.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Closure {
    /// Nothing: it may interfere.
    Open,
    /// What one does there does not reach the others.
    Mitigated,
    /// It reaches the others by no more than is charged to them.
    Bounded,
}

/// One shared resource, as declared.
#[derive(Debug, Clone, Serialize)]
pub struct Shared {
    /// The resource's name; that of a cache, memory or device where it is one.
    pub name: Located<String>,
    /// What it is.
    pub kind: Located<SharedKind>,
    /// Who goes first where several ask at once, in words.
    pub arbiter: Option<Located<String>>,
    /// What is said of the interference through it.
    pub closure: Closure,
    /// By what it is mitigated or bounded, in words.
    pub by: Option<Located<String>>,
    /// Where that can be read.
    pub source: Option<Located<String>>,
    /// The settings that it depends on: indices into those of the board.
    pub settings: Vec<Located<usize>>,
}

/// When somebody looks whether a setting is still as it was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Checked {
    /// Once, at boot.
    Boot,
    /// Again and again.
    Periodic,
}

/// One configuration setting of the board, such as a feature that is switched off.
#[derive(Debug, Clone, Serialize)]
pub struct Setting {
    /// The setting's name.
    pub name: Located<String>,
    /// What it is set to, in words.
    pub value: Located<String>,
    /// The register or fuse that holds it.
    pub register: Option<Located<String>>,
    /// Who sets it.
    pub owner: Option<Located<String>>,
    /// Whether a change nobody meant would take a result away.
    pub critical: bool,
    /// What stands against such a change, in words.
    pub mitigation: Option<Located<String>>,
    /// When somebody looks whether it is still so.
    pub checked: Option<Located<Checked>>,
}
