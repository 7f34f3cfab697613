//! Initialisation of a partition inside its own windows, as boot, restarts and schedule changes have it.

use super::partition_supply::{self, Given, Losses};
use super::scope::Scope;
use crate::startup::{self, LongestSpan};
use claim::{Part, PartKind};
use model::system::{ChangeAction, CorePolicy};
use quantity::PartitionId;

/// From what a partition starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Start {
    Warm,
    Cold,
}

impl Start {
    pub(super) const BOTH: [Self; 2] = [Self::Warm, Self::Cold];

    /// The start that a change of schedule asks for, if any.
    pub(super) fn of_change(action: ChangeAction) -> Option<Self> {
        match action {
            ChangeAction::None => None,
            ChangeAction::Warm => Some(Self::Warm),
            ChangeAction::Cold => Some(Self::Cold),
        }
    }

    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Warm => "warm",
            Self::Cold => "cold",
        }
    }
}

/// The execution time of the initialisation, in ns.
///
/// # Errors
/// Which datum is missing.
pub(super) fn work_ns(scope: &Scope<'_>, partition: PartitionId, start: Start) -> Result<u64, String> {
    let restart = scope.system.partition(partition).restart.as_ref();
    let (given, key) = match start {
        Start::Warm => (restart.and_then(|restart| restart.warm_init.as_ref()), "warm_init"),
        Start::Cold => (restart.and_then(|restart| restart.cold_init.as_ref()), "cold_init"),
    };
    given.map(|init| init.value.ns()).ok_or_else(|| missing(scope, key, partition))
}

pub(super) fn missing(scope: &Scope<'_>, key: &str, partition: PartitionId) -> String {
    format!("`{key}` of `{}` is not given", scope.partition_name(partition))
}

/// Where a partition may execute work that goes before everything else of it: any of its virtual cores.
pub(super) struct Place {
    supplies: Vec<Given>,
    /// Whether its supply at an instant after the first frame's begin, or after a change of schedule, is known.
    in_phase: bool,
    /// Whether its supply from any instant is known, and not only a lower curve.
    exact: bool,
}

/// Work that began at an instant of a frame begin's time and is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Done {
    /// When, in ns from that begin.
    pub(super) at_ns: u64,
    /// Why it may be done sooner, however long everything takes.
    pub(super) caution: Option<&'static str>,
}

impl Place {
    /// # Errors
    /// Why the supply of one of the virtual cores is not known.
    pub(super) fn of(scope: &Scope<'_>, partition: PartitionId) -> Result<Self, String> {
        let virtual_cores = || 0..scope.system.partition(partition).virtual_cores.value;
        let policies: Vec<_> = virtual_cores().flat_map(|core| scope.policies_of(partition, core)).collect();
        let in_phase = |policy: &&CorePolicy| {
            matches!(policy, CorePolicy::WindowTable { synchronised: true, .. } | CorePolicy::Dedicated)
        };
        let supplies = virtual_cores().map(|core| partition_supply::supply(scope, partition, core, Losses::DECLARED));
        let supplies: Vec<Given> = supplies.collect::<Result<_, _>>()?;
        Ok(Self { in_phase: policies.iter().all(in_phase), exact: supplies.iter().all(Given::is_exact), supplies })
    }

    /// Work that begins at an instant of the first frame, after boot or after a change of schedule.
    pub(super) fn done(&self, from_ns: u64, work_ns: u64) -> Option<Done> {
        let from_begin = || {
            let done = self.supplies.iter().map(|given| {
                startup::done_from_frame_begin_ns(&given.supply, from_ns.checked_add(given.late_ns)?, work_ns)
            });
            done.collect::<Option<Vec<_>>>()?.into_iter().max()
        };
        let from_any = || from_ns.checked_add(self.longest_span(work_ns)?.span_ns);
        // The first frame's head is paid in any phase.
        // Of what is only known from below nothing is known of the frame's begin.
        let from_frame = self.in_phase && self.supplies.iter().all(|given| given.supply.kind().is_exact());
        let at_ns = match (from_frame, self.exact) {
            (true, _) => from_begin()?,
            (false, true) => from_begin()?.max(from_any()?),
            (false, false) => from_any()?,
        };
        let caution = if !self.in_phase {
            Some("its core keeps no phase with the board's first frame, so the worst is taken")
        } else if !self.is_single() {
            Some("it is not given which virtual core initialises, so the slowest is taken")
        } else {
            None
        };
        Some(Done { at_ns, caution })
    }

    /// Whether it is known where the partition initialises.
    fn is_single(&self) -> bool {
        self.supplies.len() == 1
    }

    /// Whether the longest span is surely that long from some instant.
    pub(super) fn is_certain(&self) -> bool {
        self.is_single() && self.exact
    }

    /// The longest span of work from any instant.
    pub(super) fn longest_span(&self, work_ns: u64) -> Option<LongestSpan> {
        let spans = self.supplies.iter().map(|given| startup::longest_span(&given.at_any_instant(), work_ns));
        // Of equal ones the first.
        let later = |a: LongestSpan, b: LongestSpan| if b.span_ns > a.span_ns { b } else { a };
        spans.collect::<Option<Vec<_>>>()?.into_iter().reduce(later)
    }

    /// The shortest span of work from any instant.
    pub(super) fn shortest_span_ns(&self, work_ns: u64) -> Option<u64> {
        if !self.exact {
            return Some(work_ns);
        }
        self.supplies.iter().filter_map(|given| startup::shortest_span_ns(&given.supply, work_ns)).min()
    }
}

/// Why work is never done.
pub(super) fn never(scope: &Scope<'_>, partition: PartitionId) -> String {
    format!("`{}` has no usable window in `{}`, or too few for this", scope.partition_name(partition), scope.name())
}

/// A stretch of `span_ns` in which a partition initialises for `work_ns` and else has no supply.
pub(super) fn parts(scope: &Scope<'_>, partition: PartitionId, span_ns: u64, work_ns: u64) -> [Part; 2] {
    assert!(work_ns <= span_ns, "no supply is faster than time");
    let name = scope.partition_name(partition);
    [Part::new(name, PartKind::Blackout, span_ns - work_ns), Part::new(name, PartKind::Initialisation, work_ns)]
}
