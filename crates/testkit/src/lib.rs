//! Example loader, small-system generator, brute-force oracle.
//!
//! The oracle answers, for a system small enough to try everything, what the worst response of each task of one
//! partition really is, under a window table or on a budget server and under each policy; what the worst reaction time
//! and data age of a chain are; and how many messages a queue really holds. It knows no busy windows, no supply
//! functions and no fixed points: it walks through every state the meaning of the words allows, one tick a step. An
//! analysis under test must never report less, and where it claims to be exact, not more.
//!
//! ```
//! use testkit::oracle::{SmallSystem, SmallTask, Worst, worst_aligned, worst_free_running};
//!
//! let task = SmallTask { period: 8, deadline: 8, wcet: 2, bcet: 2, priority: 1, ..SmallTask::default() };
//! let system = SmallSystem { frame: 4, windows: vec![(0, 2)], tasks: vec![task] };
//! // Arriving with the window, it ends with it; arriving at the window's end, it waits first.
//! assert_eq!(worst_aligned(&system), [Worst::Response(2)]);
//! assert_eq!(worst_free_running(&system), [Worst::Response(4)]);
//! ```
//!
//! - [`oracle`]: the systems, the rules it holds to, the answers;
//! - [`enumerate`]: all systems up to a size, in a fixed order, their number known;
//! - [`random_systems`], [`random_server_systems`], [`random_chains`], [`random_queues`]: seeded larger ones.
//!
//! A comparison reads:
//!
//! ```no_run
//! use testkit::{enumerate, oracle::Oracle};
//!
//! let mut oracle = Oracle::new();
//! for system in enumerate::free_running_systems() {
//!     let truth = oracle.free_running(&system);
//!     // assert!(bound_of(&system, task) >= truth[task]) for each task
//!     # let _ = truth;
//! }
//! for system in enumerate::aligned_systems() {
//!     let truth = oracle.aligned(&system);
//!     # let _ = truth;
//! }
//! ```
//!
//! and so do those of the other truths: [`oracle::Oracle::under`] a policy, [`oracle::Oracle::on_server`],
//! [`oracle::chain::worst_chain`] and [`oracle::backlog::worst_backlog`].

pub mod enumerate;
pub mod oracle;
mod random;

pub use random::{
    random_chains, random_queues, random_server_systems, random_systems, random_systems_without_blocking,
};
