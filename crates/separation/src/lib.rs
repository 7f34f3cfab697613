//! Verdicts in space.
