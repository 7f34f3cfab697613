//! The board's devicetree against the file and the plan.
//!
//! Computes: the differences between the memory that the tree tells and the memory that the file declares; for everything that
//! the tree reserves, whether the plan places its owner there and nobody else; where a partition's system is given the tree,
//! which placements of others it would take for its own.
//! Source: Devicetree Specification v0.4, sections 3.4 (memory), 3.5 (reserved memory) and 5.3 (memory reservations).
//! Assumptions: the tree is the one that the board starts with.
//! Symbols: ranges are half-open, their ends in 128 bits.
//! Invariants and why it ends: every reserved range is compared once with every placement.
//! Differs from the source: it asks nothing of those who read a tree; that a name stands for a region of the file is ours.
//! Checked by: trees made by hand; the survey vessel's tree, and one region of it moved; the reader by an outside compiler.

use crate::facts::{Claim, Found, basis};
use crate::names::placed_name;
use crate::range::{Range, without, words};
use claim::{Assumption, Kind, Verdict};
use diagnostic::Span;
use model::System;
use model::system::{Devicetree, Memory, Placed, ReservedMemory, ReservedPlace, TreeMemory};
use plan::{Placement, Plan};
use quantity::PartitionId;

/// One verdict for every memory on either side, everything reserved, and every placement that has to be.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let Some(tree) = &system.board.devicetree else { return Vec::new() };
    let all = Tree { system, plan, tree };
    let declared = system.board.memories.iter().filter(|memory| memory.placeable).map(|memory| all.declared(memory));
    let told = tree.memories.iter().map(|memory| all.told(memory));
    let reserved = (0..tree.reserved.len()).map(|index| all.reserved(index));
    let user = tree.user.as_ref().map(|user| user.value);
    let placed = user.into_iter().flat_map(|user| all.unreserved(user));
    declared.chain(told).chain(reserved).chain(placed).collect()
}

struct Tree<'a> {
    system: &'a System,
    plan: &'a Plan,
    tree: &'a Devicetree,
}

/// For whom the tree reserves: who says so, or else the one that its node or a label is named after. A reservation at the head of
/// the file that repeats what a node reserves is for the owner of that node.
pub fn reserved_for(system: &System, tree: &Devicetree, index: usize) -> Option<Placed> {
    let of_nodes = || (0..tree.reserved.len()).filter(|other| is_node(&tree.reserved[*other]));
    let repeated = |other: &usize| {
        let (own, theirs) = (fixed(&tree.reserved[index].place), fixed(&tree.reserved[*other].place));
        !own.is_empty() && without(&own, &theirs).is_empty()
    };
    let of_repeated = || of_nodes().find(repeated).and_then(|other| named_for(system, &tree.reserved[other], other));
    let reserved = &tree.reserved[index];
    named_for(system, reserved, index).or_else(|| if is_node(reserved) { None } else { of_repeated() })
}

/// What is reserved at given addresses for nobody in the file, by the names of the nodes.
pub(crate) fn reserved_for_nobody(system: &System) -> impl Iterator<Item = (String, Range)> + '_ {
    let nodes = system.board.devicetree.iter().flat_map(move |tree| {
        let all = tree.reserved.iter().enumerate();
        all.filter(move |(index, _)| reserved_for(system, tree, *index).is_none()).map(|(_, reserved)| reserved)
    });
    nodes.flat_map(|reserved| fixed(&reserved.place).into_iter().map(|range| (reserved.name.value.clone(), range)))
}

/// Who says that this is reserved for it, or else whom the node or a label is named after.
fn named_for(system: &System, reserved: &ReservedMemory, index: usize) -> Option<Placed> {
    let partitions = system.partition_ids().map(|id| {
        let partition = system.partition(id);
        (Placed::Partition(id), &partition.name.value, partition.reserved_as)
    });
    let regions = system.regions.iter().enumerate();
    let regions = regions.map(|(at, region)| (Placed::Region(at), &region.name.value, region.reserved_as));
    let all: Vec<_> = partitions.chain(regions).collect();
    let said = all.iter().find(|(_, _, node)| node.is_some_and(|node| node.value == index));
    let base = reserved.name.value.split('@').next().unwrap_or_default();
    let is_namesake = |name: &str| {
        let name = as_node(name);
        name == as_node(base) || reserved.labels.iter().any(|label| as_node(label) == name)
    };
    said.or_else(|| all.iter().find(|(_, name, node)| node.is_none() && is_namesake(name))).map(|(what, ..)| *what)
}

/// Whether a node reserves it, and not the head of the file.
fn is_node(reserved: &ReservedMemory) -> bool {
    !reserved.name.value.starts_with("memreserve@")
}

fn claim(subject: String, place: Span) -> Claim {
    let basis = basis("devicetree", "Devicetree Specification v0.4, 3.4, 3.5, 5.3", vec![Assumption::MapEnforced]);
    Claim { kind: Kind::Memory, subject: format!("tree/{subject}"), place, basis }
}

fn fixed(place: &ReservedPlace) -> Vec<Range> {
    match place {
        ReservedPlace::Fixed(ranges) => ranges.iter().map(Range::from).collect(),
        ReservedPlace::Chosen { .. } => Vec::new(),
    }
}

impl Tree<'_> {
    /// All memory that the tree tells.
    fn memory(&self) -> Vec<Range> {
        self.tree.memories.iter().flat_map(|memory| &memory.ranges).map(Range::from).collect()
    }

    /// Memory of the file that the tree does not have.
    fn declared(&self, memory: &Memory) -> Verdict {
        let missing = without(&[Range::new(memory.base.value, memory.size.value)], &self.memory());
        let fault = || format!("the devicetree has no memory where `{}` has {}", memory.name.value, words(&missing));
        let faults = (!missing.is_empty()).then(fault);
        let found = Found { faults: faults.into_iter().collect(), remarks: Vec::new() };
        claim(format!("board/{}", memory.name.value), memory.name.span).judged(found)
    }

    /// Memory of the tree that the file does not declare.
    fn told(&self, memory: &TreeMemory) -> Verdict {
        let board = &self.system.board.memories;
        let board: Vec<_> = board.iter().map(|memory| Range::new(memory.base.value, memory.size.value)).collect();
        let ranges: Vec<_> = memory.ranges.iter().map(Range::from).collect();
        let missing = without(&ranges, &board);
        let fault = || {
            let (name, line) = (&memory.name.value, memory.line);
            format!("no [[board.memory]] declares {} of `{name}` (line {line} of the tree)", words(&missing))
        };
        let faults = (!missing.is_empty()).then(fault);
        let found = Found { faults: faults.into_iter().collect(), remarks: Vec::new() };
        claim(format!("memory/{}", memory.name.value), memory.name.span).judged(found)
    }

    fn reserved(&self, index: usize) -> Verdict {
        let reserved = &self.tree.reserved[index];
        let owner = reserved_for(self.system, self.tree, index);
        let mine: Vec<&Placement> = self.plan.memory.iter().filter(|place| Some(place.what) == owner).collect();
        let place = mine.first().and_then(|place| place.span).unwrap_or(reserved.name.span);
        let claim = claim(format!("reserved/{}", reserved.name.value), place);
        match &reserved.place {
            ReservedPlace::Fixed(_) => match owner {
                Some(owner) if mine.is_empty() => {
                    claim.unknown(format!("the plan places nothing for `{}`", self.name(owner)))
                }
                _ => claim.judged(self.at_fixed(index, owner, &mine)),
            },
            ReservedPlace::Chosen { .. } => self.at_chosen(claim, reserved, &mine),
        }
    }

    fn name(&self, what: Placed) -> String {
        placed_name(self.system, &what)
    }

    /// Where a place is given: it is the owner's, whole, and nobody else's.
    fn at_fixed(&self, index: usize, owner: Option<Placed>, mine: &[&Placement]) -> Found {
        let reserved = &self.tree.reserved[index];
        let ranges = fixed(&reserved.place);
        let mut found = Found::default();
        if let Some(owner) = owner {
            found.faults.extend(moved(&self.name(owner), reserved, &ranges, mine));
        }
        let others = self.plan.memory.iter().filter(|place| Some(place.what) != owner);
        found.faults.extend(others.filter_map(|other| self.taken(reserved, &ranges, other)));
        found.faults.extend(self.reserved_twice(index, &ranges));
        match owner {
            Some(owner) => found.remarks.push(format!("it is for `{}`", self.name(owner))),
            None => found.remarks.push("the plan places nothing there".to_owned()),
        }
        found
    }

    /// A placement of somebody else within what is reserved.
    fn taken(&self, reserved: &ReservedMemory, ranges: &[Range], other: &Placement) -> Option<String> {
        let theirs = Range::from(other);
        let shared: Vec<_> = without(&[theirs], &without(&[theirs], ranges));
        let how = if reserved.no_map { "reserved and must not be mapped" } else { "reserved" };
        let line = reserved.line;
        let fault = || format!("{} of `{}` are {how} (line {line} of the tree)", words(&shared), self.name(other.what));
        (!shared.is_empty()).then(fault)
    }

    /// Other nodes that reserve the same bytes. A reservation at the head of the file may repeat one, for old boot loaders.
    fn reserved_twice(&self, index: usize, ranges: &[Range]) -> Vec<String> {
        let others = self.tree.reserved.iter().enumerate().filter(|(other, _)| *other != index);
        let nodes = others.filter(|(_, other)| is_node(other) && is_node(&self.tree.reserved[index]));
        let shared = nodes.map(|(_, other)| {
            let theirs = fixed(&other.place);
            (other, without(&theirs, &without(&theirs, ranges)))
        });
        let shared = shared.filter(|(_, shared)| !shared.is_empty());
        shared
            .map(|(other, shared)| {
                format!("`{}` (line {}) reserves {} too", other.name.value, other.line, words(&shared))
            })
            .collect()
    }

    /// Where a place is chosen at boot: everything that may be chosen is clear of the plan.
    fn at_chosen(&self, claim: Claim, reserved: &ReservedMemory, mine: &[&Placement]) -> Verdict {
        let ReservedPlace::Chosen { size, within } = &reserved.place else { return claim.judged(Found::default()) };
        let line = reserved.line;
        if let Some(place) = mine.first() {
            let (name, base) = (self.name(place.what), place.base);
            let fault =
                format!("the plan places `{name}` at {base}, the tree (line {line}) lets its place be chosen at boot");
            return claim.judged(Found { faults: vec![fault], remarks: Vec::new() });
        }
        let whole = if within.is_empty() { self.memory() } else { within.iter().map(Range::from).collect() };
        let taken: Vec<_> = self.tree.reserved.iter().flat_map(|other| fixed(&other.place)).collect();
        let left = without(&whole, &taken);
        if left.iter().all(|range| range.size() < *size) {
            let fault = format!("{size} fit nowhere into what the tree (line {line}) lets it be chosen from");
            return claim.judged(Found { faults: vec![fault], remarks: Vec::new() });
        }
        let meets = |place: &&Placement| left.iter().any(|range| range.shared_bytes(Range::from(*place)) > 0);
        match self.plan.memory.iter().find(meets) {
            None => claim.judged(Found::default()),
            Some(met) => {
                let name = self.name(met.what);
                let mend =
                    format!("reserve `{name}` in the tree too, or give `alloc-ranges` that are clear of the plan");
                claim.open(format!(
                    "{size} are chosen at boot (line {line} of the tree) and may lie over `{name}`: {mend}"
                ))
            }
        }
    }

    /// Placements of others that the user of the tree takes for free memory.
    fn unreserved(&self, user: PartitionId) -> Vec<Verdict> {
        let kept = self.tree.reserved.iter().filter(|reserved| !reserved.reusable);
        let kept: Vec<_> = kept.flat_map(|reserved| fixed(&reserved.place)).collect();
        let free = without(&self.memory(), &kept);
        let others = self.plan.memory.iter().filter(|place| place.what != Placed::Partition(user));
        let user = &self.system.partition(user).name.value;
        let verdict = |place: &Placement| {
            let mine = Range::from(place);
            let open = without(&[mine], &without(&[mine], &free));
            let fault = || format!("`{user}` is given the tree and uses {}, which it does not reserve", words(&open));
            let faults = (!open.is_empty()).then(fault).into_iter().collect();
            let name = self.name(place.what);
            claim(format!("placed/{name}"), place.span.unwrap_or(Span::NOWHERE))
                .judged(Found { faults, remarks: Vec::new() })
        };
        others.map(verdict).collect()
    }
}

/// The owner's place differs from what is reserved for it, or what is reserved is not its own.
fn moved(owner: &str, reserved: &ReservedMemory, ranges: &[Range], mine: &[&Placement]) -> Vec<String> {
    let placed: Vec<_> = mine.iter().map(|place| Range::from(*place)).collect();
    let differs = !without(&placed, ranges).is_empty() || !without(ranges, &placed).is_empty();
    let line = reserved.line;
    let words = || {
        format!("the tree (line {line}) reserves {}, the plan places `{owner}` at {}", words(ranges), words(&placed))
    };
    let reused = || format!("it is `reusable` (line {line} of the tree), so others use the memory of `{owner}`");
    differs.then(words).into_iter().chain(reserved.reusable.then(reused)).collect()
}

/// A name as nodes are named: small letters and digits, with `-` between them.
fn as_node(name: &str) -> String {
    name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect()
}
