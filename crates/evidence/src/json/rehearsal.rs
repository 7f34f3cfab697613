//! A rehearsal, for programs.

use super::recording::{Recorded, found, head, members};
use crate::rehearsal::Rehearsal;
use serde_json::{Value, json};

/// The answer as a JSON text with a final line break. `recorded` goes with what the stand-ins recorded; `written` are the files
/// that were kept.
pub fn rehearsed(rehearsal: &Rehearsal<'_>, recorded: &Recorded<'_>, written: &[String]) -> String {
    let mut object = head(recorded);
    object.extend(members(json!({
        "seed": rehearsal.seed,
        "span_ns": rehearsal.span_ns,
        "tolerance_ns": rehearsal.tolerance_ns,
        "faults": rehearsal.faults,
        "interrupted": rehearsal.interrupted,
        "not_kept": rehearsal.not_kept,
        "recorded": found(&recorded.judged),
        "kernel": rehearsal.kernel.as_ref().ok().map(found),
        "no_kernel": rehearsal.kernel.as_ref().err(),
        "written": written,
    })));
    format!("{:#}\n", Value::Object(object))
}
