//! Example loader, small-system generator, brute-force oracle.
