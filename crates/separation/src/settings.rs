//! Critical settings of the board are guarded.
//!
//! Computes: for every setting that is declared critical, whether anything stands against a change that nobody meant.
//! Source: A(M)C 20-193, MCP_Resource_Usage_1 and _2: settings are determined, critical ones protected (from memory).
//! Assumptions: what is declared of a setting is so.
//! Symbols: none.
//! Invariants and why it ends: one look at each setting.
//! Differs from the source: whether the declared means is enough is the reader's to judge; here only its absence is found.
//! Checked by: hand-made tables; a setting that a channel depends on opens the channel when its guard is taken away.

use crate::facts::{Claim, Found, basis};
use claim::{Assumption, Kind, Verdict};
use model::System;
use model::system::{Checked, Setting};

/// One verdict for every critical setting.
pub(crate) fn check(system: &System) -> Vec<Verdict> {
    system.board.settings.iter().filter(|setting| setting.critical).map(verdict).collect()
}

fn verdict(setting: &Setting) -> Verdict {
    let source = "A(M)C 20-193, MCP_Resource_Usage_1 and _2 (from memory)";
    let claim = Claim {
        kind: Kind::Setting,
        subject: setting.name.value.clone(),
        place: setting.name.span,
        basis: basis("channels", source, vec![Assumption::DeclaredAsIs]),
    };
    let mut found = Found::default();
    match &setting.mitigation {
        Some(guard) => found.remarks.push(format!("declared by the integrator: {}; {}", guard.value, checked(setting))),
        None => found
            .faults
            .push("it is critical, and no `mitigation` stands against a change that nobody meant".to_owned()),
    }
    claim.judged(found)
}

/// When somebody looks whether a setting is still as it was set, in words.
fn checked(setting: &Setting) -> &'static str {
    match setting.checked.map(|checked| checked.value) {
        Some(Checked::Boot) => "looked at once, at boot",
        Some(Checked::Periodic) => "looked at again and again",
        None => "when it is looked at again is not said",
    }
}
