//! From a system's demands to a plan.

pub mod packing;
mod random;
