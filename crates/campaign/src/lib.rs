//! Many runs: faults drawn by seed, what each disturbs, and what that shows of the isolation.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]
