//! From a system's demands to a plan.
