//! Where the usable ticks of a partition lie.

use super::SmallServer;

/// A window table or a budget server, as the walk needs it.
#[derive(Clone, Debug)]
pub(super) enum Supply {
    /// Of each tick of the frame, whether it is usable.
    Table(Vec<bool>),
    /// Any ticks that keep to the budget.
    Server(SmallServer),
}

impl Supply {
    pub(super) fn table(frame: u32, windows: &[(u32, u32)]) -> Self {
        let is_usable = |tick| windows.iter().any(|&(start, end)| start <= tick && tick < end);
        Self::Table((0..frame).map(is_usable).collect())
    }

    /// Ticks after which the supply begins anew.
    pub(super) fn cycle(&self) -> u32 {
        match self {
            Self::Table(ticks) => ticks.len() as u32,
            Self::Server(server) => server.period,
        }
    }

    /// The usable ticks of each cycle.
    pub(super) fn usable(&self) -> u32 {
        match self {
            Self::Table(ticks) => ticks.iter().filter(|&&usable| usable).count() as u32,
            Self::Server(server) => server.budget,
        }
    }

    /// The budget that a cycle begins with; a table needs none.
    pub(super) fn budget(&self) -> u32 {
        match self {
            Self::Table(_) => 0,
            Self::Server(server) => server.budget,
        }
    }

    /// Whether a tick may be left unusable, and whether it may be usable, with so much of the budget left.
    pub(super) fn choices(&self, position: u32, left: u32) -> [bool; 2] {
        match self {
            Self::Table(ticks) => {
                let usable = ticks[position as usize];
                [!usable, usable]
            }
            Self::Server(server) => {
                let until_deadline = server.deadline.saturating_sub(position);
                [left == 0 || left < until_deadline, left > 0 && until_deadline > 0]
            }
        }
    }
}
