//! What simulation saw of what a claim is about.

/// The largest that simulation saw, in the unit of the claim's bound. It is no bound: what was not simulated may be larger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Simulated {
    /// The largest value seen.
    pub largest: u64,
    /// How it was found.
    pub found_by: FoundBy,
    /// How many runs were looked at, the replay included.
    pub runs: u64,
}

/// How a simulation found what it saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FoundBy {
    /// By running the scenario that the analysis names.
    Replay,
    /// By running scenarios drawn at random.
    Search,
}

impl FoundBy {
    /// The word for programs and people: `replay`, `search`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Replay => "replay",
            Self::Search => "search",
        }
    }
}
