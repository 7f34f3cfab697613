//! The small systems on budget servers.

use super::policies::DUE;
use super::{BLOCKED, BLOCKING, Family, LONE, PLAIN, PRIORITIES, Slot, plain, tables};
use crate::oracle::{SmallServer, SmallTask};

/// Tasks on a budget server. All times are ticks.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct ServerSystem {
    /// The server.
    pub server: SmallServer,
    /// The free-running tasks in file order.
    pub tasks: Vec<SmallTask>,
}

/// The 21,870 systems under fixed priority on a budget server, every one with `Q <= D <= P`.
///
/// | tasks | server's period | periods | `wcet` | jitter | blocking |
/// |---|---|---|---|---|---|
/// | 1 | 1-5 | 1-6 | 1-3 | 0-3, 7 | |
/// | 2, distinct | 1-5 | 3, 4, 6 | 1-2 | 0, 1 | |
/// | 2, distinct, any execution | 1-5 | 3, 4, 6 over 4, 6 | 1-2 over 1-3 | 0, 2 over 0 | 1, 2 |
/// | 3, distinct or equal in each way | 1-3 | 3, 4, 6 | 1 | 0, 1 | |
pub fn server_systems() -> impl Iterator<Item = ServerSystem> {
    server_families().into_iter().flat_map(ServerFamily::into_systems)
}

/// How many systems [`server_systems`] gives.
#[must_use]
pub fn server_count() -> usize {
    server_families().iter().map(ServerFamily::len).sum()
}

/// The 25,920 systems under the earliest deadline first on a budget server, every one with `Q <= D <= P`, `P` 1-4: two
/// tasks of periods 3, 4, 6, `wcet` 1-2, jitter 0, 1, deadlines 2, 4, 7.
pub fn edf_server_systems() -> impl Iterator<Item = ServerSystem> {
    edf_server_family().into_systems()
}

/// How many systems [`edf_server_systems`] gives.
#[must_use]
pub fn edf_server_count() -> usize {
    edf_server_family().len()
}

/// Every server of a product with every task of each slot: the slots of a family beside the window table of a
/// dedicated core, which the server then replaces.
struct ServerFamily {
    servers: Vec<SmallServer>,
    tasks: Family,
}

impl ServerFamily {
    fn new(periods: std::ops::RangeInclusive<u32>, slots: &[Slot]) -> Self {
        Self { servers: servers(periods), tasks: Family::new(tables(1..=1, 1), slots) }
    }

    fn len(&self) -> usize {
        self.servers.len() * self.tasks.len()
    }

    fn into_systems(self) -> impl Iterator<Item = ServerSystem> {
        (0..self.len()).map(move |number| ServerSystem {
            server: self.servers[number % self.servers.len()],
            tasks: self.tasks.system(number / self.servers.len()).tasks,
        })
    }
}

/// Every server with `1 <= Q <= D <= P`.
fn servers(periods: std::ops::RangeInclusive<u32>) -> Vec<SmallServer> {
    let mut all = Vec::new();
    for period in periods {
        for deadline in 1..=period {
            all.extend((1..=deadline).map(|budget| SmallServer { period, budget, deadline }));
        }
    }
    all
}

fn server_families() -> Vec<ServerFamily> {
    let two = Slot { wcets: &[1, 2], ..PLAIN };
    let blocking = Slot { jitters: &[0], ..BLOCKING };
    let mut families = vec![
        ServerFamily::new(1..=5, &[LONE]),
        ServerFamily::new(1..=5, &[Slot { priority: 2, ..two }, two]),
        ServerFamily::new(1..=5, &[BLOCKED, blocking]),
    ];
    for priorities in PRIORITIES {
        families.push(ServerFamily::new(1..=3, &plain(priorities, &[0])));
    }
    families
}

fn edf_server_family() -> ServerFamily {
    ServerFamily::new(1..=4, &[Slot { jitters: &[0, 1], ..DUE }; 2])
}
