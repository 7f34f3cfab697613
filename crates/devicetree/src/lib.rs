//! Devicetree source: text in, its nodes out, and what they say of memory.
//!
//! The grammar is that of the Devicetree Specification v0.4, chapter 6; what nodes and properties mean is from its chapters
//! 2 and 3. What the grammar leaves to another tool, the C preprocessor and other files, is refused with what to do instead.
//!
//! ```text
//! text -> statements -> Tree, of references too -> Tree, of bytes -> Memory
//!  cursor  parse         draft                      resolve          memory, cells
//!          value, expression, literal
//! ```

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod cells;
mod cursor;
mod draft;
mod expression;
mod literal;
mod memory;
mod parse;
mod resolve;
mod tree;
mod value;

pub use memory::{Memory, MemoryNode, Place, Range, Reserved, memory};
pub use tree::{Node, NodeId, Property, Reservation, Tree};

use diagnostic::{Diagnostics, FileId};

/// The deepest nesting of nodes, and of parentheses, that is read.
pub const MOST_DEPTH: usize = 64;
/// The most nodes and properties together that are read.
pub const MOST_ELEMENTS: usize = 1 << 18;
/// The most bytes that all values may have together.
pub const MOST_BYTES: usize = 16 << 20;
/// The most faults that are told of one text.
const MOST_FAULTS: usize = 100;

/// Reads a devicetree source. All that is wrong goes to `out`; `None` where an error was found.
pub fn read(text: &str, file: FileId, out: &mut Diagnostics) -> Option<Tree> {
    let mut found = Diagnostics::new();
    let draft = parse::parse(text, file, &mut found);
    // Faults of the grammar may have swallowed nodes that are referred to.
    let tree = if found.has_errors() { None } else { resolve::resolve(draft, &mut found) };
    let whole = !found.has_errors();
    out.extend(found);
    tree.filter(|_| whole)
}
