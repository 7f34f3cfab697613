//! A tree as it is being read: nodes come in several pieces, are deleted again, and values refer to nodes that come later.

use crate::tree::{Reservation, path};
use diagnostic::{Located, Span};
use indexmap::IndexMap;
use std::collections::BTreeMap;

/// The tree so far. What is deleted keeps its place, which it takes again where it comes back.
#[derive(Debug)]
pub(crate) struct Draft {
    pub nodes: Vec<DraftNode>,
    pub labels: BTreeMap<String, Located<usize>>,
    pub reservations: Vec<Reservation>,
}

#[derive(Debug)]
pub(crate) struct DraftNode {
    pub name: Located<String>,
    pub labels: Vec<String>,
    pub properties: IndexMap<String, Option<DraftProperty>>,
    pub children: IndexMap<String, usize>,
    pub parent: Option<usize>,
    pub deleted: bool,
}

#[derive(Debug)]
pub(crate) struct DraftProperty {
    pub name: Located<String>,
    pub parts: Vec<Part>,
    pub value: Span,
}

/// A piece of a value.
#[derive(Debug)]
pub(crate) enum Part {
    Bytes(Vec<u8>),
    /// The phandle of a node, as a cell.
    Handle(Located<Target>),
    /// The path of a node, as a text.
    Path(Located<Target>),
}

/// What a reference names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Target {
    Label(String),
    Path(String),
}

impl Target {
    /// As it is written.
    pub fn words(&self) -> String {
        match self {
            Self::Label(label) => format!("&{label}"),
            Self::Path(path) => format!("&{{{path}}}"),
        }
    }
}

impl DraftNode {
    fn new(name: Located<String>, parent: Option<usize>) -> Self {
        let (properties, children) = (IndexMap::new(), IndexMap::new());
        Self { name, labels: Vec::new(), properties, children, parent, deleted: false }
    }

    /// The properties that are not deleted.
    pub fn properties(&self) -> impl Iterator<Item = &DraftProperty> {
        self.properties.values().flatten()
    }
}

impl Draft {
    /// A tree of nothing but the root.
    pub fn new(root: Located<String>) -> Self {
        Self { nodes: vec![DraftNode::new(root, None)], labels: BTreeMap::new(), reservations: Vec::new() }
    }

    /// The node below `parent` of that name.
    pub fn child(&self, parent: usize, name: &str) -> Option<usize> {
        self.nodes[parent].children.get(name).copied().filter(|child| !self.nodes[*child].deleted)
    }

    /// The node below `parent` of that name, which is made where there is none.
    pub fn open(&mut self, parent: usize, name: &Located<String>) -> usize {
        let next = self.nodes.len();
        let id = *self.nodes[parent].children.entry(name.value.clone()).or_insert(next);
        if id == next {
            self.nodes.push(DraftNode::new(name.clone(), Some(parent)));
        }
        self.nodes[id].deleted = false;
        id
    }

    /// Takes a node, and all below it, out of the tree.
    pub fn delete(&mut self, id: usize) {
        let mut gone = vec![id];
        while let Some(id) = gone.pop() {
            let node = &mut self.nodes[id];
            gone.extend(node.children.values().copied().filter(|_| !node.deleted));
            node.deleted = true;
            node.properties.values_mut().for_each(|property| *property = None);
            for label in std::mem::take(&mut node.labels) {
                self.labels.remove(&label);
            }
        }
    }

    /// The node that a reference names.
    pub fn find(&self, target: &Target) -> Option<usize> {
        match target {
            Target::Label(label) => self.labels.get(label).map(|node| node.value),
            Target::Path(path) => {
                let names = path.strip_prefix('/')?.split('/').filter(|name| !name.is_empty());
                names.into_iter().try_fold(0, |node, name| self.child(node, name))
            }
        }
    }

    /// The path of a node from the root.
    pub fn path(&self, id: usize) -> String {
        path(id, |id| self.nodes[id].parent.map(|parent| (self.nodes[id].name.value.as_str(), parent)))
    }
}
