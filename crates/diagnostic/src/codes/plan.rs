//! `E053x`: the plan as a whole, before anything in it is read.

crate::code::declare! {
    NO_PLAN = Error "E0531", since "0.1.0", "No plan is named or given.";
    UNREADABLE_PLAN = Error "E0532", since "0.1.0", "The plan file cannot be read.";
}
