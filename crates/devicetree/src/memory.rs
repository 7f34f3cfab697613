//! What a tree says of memory: where there is some (section 3.4), and what of it is reserved (sections 3.5 and 5.3).

use crate::cells::{Cells, Found, cells, entries};
use crate::tree::{NodeId, Property, Tree};
use diagnostic::codes::devicetree::{TREE_CELLS, TREE_MEMORY_TYPE, TREE_RANGES, TREE_RESERVED};
use diagnostic::{Diagnostic, Diagnostics, Located, Span};

/// The memory of a board, as its tree tells it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Memory {
    /// The memory nodes.
    pub nodes: Vec<MemoryNode>,
    /// What is reserved of it: the children of `/reserved-memory`, then the reservations at the head of the file.
    pub reserved: Vec<Reserved>,
}

/// One memory node.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemoryNode {
    /// Its path without the first slash, and its place.
    pub name: Located<String>,
    /// Its ranges, of which none is empty.
    pub ranges: Vec<Range>,
}

/// A range of addresses, which does not pass 2^64.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// The first address.
    pub base: u64,
    /// The size; above zero.
    pub size: u64,
}

/// One piece of memory that is kept from ordinary use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reserved {
    /// The name of its node with the unit address, and its place.
    pub name: Located<String>,
    /// The labels of its node.
    pub labels: Vec<String>,
    /// Where it is.
    pub place: Place,
    /// Whether an operating system that is given the tree must not even map it.
    pub no_map: bool,
    /// Whether such a system may use it while its owner does not.
    pub reusable: bool,
}

/// Where reserved memory is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// At addresses that are given.
    Fixed(Vec<Range>),
    /// Wherever the system that is given the tree puts it at boot.
    Chosen {
        /// The size.
        size: u64,
        /// What its first address is a multiple of, where given.
        alignment: Option<u64>,
        /// The ranges that it is chosen in; anywhere where there are none.
        within: Vec<Range>,
    },
}

/// Reads the memory nodes and what is reserved. All that is wrong goes to `out`; `None` where an error was found.
pub fn memory(tree: &Tree, out: &mut Diagnostics) -> Option<Memory> {
    let before = out.len();
    let mut memory = Memory::default();
    for id in tree.ids().filter(|id| tree.node(*id).is_okay()) {
        if let Some(node) = memory_node(tree, id, out) {
            memory.nodes.extend(told(node, out));
        }
    }
    let parent =
        tree.node(tree.root()).children.iter().copied().find(|id| tree.node(*id).name.value == "reserved-memory");
    if let Some(parent) = parent {
        memory.reserved.extend(told(reserved(tree, parent, out), out).unwrap_or_default());
    }
    let reservations = tree.reservations.iter().filter(|reservation| reservation.size > 0).map(|reservation| {
        let range = bounded(reservation.base.into(), reservation.size, reservation.place)?;
        let name = Located::new(format!("memreserve@{:x}", reservation.base), reservation.place);
        let place = Place::Fixed(vec![range]);
        Ok(Reserved { name, labels: Vec::new(), place, no_map: false, reusable: false })
    });
    memory.reserved.extend(reservations.filter_map(|reserved| told(reserved, out)));
    let sound = !out.since(before).any(Diagnostic::is_error);
    sound.then_some(memory)
}

/// What was found, or nothing where the fault of it is told.
fn told<T>(found: Found<T>, out: &mut Diagnostics) -> Option<T> {
    found.map_err(|fault| out.push(*fault)).ok()
}

fn fault(code: &'static diagnostic::Code, span: Span, message: String, help: &str) -> Box<Diagnostic> {
    Box::new(Diagnostic::new(code, span, message).help(help))
}

/// A memory node; `None` for any other one.
fn memory_node(tree: &Tree, id: NodeId, out: &mut Diagnostics) -> Option<Found<MemoryNode>> {
    let node = tree.node(id);
    let declared = node.property("device_type").and_then(Property::text);
    let is_named_so = node.parent == Some(tree.root()) && node.base_name() == "memory";
    if declared != Some("memory") && !(declared.is_none() && is_named_so) {
        return None;
    }
    if declared.is_none() {
        let message = format!("{} is taken for memory by its name", tree.path(id));
        let fault = Diagnostic::new(&TREE_MEMORY_TYPE, node.name.span, message);
        out.push(fault.help("add `device_type = \"memory\";`, by which memory is known"));
    }
    let Some(reg) = node.property("reg") else {
        let message = format!("{} has no `reg`", tree.path(id));
        return Some(Err(fault(
            &TREE_CELLS,
            node.name.span,
            message,
            "say where the memory is: `reg = <address size>;`",
        )));
    };
    // The root has no bus above it, and is no memory.
    let bus = node.parent?;
    let name = Located::new(tree.path(id).trim_start_matches('/').to_owned(), node.name.span);
    Some(ranges(tree, bus, reg).map(|ranges| MemoryNode { name, ranges }))
}

/// The ranges of a property of addresses and sizes below `bus`, in addresses of the root.
fn ranges(tree: &Tree, bus: NodeId, property: &Property) -> Found<Vec<Range>> {
    let Cells { address, size } = cells(tree, bus)?;
    let entries = entries(property, [address, size])?;
    // An entry of no size is one that a boot loader is to fill in.
    let filled = entries.into_iter().filter(|[_, size]| *size > 0);
    filled
        .map(|[base, size]| translate(tree, bus, bounded(base.into(), size, property.value)?, property.value))
        .collect()
}

/// A range that ends within 64 bits.
fn bounded(base: u128, size: u64, place: Span) -> Found<Range> {
    match u64::try_from(base) {
        Ok(start) if base + u128::from(size) <= 1 << 64 => Ok(Range { base: start, size }),
        _ => {
            let message = format!("{size:#x} bytes from {base:#x} pass the end of all 64-bit addresses");
            Err(fault(&TREE_RANGES, place, message, "correct the address or the size; are the cells in order?"))
        }
    }
}

/// Section 2.3.8: up from bus to bus, by `ranges`, until the root.
fn translate(tree: &Tree, bus: NodeId, range: Range, place: Span) -> Found<Range> {
    let (mut bus, mut range) = (bus, range);
    while let Some(above) = tree.node(bus).parent {
        let node = tree.node(bus);
        let Some(property) = node.property("ranges") else {
            let message = format!("{} has no `ranges`, so addresses below it are none of the board's", tree.path(bus));
            let fault = Diagnostic::new(&TREE_RANGES, node.name.span, message).also(place, "such an address");
            return Err(Box::new(fault.help("write `ranges;` where they are the same as those above")));
        };
        if !property.bytes.is_empty() {
            range = through(tree, (bus, above), property, range, place)?;
        }
        bus = above;
    }
    Ok(range)
}

/// A range by the one entry of `ranges` that holds it whole.
fn through(
    tree: &Tree,
    (bus, above): (NodeId, NodeId),
    property: &Property,
    range: Range,
    place: Span,
) -> Found<Range> {
    let (below, up) = (cells(tree, bus)?, cells(tree, above)?);
    let entries = entries(property, [below.address, up.address, below.size])?;
    let moved = entries.into_iter().find_map(|[child, parent, size]| {
        let offset = range.base.checked_sub(child)?;
        let is_inside = u128::from(offset) + u128::from(range.size) <= u128::from(size);
        is_inside.then(|| bounded(u128::from(parent) + u128::from(offset), range.size, place))
    });
    let outside = || {
        let message =
            format!("{:#x} bytes from {:#x} lie in no entry of `ranges` of {}", range.size, range.base, tree.path(bus));
        let fault = Diagnostic::new(&TREE_RANGES, place, message).also(property.value, "the ranges");
        Box::new(fault.help("correct the address, or add an entry that holds it whole"))
    };
    moved.ok_or_else(outside)?
}

/// The children of `/reserved-memory`.
fn reserved(tree: &Tree, parent: NodeId, out: &mut Diagnostics) -> Found<Vec<Reserved>> {
    let node = tree.node(parent);
    for needed in ["#address-cells", "#size-cells", "ranges"] {
        if node.property(needed).is_none() {
            let code = if needed == "ranges" { &TREE_RANGES } else { &TREE_CELLS };
            let help = "write `#address-cells`, `#size-cells` as in the root, and `ranges;`";
            return Err(fault(code, node.name.span, format!("/reserved-memory has no `{needed}`"), help));
        }
    }
    let own = cells(tree, parent)?;
    let root = cells(tree, tree.root())?;
    let is_same = node.property("ranges").is_some_and(|ranges| ranges.bytes.is_empty());
    if is_same && own != root {
        let message = format!(
            "/reserved-memory has addresses of {} and sizes of {} cells, the root of {} and {}, and `ranges` says that they are the same",
            own.address, own.size, root.address, root.size
        );
        return Err(fault(&TREE_CELLS, node.name.span, message, "declare the cells of the root"));
    }
    let children = node.children.iter().copied().filter(|child| tree.node(*child).is_okay());
    Ok(children.filter_map(|child| told(one_reserved(tree, parent, child), out)).collect())
}

fn one_reserved(tree: &Tree, parent: NodeId, id: NodeId) -> Found<Reserved> {
    let node = tree.node(id);
    let (no_map, reusable) = (node.property("no-map"), node.property("reusable"));
    if let (Some(no_map), Some(reusable)) = (no_map, reusable) {
        let message = format!("{} is both `no-map` and `reusable`", tree.path(id));
        let fault =
            Diagnostic::new(&TREE_RESERVED, no_map.name.span, message).also(reusable.name.span, "the other one");
        return Err(Box::new(fault.help("what must not be mapped cannot be used by others: keep one of the two")));
    }
    Ok(Reserved {
        name: node.name.clone(),
        labels: node.labels.clone(),
        place: match node.property("reg") {
            Some(reg) => Place::Fixed(ranges(tree, parent, reg)?),
            None => chosen(tree, parent, id)?,
        },
        no_map: no_map.is_some(),
        reusable: reusable.is_some(),
    })
}

/// Memory of which only the size is given.
fn chosen(tree: &Tree, parent: NodeId, id: NodeId) -> Found<Place> {
    let node = tree.node(id);
    let Some(size) = node.property("size") else {
        let message = format!("{} has neither `reg` nor `size`", tree.path(id));
        return Err(fault(&TREE_RESERVED, node.name.span, message, "say where it is by `reg`, or how large by `size`"));
    };
    let number = |property: &Property| -> Found<u64> {
        match entries(property, [cells(tree, parent)?.size])?[..] {
            [[number]] if number > 0 => Ok(number),
            _ => {
                let message = format!("`{}` is no number above zero", property.name.value);
                Err(fault(
                    &TREE_RESERVED,
                    property.value,
                    message,
                    "write one number, of `#size-cells` of /reserved-memory",
                ))
            }
        }
    };
    Ok(Place::Chosen {
        size: number(size)?,
        alignment: node.property("alignment").map(number).transpose()?,
        within: node.property("alloc-ranges").map_or_else(|| Ok(Vec::new()), |within| ranges(tree, parent, within))?,
    })
}
