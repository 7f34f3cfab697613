//! Messages in queues: how many wait, and for how long.
//!
//! Computes: from what may come and what is surely served, the greatest backlog and the longest delay: of one queue whose
//! reader comes now and then ([`Reads`]), of frames through one forwarder ([`Forwarder`]), of fluid curves ([`fluid`]).
//! Source: Le Boudec & Thiran, Network Calculus, LNCS 2050, 2001: backlog is the vertical, delay the horizontal
//! deviation of the arrival and the service curve; leftover service under blind multiplexing.
//! Assumptions: first in, first out within a queue; nothing is lost (a loss only shortens queues).
//! Symbols: messages and frames are counted, times in ns; `b` batch, `B` burst, `d` distance, `J` jitter of arrivals;
//! `T`, `S` period and lateness of reads, `n` what one read takes.
//! Invariants and why it ends: staircases repeat after one lcm of their periods, and searches stop where the fluid
//! envelope falls below what is found; limits on their rounds guard extreme inputs.
//! Differs from the source: exact integer staircases instead of concave and convex lines, which remain the envelope.
//! Checked by: the book's closed forms in the corpus, a run of writer, reader and queue, and one of forwarder and
//! frames, on random small systems.

mod arrivals;
pub mod fluid;
mod forwarder;
mod reads;

pub use arrivals::Arrivals;
pub use forwarder::{Flow, Forwarder, NoDelay, Service};
pub use reads::Reads;

/// Saturates: a bound that passes `u64` passes every limit.
fn saturated(value: u128) -> u64 {
    u64::try_from(value).unwrap_or(u64::MAX)
}
