//! The time that a partition asks for: `period` and `budget`, `[partition.server]`, `[partition.share]`, and what an
//! opaque guest needs, `[partition.need]`.

use super::Fields;
use super::section::{Key, Kind, SMALL, Section};
use crate::system::RunGrant;

pub(super) static SERVER: Section = Section {
    head: "[partition.server]",
    summary: "The budget server of a partition in a core set of that policy.",
    keys: &[
        Key::required("budget", Kind::Time, "The budget in each period.").above_zero(),
        Key::required("period", Kind::Time, "The period.").above_zero(),
        Key::optional("deadline", Kind::Time, "The time within which each budget is given; the period if not given.")
            .above_zero(),
    ],
};

pub(super) static SHARE: Section = Section {
    head: "[partition.share]",
    summary: "The share of a partition in a core set of that policy.",
    keys: &[
        Key::required("share", SMALL, "The weight against the others of the set.").above_zero(),
        Key::optional("ceiling", Kind::Share, "The most that it may take, as a share of a core.").above_zero(),
    ],
};

pub(super) static NEED: Section = Section {
    head: "[partition.need]",
    summary: "What an opaque guest needs: a budget in each period, or a rate that comes at most a delay late.",
    keys: &[
        Key::optional("budget", Kind::Time, "The time in each period.").above_zero(),
        Key::optional("period", Kind::Time, "The period.").above_zero(),
        Key::optional("rate", Kind::Share, "The share of a core.").above_zero(),
        Key::optional("delay", Kind::Time, "The longest delay of the share."),
    ],
};

/// The time asked for; `None` where the partition leaves it to its policy, or where a value could not be read.
pub(super) fn read(partition: &Fields) -> Option<RunGrant> {
    if let Some(server) = partition.table("server") {
        let period = server.time("period")?;
        let deadline = server.time("deadline").unwrap_or(period);
        return Some(RunGrant::Server { budget: server.time("budget")?, period, deadline });
    }
    if let Some(share) = partition.table("share") {
        return Some(RunGrant::Share { share: share.small("share")?, ceiling: share.share("ceiling") });
    }
    Some(RunGrant::Windows { period: partition.time("period")?, budget: partition.time("budget") })
}
