//! `E01xx`: keys, types and values, whatever section they stand in.

crate::code::declare! {
    UNKNOWN_KEY = Error "E0101", since "0.1.0", "A key is not known here.";
    MISSING_KEY = Error "E0102", since "0.1.0", "A key that must be there is missing.";
    WRONG_TYPE = Error "E0103", since "0.1.0", "A value is of the wrong type.";
    BAD_QUANTITY = Error "E0104", since "0.1.0", "A time, size, rate, share or address cannot be read exactly.";
    BAD_COUNT = Error "E0105", since "0.1.0", "A count is negative or too large.";
    UNKNOWN_WORD = Error "E0106", since "0.1.0", "A word is not one of those that are known here.";
    BAD_NAME = Error "E0107", since "0.1.0", "A name is empty or holds a character that names may not.";
    DUPLICATE_NAME = Error "E0108", since "0.1.0", "Two elements of one kind have the same name.";
    UNKNOWN_NAME = Error "E0109", since "0.1.0", "A name is used that nothing has.";
    REPEATED_ENTRY = Error "E0110", since "0.1.0", "A list names the same element twice.";
    ZERO_VALUE = Error "E0112", since "0.1.0", "A value that must be above zero is zero.";
    KEY_ALONE = Error "E0113", since "0.1.0", "A key is given without the one that it needs.";
    KEYS_CLASH = Error "E0111", since "0.1.0", "Two keys are given of which only one may be.";
}
