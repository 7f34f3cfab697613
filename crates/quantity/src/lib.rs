//! Exact time, sizes, addresses, ratios and typed ids.
