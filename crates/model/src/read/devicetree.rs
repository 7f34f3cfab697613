//! `[board.devicetree]`, and the devicetree source that it names.

use super::section::{Key, Kind, Section};
use super::source::Loader;
use super::{Context, Document, Fields};
use crate::system::{AddressRange, Devicetree, ReservedMemory, ReservedPlace, TreeMemory};
use devicetree::{Memory, Place, Range};
use diagnostic::{Diagnostics, Located, Sources, Span};
use quantity::{Address, Bytes, PartitionId};

pub(super) static SECTION: Section = Section {
    head: "[board.devicetree]",
    summary: "The devicetree source of the board, against which memory is compared.",
    keys: &[
        Key::required("source", Kind::Text, "The file, relative to this one."),
        Key::optional(
            "user",
            Kind::Ref("partition"),
            "The partition whose system is given the tree and uses all memory that it does not reserve.",
        ),
    ],
};

/// The memory of the tree that a board names; who uses it is not known yet.
pub(super) fn open(root: &Fields, loader: &mut Loader<'_>, out: &mut Diagnostics) -> Option<Devicetree> {
    let path = root.table("board")?.table("devicetree")?.text("source")?;
    let file = loader.named(&path, out)?;
    let text = loader.sources.get(file)?.text.as_str();
    let tree = devicetree::read(text, file, out)?;
    let memory = devicetree::memory(&tree, out)?;
    Some(resolved(memory, &loader.sources))
}

fn resolved(memory: Memory, sources: &Sources) -> Devicetree {
    let line = |span: Span| sources.position(span).line;
    let memories = memory.nodes.into_iter().map(|node| TreeMemory {
        line: line(node.name.span),
        name: node.name,
        ranges: ranges(&node.ranges),
    });
    let reserved = memory.reserved.into_iter().map(|reserved| ReservedMemory {
        line: line(reserved.name.span),
        name: reserved.name,
        labels: reserved.labels,
        place: place(reserved.place),
        no_map: reserved.no_map,
        reusable: reserved.reusable,
    });
    Devicetree { user: None, memories: memories.collect(), reserved: reserved.collect() }
}

fn place(place: Place) -> ReservedPlace {
    match place {
        Place::Fixed(fixed) => ReservedPlace::Fixed(ranges(&fixed)),
        Place::Chosen { size, within, .. } => ReservedPlace::Chosen { size: Bytes::new(size), within: ranges(&within) },
    }
}

fn ranges(ranges: &[Range]) -> Vec<AddressRange> {
    ranges.iter().map(|range| AddressRange { base: Address::new(range.base), size: Bytes::new(range.size) }).collect()
}

/// The memory of the tree with who uses it.
pub(super) fn read(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Devicetree> {
    let user = fields.text("user").and_then(|name| doc.names.partitions.resolve(&name, PartitionId::new, cx));
    Some(Devicetree { user, ..doc.tree.clone()? })
}

/// What of the tree's reserved memory a key names: a node by its name or by a label.
pub(super) fn reserved_as(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Located<usize>> {
    let name = fields.text("reserved_as")?;
    doc.tree.as_ref()?;
    match doc.reserved(&name.value) {
        Some(index) => Some(Located::new(index, name.span)),
        None => {
            doc.names.reserved.report_unknown(&name, cx);
            None
        }
    }
}
