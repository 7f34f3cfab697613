//! `E00xx`: files and their grammar.

crate::code::declare! {
    UNREADABLE_FILE = Error "E0001", since "0.1.0", "A file cannot be read.";
    FILE_TOO_LARGE = Error "E0002", since "0.1.0", "A file is larger than a system can be.";
    NOT_TEXT = Error "E0003", since "0.1.0", "A file is not UTF-8 text.";
    TOML_SYNTAX = Error "E0004", since "0.1.0", "The text is not TOML.";
    TABLE_SYNTAX = Error "E0005", since "0.1.0", "A CSV table is malformed.";
    PATH_NOT_RELATIVE = Error "E0006", since "0.1.0", "A path is not relative to the system file.";
    TOO_MANY = Error "E0007", since "0.1.0", "A list has more elements than are ever read.";
    EMPTY_FILE = Error "E0008", since "0.1.0", "The system file is empty.";
}
