//! Exit statuses: one enum, one meaning each.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::ExitCode;

/// How a command ended. Of several, the highest is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// Every claim is shown or accepted.
    Shown,
    /// Some claim is violated, not shown or not analysed; or no plan was found.
    Open,
    /// The input or the call is wrong.
    Wrong,
    /// An invariant of the program broke.
    Alarm,
    /// Stopped by the user; what was finished is kept.
    Interrupted,
}

impl Exit {
    /// The number that the shell sees.
    pub const fn code(self) -> u8 {
        match self {
            Self::Shown => 0,
            Self::Open => 1,
            Self::Wrong => 2,
            Self::Alarm => 3,
            Self::Interrupted => 130,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

/// Runs a command. What it could not do, and a broken invariant inside it, become a message and a status instead of a
/// crash.
pub fn guarded(command: impl FnOnce() -> anyhow::Result<Exit>) -> Result<Exit, (Exit, String)> {
    match catch_unwind(AssertUnwindSafe(command)) {
        Ok(Ok(exit)) => Ok(exit),
        Ok(Err(error)) => {
            let exit = if error.is::<baseline::Alarms>() { Exit::Alarm } else { Exit::Wrong };
            Err((exit, format!("{error:#}")))
        }
        Err(_) => {
            let message = "internal alarm: an invariant of the program broke; no verdict of this run holds";
            Err((Exit::Alarm, message.to_owned()))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use claim::{Basis, Kind, Verdict};

    /// Made-up verdicts take the way that a command's take.
    fn judged(table_aware: u64) -> Result<Exit, (Exit, String)> {
        let basis = Basis { analysis: "chains", source: "", assumptions: Vec::new() };
        let verdict = Verdict::not_analysed(Kind::Reaction, "E1", basis, "");
        let verdict = Verdict { generic: Some(20), table_aware: Some(table_aware), ..verdict };
        guarded(|| {
            baseline::require_no_alarm(&[verdict])?;
            Ok(Exit::Shown)
        })
    }

    #[test]
    fn contradicting_verdicts_end_with_the_alarm() {
        assert_eq!(judged(20), Ok(Exit::Shown));
        let (exit, message) = judged(21).expect_err("above the generic bound");
        assert_eq!((exit, exit.code()), (Exit::Alarm, 3));
        assert!(message.contains("internal alarm") && message.contains("reaction/E1"), "{message}");
    }

    #[test]
    fn what_could_not_be_done_is_no_alarm() {
        let (exit, message) = guarded(|| anyhow::bail!("no such file")).expect_err("it could not be done");
        assert_eq!((exit, message.as_str()), (Exit::Wrong, "no such file"));
    }
}
