//! Verdicts that contradict each other: nothing of such a run may be used.

use claim::Verdict;

/// The contradictions found, a sentence each; at least one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alarms(Vec<String>);

impl Alarms {
    /// At least one sentence.
    pub(crate) fn of(sentences: Vec<String>) -> Self {
        Self(sentences)
    }

    /// The sentences.
    pub fn sentences(&self) -> &[String] {
        &self.0
    }
}

impl std::fmt::Display for Alarms {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "internal alarm: verdicts contradict each other, and none of this run holds: {}", self.0.join("; "))
    }
}

impl std::error::Error for Alarms {}

/// # Errors
/// [`Alarms`] where `verdicts` contradict each other.
pub fn require_no_alarm(verdicts: &[Verdict]) -> Result<(), Alarms> {
    let found = timing::claims::alarms(verdicts);
    if found.is_empty() { Ok(()) } else { Err(Alarms(found)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use claim::{Basis, Kind};

    #[test]
    fn contradicting_verdicts_are_told_by_their_ids() {
        let basis = Basis { analysis: "chains", source: "", assumptions: Vec::new() };
        let sound = Verdict::not_analysed(Kind::Reaction, "E1", basis, "");
        assert_eq!(require_no_alarm(std::slice::from_ref(&sound)), Ok(()));
        let amiss = Verdict { generic: Some(3), table_aware: Some(4), ..sound };
        let alarms = require_no_alarm(&[amiss]).expect_err("the bounds contradict each other");
        assert_eq!(alarms.sentences().len(), 1);
        assert!(alarms.to_string().contains("none of this run holds: reaction/E1: "), "{alarms}");
    }
}
