//! Codes, spans and renderers of what is wrong with an input.
