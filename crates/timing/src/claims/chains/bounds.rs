//! The two bounds of a chain, which of them decides, and what that rests on.

use super::aligned::Aligned;
use super::links::Link;
use super::segments::{self, Segment};
use crate::chain::generic_ns;
use crate::chain::logical::{LogicalTask, LogicalTasks};
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use claim::{Assumption, Basis};
use model::system::Release;

const GENERIC: &str = "Davare and others, DAC 2007";
const FOLLOWED: &str =
    "Becker and others, Journal of Systems Architecture 80, 2017; Günzel and others, ECRTS 2023 (from memory)";
const CUT: &str = "Becker and others, Journal of Systems Architecture 80, 2017; Günzel and others, ECRTS 2023; cut after \
    Dürr and others, ACM TECS 18(5s), 2019 (from memory)";
const LOGICAL: &str =
    "Günzel and others, ECRTS 2023; Martinez, Sañudo and Bertogna, IEEE TCAD 37(11), 2018 (from memory)";

/// Both bounds of a chain, the times of devices included, in ns.
pub(super) struct Bounds<'a> {
    pub(super) generic_ns: u64,
    /// The table-aware bound, or why there is none.
    pub(super) table: Result<Table<'a>, String>,
    /// Whether some run attains the bound that decides.
    pub(super) exact: bool,
}

/// The table-aware bound.
pub(super) struct Table<'a> {
    pub(super) segments: Vec<Segment<'a>>,
    pub(super) longest_ns: u64,
}

impl<'a> Bounds<'a> {
    pub(super) fn of(scope: &Scope<'_>, aligned: &mut Aligned<'_>, links: &'a [Link], devices_ns: u64) -> Self {
        let stages: Vec<_> = links.iter().map(Link::stage).collect();
        let generic_ns = generic_ns(&stages).saturating_add(devices_ns);
        let table = segments::of(aligned, links).map(|segments| {
            let longest_ns = segments.iter().map(Segment::longest_ns).fold(devices_ns, u64::saturating_add);
            Table { segments, longest_ns }
        });
        let exact = table.as_ref().is_ok_and(|table| devices_ns == 0 && is_logical(&table.segments, links));
        if let (Ok(table), true) = (&table, exact) {
            hold_to_definitions(scope, links, table.longest_ns);
        }
        Self { generic_ns, table, exact }
    }

    /// The table-aware bound, where it decides.
    pub(super) fn deciding_table(&self) -> Option<&Table<'a>> {
        self.table.as_ref().ok().filter(|table| self.exact || table.longest_ns < self.generic_ns)
    }

    /// The bound that decides.
    pub(super) fn decides_ns(&self) -> u64 {
        self.deciding_table().map_or(self.generic_ns, |table| table.longest_ns)
    }

    pub(super) fn basis(&self, scope: &Scope<'_>, results: &Results, links: &[Link]) -> Basis {
        let source = match self.deciding_table() {
            None => GENERIC,
            Some(_) if self.exact => LOGICAL,
            Some(table) if table.segments.len() > 1 => CUT,
            Some(_) => FOLLOWED,
        };
        let of_responses = |link: &Link| results.analysed(scope, link.id).map(|(core, _)| &core.basis.assumptions);
        let mut assumptions: Vec<Assumption> = links.iter().filter_map(of_responses).flatten().copied().collect();
        if self.deciding_table().is_some() {
            assumptions.extend([Assumption::FramesSynchronised, Assumption::ReleasedAsDeclared]);
        }
        if links.iter().any(|link| link.network_ns.is_some()) {
            assumptions.push(Assumption::ForwardedAsDeclared);
        }
        assumptions.sort_unstable();
        assumptions.dedup();
        Basis { source, assumptions, ..no_basis() }
    }

    /// What is to be said of how the bound was found.
    pub(super) fn remark(&self) -> Option<String> {
        match (&self.table, self.deciding_table()) {
            (Err(why), _) => Some(format!("by the generic bound: {why}")),
            (Ok(_), None) => {
                Some("by the generic bound: the job chains under the window table give no less".to_owned())
            }
            (Ok(_), Some(_)) if self.exact => None,
            (Ok(_), Some(table)) => Some(followed_remark(&table.segments)),
        }
    }

    /// Every job of a chain that is followed as a whole, with its arrival in ns, and before them the read after which
    /// the stimulus comes.
    pub(super) fn path(&self) -> Vec<(i64, i64)> {
        let Some([Segment::Followed { jobs, found, .. }]) = self.deciding_table().map(|table| &table.segments[..])
        else {
            return Vec::new();
        };
        let arrivals = jobs.iter().zip(&found.jobs).map(|(times, &job)| (times.arrival_ns(job), job));
        std::iter::once((found.stimulus_ns, 0)).chain(arrivals).collect()
    }
}

fn followed_remark(segments: &[Segment<'_>]) -> String {
    let anywhere = |segment: &Segment<'_>| match segment {
        Segment::Anywhere { link, why } => Some(format!("at `{}`: {why}", link.label)),
        Segment::Followed { .. } => None,
    };
    let cuts: Vec<_> = segments.iter().filter_map(anywhere).collect();
    match (segments.len(), cuts.is_empty()) {
        (1, _) => "by job chains under the window table; no run is known that attains the bound".to_owned(),
        (_, true) => "by job chains under the window table, cut at the internal network".to_owned(),
        (_, false) => format!("by job chains under the window table, cut {}", cuts.join(", ")),
    }
}

/// What a chain's verdict rests on before anything is known.
pub(super) fn no_basis() -> Basis {
    Basis { analysis: "chains", source: GENERIC, assumptions: Vec::new() }
}

/// Whether all reads and writes of the chain are at known instants, in every run.
fn is_logical(segments: &[Segment<'_>], links: &[Link]) -> bool {
    let known = |link: &Link| {
        let times = &link.times;
        let in_time = times.response_ns <= times.deadline_ns && times.caveat.is_none();
        link.logical && in_time && link.reads == 1 && link.lost.is_none()
    };
    matches!(segments, [Segment::Followed { .. }]) && links.iter().all(known)
}

/// Asserts that the chain's reaction time and data age, by their definitions and by the way that is fast, are what
/// was found.
fn hold_to_definitions(scope: &Scope<'_>, links: &[Link], longest_ns: u64) {
    let logical = |link: &Link| LogicalTask {
        period_ns: link.times.period_ns,
        offset_ns: match scope.system.task(link.id).release.value {
            Release::FrameAligned { offset } => offset.ns(),
            Release::FreeRunning => 0,
        },
        deadline_ns: link.times.deadline_ns,
    };
    let chain: Vec<usize> = (0..links.len()).collect();
    let tasks = LogicalTasks::new(&links.iter().map(logical).collect::<Vec<_>>());
    let tasks = tasks.expect("a task of a system has a period above zero");
    for (found, what) in [
        (tasks.longest_ns(&chain), "the longest reaction time"),
        (tasks.reaction_ns(&chain), "the reaction time by its definition"),
        (tasks.age_ns(&chain), "the held data age by its definition"),
    ] {
        assert_eq!(found, Ok(longest_ns), "{what} is what the job chains give");
    }
}
