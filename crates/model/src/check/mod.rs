//! Checks of sense: what is well-formed and still cannot be meant.
//!
//! One check or small group in a file, each with a code of its own. A check of one element looks at its fields, so
//! that it runs although another key of the element is wrong; a check across elements looks at the draft.

use crate::read::{Context, Document, Draft};

/// Runs every check.
pub(crate) fn check(_doc: &Document, _draft: &Draft, _cx: &mut Context) {}
