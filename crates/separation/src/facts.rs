//! Claims that count faults: shown where there is none, violated where there is one, which is its own witness.

use claim::{Assumption, Basis, Kind, Status, Unit, Verdict, Witness};
use diagnostic::Span;

/// A claim before it is judged: who it is about, where that stands, and how it is judged.
pub(crate) struct Claim {
    pub kind: Kind,
    pub subject: String,
    pub place: Span,
    pub basis: Basis,
}

/// What was looked at and found.
#[derive(Default)]
pub(crate) struct Found {
    /// Every fault, a clause each.
    pub faults: Vec<String>,
    /// What a shown claim rests on, or does not speak of.
    pub remarks: Vec<String>,
}

pub(crate) const fn basis(analysis: &'static str, source: &'static str, assumptions: Vec<Assumption>) -> Basis {
    Basis { analysis, source, assumptions }
}

impl Claim {
    /// The verdict of a claim about which a datum is missing.
    pub fn unknown(self, reason: impl Into<String>) -> Verdict {
        let verdict = Verdict::not_analysed(self.kind, self.subject, self.basis, reason);
        Verdict { unit: Unit::Count, limit: Some(0), place: Some(self.place), ..verdict }
    }

    /// The verdict by what was found.
    pub fn judged(self, found: Found) -> Verdict {
        let sound = found.faults.is_empty();
        let said = if sound { &found.remarks } else { &found.faults };
        let reason = (!said.is_empty()).then(|| said.join("; "));
        let witness = reason.as_ref().filter(|_| !sound).map(|fact| Witness::of_fact(fact.clone()));
        Verdict {
            status: if sound { Status::Shown } else { Status::Violated },
            bound: Some(found.faults.len() as u64),
            exact: true,
            reason,
            witness,
            ..self.unknown(String::new())
        }
    }

    /// The verdict of a claim that may hold, of which that is not known.
    pub fn open(self, reason: impl Into<String>) -> Verdict {
        Verdict { status: Status::NotShown, ..self.unknown(reason) }
    }

    /// The verdict by what was found, or which datum is missing.
    pub fn verdict(self, found: Result<Found, String>) -> Verdict {
        match found {
            Ok(found) => self.judged(found),
            Err(missing) => self.unknown(missing),
        }
    }
}
