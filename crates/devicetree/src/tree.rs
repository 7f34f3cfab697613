//! A tree whose references have become bytes.

use diagnostic::{Located, Span};

/// A node of one tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct NodeId(pub(crate) usize);

/// A whole tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tree {
    /// The nodes; the first is the root, and every other one comes after its parent.
    pub(crate) nodes: Vec<Node>,
    /// The memory reservations at the head of the file.
    pub reservations: Vec<Reservation>,
}

/// One node.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Node {
    /// Its name with its unit address; empty for the root.
    pub name: Located<String>,
    /// Its labels.
    pub labels: Vec<String>,
    /// Its properties in the order of the file.
    pub properties: Vec<Property>,
    /// The nodes below it in the order of the file.
    pub children: Vec<NodeId>,
    /// The node above it; `None` for the root.
    pub parent: Option<NodeId>,
}

/// One property.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Property {
    /// Its name.
    pub name: Located<String>,
    /// Its value as the flattened tree holds it; numbers are big-endian.
    pub bytes: Vec<u8>,
    /// The place of the value.
    pub value: Span,
}

/// One `/memreserve/` of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reservation {
    /// The first address.
    pub base: u64,
    /// The size.
    pub size: u64,
    /// The place of the whole statement.
    pub place: Span,
}

impl Tree {
    /// The root.
    pub const fn root(&self) -> NodeId {
        NodeId(0)
    }

    /// The node behind an id of this tree.
    pub fn node(&self, id: NodeId) -> &Node {
        &self.nodes[id.0]
    }

    /// Every node, each behind its parent.
    pub fn ids(&self) -> impl Iterator<Item = NodeId> + use<> {
        (0..self.nodes.len()).map(NodeId)
    }

    /// The path of a node from the root, such as `/soc/serial@4600`; `/` for the root.
    pub fn path(&self, id: NodeId) -> String {
        path(id.0, |id| self.nodes[id].parent.map(|parent| (self.nodes[id].name.value.as_str(), parent.0)))
    }
}

/// The names from the root down to a node, of which `above` gives its name and the node above it; `/` for the root.
pub(crate) fn path<'n>(id: usize, above: impl Fn(usize) -> Option<(&'n str, usize)>) -> String {
    let mut names = Vec::new();
    let mut at = id;
    while let Some((name, parent)) = above(at) {
        names.push(name);
        at = parent;
    }
    names.reverse();
    format!("/{}", names.join("/"))
}

impl Node {
    /// The property of that name.
    pub fn property(&self, name: &str) -> Option<&Property> {
        self.properties.iter().find(|property| property.name.value == name)
    }

    /// The name without the unit address.
    pub fn base_name(&self) -> &str {
        self.name.value.split_once('@').map_or(&self.name.value, |(name, _)| name)
    }

    /// Whether the node is there at all: its `status` is not given, or okay (section 2.3.4; `ok` is an older spelling).
    pub fn is_okay(&self) -> bool {
        self.property("status").and_then(Property::text).is_none_or(|status| ["okay", "ok"].contains(&status))
    }
}

impl Property {
    /// The value, where it is one text.
    pub fn text(&self) -> Option<&str> {
        let (last, text) = self.bytes.split_last()?;
        let text = std::str::from_utf8(text).ok()?;
        (*last == 0 && !text.contains('\0')).then_some(text)
    }
}
