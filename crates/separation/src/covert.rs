//! Covert channels: a shared-resource matrix, and how fast each resource may carry.
//!
//! Computes: for every resource that partitions share, who may change what somebody can tell of it (modify) and who may tell (read);
//! for every pair of partitions of which the policy permits no flow, not even by way of others, by which resources one may still
//! tell the other something, and how much in a second at the most, where the data give a number.
//! Source: Kemmerer, "Shared resource matrix methodology", ACM TOCS 1 (3), 1983; a timing channel of so many levels that is used
//! once a period carries at most log2(levels) bits a period; the figure of 100 bit/s is TCSEC's, section 8 (both from memory).
//! Assumptions: a partition that can tell does so to the resolution of its core's clock; each resource is used on its own.
//! Symbols: a level is a value that the reader can tell from the others; capacities in thousandths of a bit per second, rounded up.
//! Invariants and why it ends: each pair meets each resource once; what no datum bounds is never zero, it is not computed.
//! Differs from the source: the matrix holds what the files declare, not every variable of a kernel; declared channels are overt
//! and judged as information flow.
//! Checked by: hand-made tables, `tests/covert.rs`, by a graph library for who is cut off from whom.

mod attributes;
mod capacity;
mod servers;

use crate::facts::basis;
use crate::flow;
use claim::{Assumption, Basis, Kind, Relation, Status, Unit, Verdict};
use diagnostic::Located;
use model::System;
use model::system::FlowPolicy;
use plan::Plan;
use quantity::{BitRate, PartitionId};

/// As many resources without a number are named in a verdict.
const NAMED: usize = 3;

/// What a partition may do to what can be told of a resource.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Access {
    /// It may tell.
    pub read: bool,
    /// It may change it.
    pub modify: bool,
}

impl Access {
    /// `RM`, `R`, `M`, or a dash.
    pub const fn word(self) -> &'static str {
        match (self.read, self.modify) {
            (true, true) => "RM",
            (true, false) => "R",
            (false, true) => "M",
            (false, false) => "–",
        }
    }
}

/// How much a resource may carry in a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Capacity {
    /// At most this.
    AtMost(BitRate),
    /// No datum bounds it.
    NotComputed,
}

impl Capacity {
    const fn is_known(self) -> bool {
        matches!(self, Self::AtMost(_))
    }

    /// What is known of it, nothing where nothing is.
    fn known(self) -> BitRate {
        match self {
            Self::AtMost(rate) => rate,
            Self::NotComputed => BitRate::default(),
        }
    }
}

/// A resource that partitions share, a row of the matrix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resource {
    /// The resource and what can be told of it.
    pub name: String,
    /// Why it carries what it does, or why no number is given.
    pub why: String,
    /// Every partition's access, in the order of the file.
    pub access: Vec<Access>,
    /// Whether what one partition leaves unused is given to others here, so that it surely carries something.
    pub donates: bool,
    /// What it may carry from one partition to another, covertly.
    carries: Vec<(PartitionId, PartitionId, Capacity)>,
}

/// A way by which a partition may tell another something that the policy does not permit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CovertPath {
    /// Who may tell.
    pub from: PartitionId,
    /// Whom.
    pub to: PartitionId,
    /// By which resource: an index into those of the matrix.
    pub resource: usize,
    /// How much in a second.
    pub capacity: Capacity,
}

/// The shared-resource matrix, with the ways that no policy permits.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Matrix {
    /// The resources.
    pub resources: Vec<Resource>,
    /// The ways, by pair, then by resource; empty where no policy is declared.
    pub paths: Vec<CovertPath>,
}

/// The shared-resource matrix of a system under a plan.
pub fn matrix(system: &System, plan: &Plan) -> Matrix {
    let resources = attributes::all(system, plan);
    let forbidden = system.flow.as_ref().map(|policy| forbidden_pairs(system, policy)).unwrap_or_default();
    let of_pair = |(from, to): (PartitionId, PartitionId)| {
        let of = |(index, resource): (usize, &Resource)| {
            let carried = resource.carries.iter().find(|(a, b, _)| (*a, *b) == (from, to))?;
            Some(CovertPath { from, to, resource: index, capacity: carried.2 })
        };
        resources.iter().enumerate().filter_map(of).collect::<Vec<_>>()
    };
    let paths = forbidden.into_iter().flat_map(of_pair).collect();
    Matrix { resources, paths }
}

/// The pairs of partitions of which no chain of rules permits the first to influence the second.
fn forbidden_pairs(system: &System, policy: &FlowPolicy) -> Vec<(PartitionId, PartitionId)> {
    let zones = flow::forbidden_pairs(system, policy);
    let zone = |id: PartitionId| system.partition(id).zone.as_ref().map(|zone| zone.value);
    let is_forbidden = |(from, to): &(PartitionId, PartitionId)| match (zone(*from), zone(*to)) {
        (Some(a), Some(b)) => zones.contains(&(a, b)),
        _ => true,
    };
    let pairs = system.partition_ids().flat_map(|from| system.partition_ids().map(move |to| (from, to)));
    pairs.filter(|(from, to)| from != to).filter(is_forbidden).collect()
}

/// One verdict for every such pair, where the policy limits covert channels.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let Some(policy) = &system.flow else { return Vec::new() };
    let Some(limit) = policy.covert_limit else { return Vec::new() };
    let matrix = matrix(system, plan);
    forbidden_pairs(system, policy).into_iter().map(|pair| verdict(system, &matrix, pair, limit)).collect()
}

fn covert_basis(rests_on_servers: bool) -> Basis {
    let source = "Kemmerer 1983; TCSEC 1985, section 8 (from memory)";
    let of_servers = rests_on_servers.then_some(Assumption::ServersWait);
    let assumptions = [Assumption::FlowsDeclared, Assumption::ChannelsListed].into_iter().chain(of_servers);
    basis("covert-channels", source, assumptions.collect())
}

fn verdict(
    system: &System,
    matrix: &Matrix,
    (from, to): (PartitionId, PartitionId),
    limit: Located<BitRate>,
) -> Verdict {
    let subject = format!("{}/{}", system.partition(from).name.value, system.partition(to).name.value);
    let paths: Vec<&CovertPath> = matrix.paths.iter().filter(|path| (path.from, path.to) == (from, to)).collect();
    let is_of_servers = |path: &&CovertPath| matrix.resources[path.resource].donates && path.capacity.is_known();
    let base = Verdict {
        unit: Unit::MillibitsPerSecond,
        relation: Relation::AtMost,
        limit: Some(limit.value.millibits_per_s()),
        place: Some(limit.span),
        ..Verdict::not_analysed(Kind::Covert, subject, covert_basis(paths.iter().any(is_of_servers)), String::new())
    };
    let known = paths.iter().fold(BitRate::default(), |sum, path| sum.plus(path.capacity.known()));
    let names = |wanted: &dyn Fn(&CovertPath) -> bool| -> Vec<&str> {
        let of = paths.iter().filter(|path| wanted(path)).map(|path| matrix.resources[path.resource].name.as_str());
        of.collect()
    };
    if known > limit.value {
        let reason =
            Some(format!("up to {known} by {}", named(&names(&|path| path.capacity.known() > BitRate::default()))));
        return Verdict { status: Status::NotShown, bound: Some(known.millibits_per_s()), reason, ..base };
    }
    let donating = names(&|path| matrix.resources[path.resource].donates);
    if limit.value == BitRate::default() && !donating.is_empty() {
        let reason = Some(format!(
            "nothing may be carried, and what one leaves unused others get, which they can tell: {}",
            named(&donating)
        ));
        return Verdict { status: Status::NotShown, reason, ..base };
    }
    let unknown = names(&|path| path.capacity == Capacity::NotComputed);
    if unknown.is_empty() {
        let reason = Some(format!("{} looked at", crate::names::counted(paths.len() as u64, "resource")));
        return Verdict { status: Status::Shown, bound: Some(known.millibits_per_s()), reason, ..base };
    }
    Verdict { reason: Some(format!("no datum says how much is carried by {}", named(&unknown))), ..base }
}

/// The first of some names, and how many more there are.
fn named(names: &[&str]) -> String {
    let rest = names.len().saturating_sub(NAMED);
    let more = if rest > 0 { format!(" and {rest} more") } else { String::new() };
    format!("{}{more}", names.iter().take(NAMED).copied().collect::<Vec<_>>().join(", "))
}
