//! What every report must say about its own limits.

/// One caution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// A few words, for terminals.
    pub short: &'static str,
    /// The caution in full.
    pub text: &'static str,
}

/// Where among them the caution about table-aware latency stands, which goes with every result about a chain.
pub(crate) const SYNCHRONISED: usize = 7;

/// All cautions in the order in which they are printed.
pub const CAUTIONS: [Caution; 17] = [
    Caution {
        short: "supports an argument; acceptance is the authority's",
        text: "Results support an engineering argument; acceptance rests with the certification authority or the \
               assessor.",
    },
    Caution {
        short: "inputs are taken as valid",
        text: "Inputs are taken as valid: WCET, request counts, overheads, service times. A wrong input gives a wrong \
               answer with the same confident look. Every report lists them with their provenance and the share that \
               is estimated.",
    },
    Caution {
        short: "the tool is not qualified",
        text: "The tool is not qualified. If its output replaces or reduces a verification activity, or feeds the \
               final configuration, tool qualification applies (DO-178C 12.2 / DO-330 TQL by criteria 1 to 3; IEC \
               61508-3 tool class T2 or T3; ISO 26262-8 confidence level; EN 50716 tool class; clause numbers from \
               memory). A generator of tables falls under criterion 1, a checker under criterion 2 or 3: keep them \
               apart, so that the checker can be argued by itself.",
    },
    Caution {
        short: "a bound is no measurement, a simulation no bound, a clean trace no proof",
        text: "A bound is not a measurement; a simulation is not a bound; a clean trace is not a proof. The three are \
               never mixed in one column. Verdict words: shown, not shown, violated, not analysed.",
    },
    Caution {
        short: "not shown is the default",
        text: "\"Not shown\" is the default. Missing data never turns into zero and never into a pass.",
    },
    Caution {
        short: "interference bounds hold for listed masters and the printed arbitration only",
        text: "Interference bounds hold only under the printed arbitration assumption and only for listed masters. \
               Unlisted DMA, firmware traffic, coherency, refresh and thermal throttling void them.",
    },
    Caution {
        short: "cache partitioning leaves contention elsewhere",
        text: "Cache partitioning does not remove contention in shared queues, buffers and the memory controller.",
    },
    Caution {
        short: "table-aware latency needs synchronised frames and declared releases",
        text: "Table-aware latency holds only while the frames of all cores are synchronised and releases are as \
               declared; otherwise use the generic bound.",
    },
    Caution {
        short: "space separation is checked in the plan, not in hardware",
        text: "Space separation here is a check of the plan. It does not show that the hardware enforces it.",
    },
    Caution {
        short: "levels of different standards are never converted",
        text: "Levels of different standards (DAL, ASIL, SIL, class) are never converted; the scale is the user's.",
    },
    Caution {
        short: "a covert channel not listed may still exist",
        text: "Covert-channel capacity is an upper estimate for listed resources; absence from the list is not absence \
               of a channel.",
    },
    Caution {
        short: "safety and security are judged apart",
        text: "Safety and security are judged by different people; a flow that one permits the other may forbid: both \
               verdicts are shown.",
    },
    Caution {
        short: "a change voids what its inputs touch",
        text: "A change anywhere in the baseline voids the results whose inputs it touches; the impact report says \
               which, and how it knows that the others are untouched.",
    },
    Caution {
        short: "traces may hold confidential or personal data",
        text: "Traces may contain confidential or personal data (positions, names, images); do not send them out; \
               strip them first.",
    },
    Caution {
        short: "hashes reveal accidents, not forgers",
        text: "Evidence files carry hashes, not signatures: they reveal accidental change, not a forger.",
    },
    Caution {
        short: "supplier sheets must not leak across zones",
        text: "Supplier sheets must not leak another supplier's data across zones.",
    },
    Caution {
        short: "demo data are invented",
        text: "Demo data are invented. Not for use in any real vessel, vehicle or device.",
    },
];
