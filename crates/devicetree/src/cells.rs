//! How many cells addresses and sizes take below a node, and values read by them.
//!
//! Section 2.3.5: a node's `#address-cells` and `#size-cells` are for its children, are not handed down further, and are 2 and 1
//! where they are not given.

use crate::tree::{NodeId, Property, Tree};
use diagnostic::Diagnostic;
use diagnostic::codes::devicetree::TREE_CELLS;

/// The widths that a node declares for its children, in cells of 32 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Cells {
    pub address: usize,
    pub size: usize,
}

/// A fault of a tree that is well-formed.
pub(crate) type Found<T> = Result<T, Box<Diagnostic>>;

/// Numbers wider than this are more than 64 bits.
const MOST_CELLS: u32 = 2;

pub(crate) fn cells(tree: &Tree, id: NodeId) -> Found<Cells> {
    Ok(Cells { address: width(tree, id, "#address-cells", 2)?, size: width(tree, id, "#size-cells", 1)? })
}

fn width(tree: &Tree, id: NodeId, name: &str, otherwise: usize) -> Found<usize> {
    let Some(property) = tree.node(id).property(name) else { return Ok(otherwise) };
    let width = property.bytes[..].try_into().map(u32::from_be_bytes).ok().filter(|width| *width <= MOST_CELLS);
    width.and_then(|width| usize::try_from(width).ok()).ok_or_else(|| {
        let message = format!("`{name}` of {} is no cell of 0, 1 or 2", tree.path(id));
        let help = "addresses and sizes of memory have at most 64 bits: write such as <2>";
        Box::new(Diagnostic::new(&TREE_CELLS, property.value, message).help(help))
    })
}

/// The value as entries, each of numbers of these widths; a fault where a piece is left over.
pub(crate) fn entries<const N: usize>(property: &Property, widths: [usize; N]) -> Found<Vec<[u64; N]>> {
    let cells: usize = widths.iter().sum();
    let bytes = &property.bytes;
    if cells == 0 || bytes.is_empty() || !bytes.len().is_multiple_of(cells * 4) {
        let words: Vec<_> = widths.iter().map(usize::to_string).collect();
        let message = format!(
            "`{}` is {} bytes, and each entry is {} cells of 4 bytes",
            property.name.value,
            bytes.len(),
            words.join(" + ")
        );
        let help = "write whole entries, or correct `#address-cells` and `#size-cells` of the node above";
        return Err(Box::new(Diagnostic::new(&TREE_CELLS, property.value, message).help(help)));
    }
    Ok(bytes.chunks(cells * 4).map(|entry| numbers(entry, widths)).collect())
}

fn numbers<const N: usize>(entry: &[u8], widths: [usize; N]) -> [u64; N] {
    let mut rest = entry;
    widths.map(|width| {
        let (number, after) = rest.split_at(width * 4);
        rest = after;
        number.iter().fold(0, |value, byte| value << 8 | u64::from(*byte))
    })
}
