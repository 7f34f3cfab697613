//! The benchmark binary.

fn main() {}
