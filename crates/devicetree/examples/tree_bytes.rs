//! Prints a devicetree source as its nodes and properties: `path<TAB>name<TAB>bytes in hexadecimal`, a line each, for comparison
//! with what another reader finds; then what it says of memory.

#![allow(clippy::disallowed_methods, clippy::disallowed_macros, reason = "an example is a program of its own")]

use devicetree::{Place, Range};
use diagnostic::{Diagnostics, Look, Sources, render_text};
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(name) = std::env::args().nth(1) else {
        eprintln!("usage: tree_bytes FILE.dts");
        return ExitCode::from(2);
    };
    let text = std::fs::read_to_string(&name).expect("the file is text");
    let (mut sources, mut out) = (Sources::new(), Diagnostics::new());
    let file = sources.add(name, text.clone());
    let tree = devicetree::read(&text, file, &mut out);
    let memory = tree.as_ref().and_then(|tree| devicetree::memory(tree, &mut out));
    for fault in out.into_sorted(&sources) {
        eprintln!("{}", render_text(&fault, &sources, Look::Plain));
    }
    let Some(tree) = tree else { return ExitCode::FAILURE };
    for reservation in &tree.reservations {
        println!("reserve\t{:x}\t{:x}", reservation.base, reservation.size);
    }
    for id in tree.ids() {
        println!("node\t{}", tree.path(id));
        for property in &tree.node(id).properties {
            let bytes: String = property.bytes.iter().map(|byte| format!("{byte:02x}")).collect();
            println!("property\t{}\t{}\t{bytes}", tree.path(id), property.name.value);
        }
    }
    let Some(memory) = memory else { return ExitCode::FAILURE };
    for node in &memory.nodes {
        println!("memory\t{}\t{}", node.name.value, words(&node.ranges));
    }
    for reserved in &memory.reserved {
        let place = match &reserved.place {
            Place::Fixed(ranges) => words(ranges),
            Place::Chosen { size, within, .. } => format!("{size:x} within {}", words(within)),
        };
        println!("reserved\t{}\t{place}\t{}\t{}", reserved.name.value, reserved.no_map, reserved.reusable);
    }
    ExitCode::SUCCESS
}

fn words(ranges: &[Range]) -> String {
    ranges.iter().map(|range| format!("{:x}+{:x}", range.base, range.size)).collect::<Vec<_>>().join(",")
}
