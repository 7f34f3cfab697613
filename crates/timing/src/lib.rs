//! Bounds and verdicts in time.
