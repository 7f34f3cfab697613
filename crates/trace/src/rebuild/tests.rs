//! Pieces put together by hand from short recordings.
