//! Claims and their verdicts: the common shape of every result.
