//! Plans made from demands.

mod checker;
mod common;
mod demands;
mod generated;
mod impossible;
mod vessel;
