//! `E11xx`: recordings, and the map of their names.

crate::code::declare! {
    NOBODY = Error "E1101", since "0.1.0", "An entry of a map does not say whom it is about.";
}
