//! Names that fit and names that do not.
