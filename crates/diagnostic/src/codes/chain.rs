//! `E07xx`: cause-effect chains.

crate::code::declare! {
    CHAIN_GAP = Error "E0701", since "0.1.0", "No channel leads from one task of a chain to the next.";
    CHAIN_AMBIGUOUS = Error "E0702", since "0.1.0", "Several channels lead from one task of a chain to the next.";
    CHAIN_LOOP = Error "E0703", since "0.1.0", "A chain passes through a task twice.";
    CHAIN_NEED = Error "E0704", since "0.1.0", "A chain has no need, or two.";
    CHANNEL_ASIDE = Error "E0705", since "0.1.0", "A channel in a chain does not lead from the task before it to the one behind.";
    NEED_USED_UP = Error "E0706", since "0.1.0", "Sensor and actuator leave a chain no time.";
}
