//! The command line: wires, decides nothing.

fn main() {}
