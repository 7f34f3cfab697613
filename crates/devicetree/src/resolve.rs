//! References become bytes: a phandle within cells, a path outside of them.

use crate::draft::{Draft, DraftProperty, Part, Target};
use crate::parse::unknown;
use crate::tree::{Node, NodeId, Property, Tree};
use crate::{MOST_BYTES, MOST_FAULTS};
use diagnostic::codes::devicetree::TREE_VALUE;
use diagnostic::codes::input::TOO_MANY;
use diagnostic::{Diagnostic, Diagnostics, Located};
use std::collections::{BTreeMap, BTreeSet};

/// The tree with every reference looked up; `None` where one cannot be.
pub(crate) fn resolve(draft: Draft, out: &mut Diagnostics) -> Option<Tree> {
    let order = kept(&draft);
    let handles = handles(&draft, &order, out);
    let place: BTreeMap<usize, usize> = order.iter().enumerate().map(|(place, id)| (*id, place)).collect();
    let mut bytes = 0usize;
    let mut nodes = Vec::new();
    for id in &order {
        let properties = draft.nodes[*id].properties();
        let properties: Vec<_> = properties.filter_map(|p| property(&draft, p, &handles, &mut bytes, out)).collect();
        nodes.push(node(&draft, *id, properties, &place));
        if bytes > MOST_BYTES {
            let span = draft.nodes[*id].name.span;
            let message = format!("the values of this tree are more than {} MiB", MOST_BYTES >> 20);
            out.push(Diagnostic::new(&TOO_MANY, span, message).help("no board has such a tree"));
            return None;
        }
    }
    add_handles(&mut nodes, &handles, &place);
    Some(Tree { nodes, reservations: draft.reservations })
}

/// The nodes that hang on the root, each behind its parent, depth first.
fn kept(draft: &Draft) -> Vec<usize> {
    let (mut order, mut open) = (Vec::new(), vec![0]);
    while let Some(id) = open.pop() {
        order.push(id);
        let children = draft.nodes[id].children.values().rev().copied();
        open.extend(children.filter(|child| !draft.nodes[*child].deleted));
    }
    order
}

fn node(draft: &Draft, id: usize, properties: Vec<Property>, place: &BTreeMap<usize, usize>) -> Node {
    let from = &draft.nodes[id];
    let here = |id: &usize| place.get(id).copied().map(NodeId);
    Node {
        name: from.name.clone(),
        labels: from.labels.clone(),
        properties,
        children: from.children.values().filter_map(here).collect(),
        parent: from.parent.as_ref().and_then(here),
    }
}

/// The phandle of every node that has one or is referred to: its own, or else the next that nobody has, from 1.
fn handles(draft: &Draft, order: &[usize], out: &mut Diagnostics) -> BTreeMap<usize, u32> {
    let mut handles = BTreeMap::new();
    for id in order {
        handles.extend(own_handle(draft, *id, out).map(|handle| (*id, handle)));
    }
    let mut taken: BTreeSet<u32> = handles.values().copied().collect();
    let mut next = 1u32;
    let properties = order.iter().flat_map(|id| draft.nodes[*id].properties());
    for target in properties.flat_map(|property| &property.parts).filter_map(handle_of) {
        let Some(node) = draft.find(&target.value) else { continue };
        handles.entry(node).or_insert_with(|| {
            while !taken.insert(next) {
                next += 1;
            }
            next
        });
    }
    handles
}

const fn handle_of(part: &Part) -> Option<&Located<Target>> {
    match part {
        Part::Handle(target) => Some(target),
        Part::Bytes(_) | Part::Path(_) => None,
    }
}

/// The phandle that a node gives itself.
fn own_handle(draft: &Draft, id: usize, out: &mut Diagnostics) -> Option<u32> {
    let property = draft.nodes[id].properties.get("phandle")?.as_ref()?;
    let handle = match &property.parts[..] {
        [Part::Bytes(bytes)] => bytes[..].try_into().map(u32::from_be_bytes).ok(),
        // A node may ask for any phandle that is free by referring to itself.
        [_, Part::Handle(own), _] if draft.find(&own.value) == Some(id) => return None,
        _ => None,
    };
    let handle = handle.filter(|handle| *handle != 0 && *handle != u32::MAX);
    if handle.is_none() {
        let fault = Diagnostic::new(&TREE_VALUE, property.value, "this is no phandle");
        out.push(
            fault.help("write one cell between 1 and 0xfffffffe, or leave it out: referring to a label needs none"),
        );
    }
    handle
}

fn property(
    draft: &Draft,
    from: &DraftProperty,
    handles: &BTreeMap<usize, u32>,
    total: &mut usize,
    out: &mut Diagnostics,
) -> Option<Property> {
    let mut bytes = Vec::new();
    for part in &from.parts {
        match part {
            Part::Bytes(more) => bytes.extend_from_slice(more),
            Part::Handle(target) | Part::Path(target) => {
                let Some(node) = draft.find(&target.value) else {
                    if out.len() < MOST_FAULTS {
                        out.push(*unknown(target, ""));
                    }
                    return None;
                };
                match part {
                    Part::Handle(_) => bytes.extend_from_slice(&handles.get(&node).copied().unwrap_or(0).to_be_bytes()),
                    _ => bytes.extend(draft.path(node).bytes().chain([0])),
                }
            }
        }
        if bytes.len() + *total > MOST_BYTES {
            break;
        }
    }
    *total += bytes.len();
    Some(Property { name: from.name.clone(), bytes, value: from.value })
}

/// Nodes that were given a phandle say so, as they do in the flattened tree.
fn add_handles(nodes: &mut [Node], handles: &BTreeMap<usize, u32>, place: &BTreeMap<usize, usize>) {
    for (id, handle) in handles {
        let Some(node) = place.get(id).map(|place| &mut nodes[*place]) else { continue };
        if node.property("phandle").is_none() {
            let (name, value) = (Located::new("phandle".to_owned(), node.name.span), node.name.span);
            node.properties.push(Property { name, bytes: handle.to_be_bytes().to_vec(), value });
        }
    }
}
