//! The system file: text in, resolved System and diagnostics out.
