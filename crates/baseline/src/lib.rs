//! The facade: identified inputs in, results out.
