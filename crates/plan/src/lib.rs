//! The plan: windows, memory map, cache ways, bandwidth budgets.
