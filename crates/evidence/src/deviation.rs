//! Accepted deviations: claims known not to hold, accepted for a while.

use claim::{Status, Verdict};
use diagnostic::Span;
use jiff::civil::Date;
use model::system::Accepted;

/// An accepted deviation beside what is known of its claim today.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deviation {
    /// The id of the claim.
    pub claim: String,
    /// Why it is accepted.
    pub reason: String,
    /// Who answers for it.
    pub owner: String,
    /// The last day on which it is accepted.
    pub until: Date,
    /// The place of the acceptance.
    pub place: Span,
    /// The claim's own status; `None` where there is no such claim.
    pub status: Option<Status>,
    /// Whether its last day has passed; `None` where today is not known.
    pub expired: Option<bool>,
}

impl Deviation {
    /// An acceptance of the system file beside the verdicts. Verdicts may be in any order.
    pub fn judge(accepted: &Accepted, verdicts: &[Verdict], today: Option<Date>) -> Self {
        let verdict = verdicts.iter().find(|verdict| verdict.id == accepted.claim.value);
        Self {
            claim: accepted.claim.value.clone(),
            reason: accepted.reason.value.clone(),
            owner: accepted.owner.value.clone(),
            until: accepted.until.value,
            place: accepted.claim.span,
            status: verdict.map(|verdict| verdict.status),
            expired: today.map(|today| today > accepted.until.value),
        }
    }

    /// Whether the claim still needs the acceptance and still has it. Where today is not known, the date is not judged.
    pub fn excuses(&self) -> bool {
        self.status.is_some_and(|status| status != Status::Shown) && self.expired != Some(true)
    }

    /// What somebody ought to do about it, in sentences; empty where it simply stands.
    pub fn remarks(&self) -> Vec<&'static str> {
        let mut remarks = Vec::new();
        match self.status {
            None => remarks.push("There is no claim of this id: the acceptance excuses nothing."),
            Some(Status::Shown) => remarks.push("The claim holds again: the acceptance can go."),
            Some(_) => {}
        }
        match self.expired {
            Some(true) => remarks.push("Its last day has passed: it excuses nothing any more."),
            None => remarks.push("Today's date is not known here: the last day was not judged."),
            Some(false) => {}
        }
        remarks
    }

    /// The claim's status in words.
    pub fn status_words(&self) -> &'static str {
        self.status.map_or("no such claim", Status::words)
    }
}
