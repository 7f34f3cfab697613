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
        Ok(Err(error)) => Err((Exit::Wrong, format!("{error:#}"))),
        Err(_) => {
            let message = "internal alarm: an invariant of the program broke; no verdict of this run holds";
            Err((Exit::Alarm, message.to_owned()))
        }
    }
}
