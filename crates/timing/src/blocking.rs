//! Blocking through named resources.
//!
//! Computes: for every task of a partition how long less urgent jobs that hold a resource can keep it waiting.
//! Source: Sha, Rajkumar & Lehoczky 1990 (Priority inheritance protocols, IEEE Transactions on Computers 39); immediate
//! ceilings, also under earliest deadline first, as Baker 1991 (Stack-based scheduling of realtime processes, Real-Time
//! Systems 3); from memory. The exact maximum under inheritance is an assignment: Kuhn 1955, in the form with potentials
//! that is common practice.
//! Assumptions: sections of one job do not overlap each other; nobody gives up the core while holding a resource; the
//! lengths are execution times, switches and interference included.
//! Symbols: a level is the smaller the more urgent; a task *suffers* at one level and *blocks* at another, which for fixed
//! priorities are the same. A section of `b` on `R` can block `k` where `b` blocks at a level above the one that `k` suffers
//! at, and somebody else who suffers at the level of `k` or below it uses `R` (`k` itself, or a more urgent one whose urgency
//! the holder takes over, so that it is pushed through). Lengths in ns.
//! Ceiling: the longest such section, since one job at most has begun one. Inheritance: the greatest sum of sections with at
//! most one of each less urgent task and at most one on each resource.
//! Invariants and why it ends: the assignment takes in one blocker after the other, each along one cheapest path.
//! Differs from the source: the exact maximum instead of the smaller of two sums; two levels, so that a job under earliest
//! deadline first that is late by its jitter is covered.
//! Checked by: the published tables fp-25 and fp-27 of the corpus, and every choice of sections of small tables in `tests/`.

/// How resources are protected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Protocol {
    /// Who holds a resource runs at the level of its most urgent user, at once.
    Ceiling,
    /// Who holds a resource runs at the level of the most urgent who waits for it.
    Inheritance,
}

/// A task as the resources see it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct User {
    /// The level at which it is kept waiting.
    pub suffers: i64,
    /// The level at which it keeps others waiting.
    pub blocks: i64,
    /// The resources that it holds, by number, and for how long at the most, in ns.
    pub sections: Vec<(usize, u64)>,
}

/// How long each task is blocked at the most, in ns, in the order given; sums saturate.
pub fn longest_ns(users: &[User], protocol: Protocol) -> Vec<u64> {
    (0..users.len()).map(|k| longest_of_ns(users, k, protocol)).collect()
}

fn longest_of_ns(users: &[User], k: usize, protocol: Protocol) -> u64 {
    let blockers = (0..users.len()).filter(|&b| b != k && users[b].blocks > users[k].suffers);
    let lengths: Vec<Vec<u64>> = blockers.map(|b| lengths_ns(users, k, b)).collect();
    match protocol {
        Protocol::Ceiling => lengths.into_iter().flatten().max().unwrap_or(0),
        Protocol::Inheritance => greatest_sum(&lengths),
    }
}

/// The longest section of `b` that can block `k`, by resource; 0 where none can.
fn lengths_ns(users: &[User], k: usize, b: usize) -> Vec<u64> {
    let resources = users.iter().flat_map(|user| &user.sections).map(|(resource, _)| resource + 1).max().unwrap_or(0);
    let uses = |user: &User, resource: usize| user.sections.iter().any(|section| section.0 == resource);
    let is_asked_for = |resource: usize| {
        let others = users.iter().enumerate().filter(|&(m, user)| m != b && user.suffers <= users[k].suffers);
        others.into_iter().any(|(_, user)| uses(user, resource))
    };
    let mut lengths_ns = vec![0; resources];
    for &(resource, length_ns) in users[b].sections.iter().filter(|section| is_asked_for(section.0)) {
        lengths_ns[resource] = length_ns.max(lengths_ns[resource]);
    }
    lengths_ns
}

/// The greatest sum of values of which no two stand in one row or one column.
fn greatest_sum(values: &[Vec<u64>]) -> u64 {
    let rows = values.len();
    let columns = values.first().map_or(0, Vec::len) + rows; // A column of its own for each row that takes nothing.
    let mut assignment = Assignment {
        values,
        row_potential: vec![0; rows + 1],
        column_potential: vec![0; columns + 1],
        row_of: vec![0; columns + 1],
    };
    (1..=rows).for_each(|row| assignment.take_in(row));
    let taken = |column: usize| match assignment.row_of[column] {
        0 => 0,
        row => assignment.value(row, column),
    };
    (1..=columns).map(taken).fold(0, u64::saturating_add)
}

/// Rows assigned to columns at the least cost, a cost being a value below 0; both count from 1, and 0 is none.
struct Assignment<'a> {
    values: &'a [Vec<u64>],
    row_potential: Vec<i128>,
    column_potential: Vec<i128>,
    row_of: Vec<usize>,
}

impl Assignment<'_> {
    fn value(&self, row: usize, column: usize) -> u64 {
        self.values[row - 1].get(column - 1).copied().unwrap_or(0)
    }

    fn reduced_cost(&self, row: usize, column: usize) -> i128 {
        -i128::from(self.value(row, column)) - self.row_potential[row] - self.column_potential[column]
    }

    /// Assigns one more row, along the cheapest path of reassignments to a free column.
    fn take_in(&mut self, row: usize) {
        let columns = self.row_of.len();
        self.row_of[0] = row;
        let mut cheapest = vec![i128::MAX; columns];
        let mut came_from = vec![0; columns];
        let mut reached = vec![false; columns];
        let mut column = 0;
        while self.row_of[column] != 0 {
            reached[column] = true;
            let from_row = self.row_of[column];
            for next in (1..columns).filter(|&next| !reached[next]) {
                let cost = self.reduced_cost(from_row, next);
                if cost < cheapest[next] {
                    (cheapest[next], came_from[next]) = (cost, column);
                }
            }
            // There is a column of its own for every row, so one is always left.
            let Some(next) = (1..columns).filter(|&next| !reached[next]).min_by_key(|&next| cheapest[next]) else {
                return;
            };
            let by = cheapest[next];
            self.shift(&reached, &mut cheapest, by);
            column = next;
        }
        while column != 0 {
            self.row_of[column] = self.row_of[came_from[column]];
            column = came_from[column];
        }
    }

    /// Makes the cheapest way on cost nothing, and no way less than nothing.
    fn shift(&mut self, reached: &[bool], cheapest: &mut [i128], by: i128) {
        for column in 0..reached.len() {
            if reached[column] {
                self.row_potential[self.row_of[column]] += by;
                self.column_potential[column] -= by;
            } else if cheapest[column] != i128::MAX {
                cheapest[column] -= by;
            }
        }
    }
}
