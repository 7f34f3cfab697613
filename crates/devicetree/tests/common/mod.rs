//! Trees from text, and what is said of wrong ones.

#![allow(dead_code, reason = "each test file uses a part")]

use devicetree::{Memory, Tree};
use diagnostic::{Diagnostics, Look, Sources, render_text};

/// The head of most trees: addresses and sizes of one cell.
pub const HEAD: &str = "/dts-v1/;\n/ { #address-cells = <1>; #size-cells = <1>;\n";

/// The tree, its memory, and everything that is wrong as `CODE line:column`, and as it is shown.
pub struct Answer {
    pub tree: Option<Tree>,
    pub memory: Option<Memory>,
    pub faults: Vec<String>,
    pub shown: String,
}

pub fn read(text: &str) -> Answer {
    let (mut sources, mut out) = (Sources::new(), Diagnostics::new());
    let file = sources.add("board.dts", text);
    let tree = devicetree::read(text, file, &mut out);
    let memory = tree.as_ref().and_then(|tree| devicetree::memory(tree, &mut out));
    let found = out.into_sorted(&sources);
    assert!(found.iter().all(|fault| fault.help.is_some()), "every fault says what to do: {found:#?}");
    let place = |fault: &diagnostic::Diagnostic| sources.position(fault.primary.span);
    let faults = found.iter().map(|fault| (fault.code.id, place(fault)));
    let faults = faults.map(|(code, at)| format!("{code} {}:{}", at.line, at.column)).collect();
    let shown = found.iter().map(|fault| render_text(fault, &sources, Look::Plain)).collect();
    Answer { tree, memory, faults, shown }
}

/// The tree of a text without fault.
pub fn tree(text: &str) -> Tree {
    let Answer { tree, shown, .. } = read(text);
    tree.unwrap_or_else(|| panic!("{shown}\n{text}"))
}

/// The bytes of a property of the root.
pub fn root_value(statement: &str, name: &str) -> Vec<u8> {
    let tree = tree(&format!("/dts-v1/; / {{ {statement} }};"));
    tree.node(tree.root()).property(name).unwrap_or_else(|| panic!("no {name}")).bytes.clone()
}

/// The ranges of the memory and of what is reserved, as `base+size` in hexadecimal digits.
pub fn memory_words(memory: &Memory) -> Vec<String> {
    use devicetree::{Place, Range};
    let words = |ranges: &[Range]| {
        ranges.iter().map(|range| format!("{:x}+{:x}", range.base, range.size)).collect::<Vec<_>>().join(" ")
    };
    let nodes = memory.nodes.iter().map(|node| format!("{} {}", node.name.value, words(&node.ranges)));
    let reserved = memory.reserved.iter().map(|reserved| {
        let place = match &reserved.place {
            Place::Fixed(ranges) => words(ranges),
            Place::Chosen { size, alignment, within } => {
                format!("{size:x} by {:x} in [{}]", alignment.unwrap_or(1), words(within))
            }
        };
        let kinds = [(reserved.no_map, " no-map"), (reserved.reusable, " reusable")];
        let kinds: String = kinds.iter().filter(|(is, _)| *is).map(|(_, word)| *word).collect();
        format!("{} {place}{kinds}", reserved.name.value)
    });
    nodes.chain(reserved).collect()
}
