//! Verdicts, and what was seen of what they are about.

use super::above::{bound_of, counts_less_waiting};
use super::{Above, Looked, Phases};
use crate::Alarms;
use claim::{Assumption, FoundBy, Kind, Simulated, Verdict};
use simulator::Scenario;
use std::collections::{BTreeMap, BTreeSet};

/// A comparison under way.
pub(super) struct Comparison<'v> {
    verdicts: &'v mut [Verdict],
    by_id: BTreeMap<String, usize>,
    /// The claims about which there is an alarm: the first one is enough.
    alarmed: BTreeSet<usize>,
    alarms: Vec<String>,
    pub(super) looked: Looked,
}

impl<'v> Comparison<'v> {
    pub(super) fn new(verdicts: &'v mut [Verdict]) -> Self {
        let by_id = verdicts.iter().enumerate().map(|(at, verdict)| (verdict.id.clone(), at)).collect();
        Self { verdicts, by_id, alarmed: BTreeSet::new(), alarms: Vec::new(), looked: Looked::default() }
    }

    /// The bound of a claim.
    pub(super) fn bound(&self, id: &str) -> Option<u64> {
        self.by_id.get(id).and_then(|&at| self.verdicts[at].bound)
    }

    /// Takes what one run saw of one claim's subject; `scenario` is asked for where it is above the bound.
    pub(super) fn take(
        &mut self,
        id: &str,
        value: u64,
        found_by: FoundBy,
        phases: Phases,
        scenario: impl FnOnce() -> String,
    ) {
        let Some(&at) = self.by_id.get(id) else { return };
        let verdict = &mut self.verdicts[at];
        let bound = match phases {
            Phases::Any if relies_on_phase(verdict) => verdict.generic,
            Phases::Any | Phases::Declared => {
                note(&mut verdict.simulated, value, found_by);
                if counts_less_waiting(verdict) { verdict.generic } else { verdict.bound }
            }
        };
        self.hold(at, bound, value, scenario);
    }

    /// Takes what a drawn run saw in which line requests wait only for concurrent ones.
    pub(super) fn take_concurrent(&mut self, id: &str, value: u64, run: &Scenario, scenario: impl FnOnce() -> String) {
        let Some(&at) = self.by_id.get(id) else { return };
        let verdict = &mut self.verdicts[at];
        if verdict.kind == Kind::Response {
            note(&mut verdict.concurrent, value, FoundBy::Search);
        }
        let bound = bound_of(verdict, run);
        self.hold(at, bound, value, scenario);
    }

    /// Notes the alarm where a value is above a bound of a claim.
    fn hold(&mut self, at: usize, bound: Option<u64>, value: u64, scenario: impl FnOnce() -> String) {
        if let Some(above) = Above::bound(&self.verdicts[at], bound, value)
            && self.alarmed.insert(at)
        {
            self.alarms.push(above.told(&scenario()));
        }
    }

    pub(super) fn finish(self) -> Result<Looked, Alarms> {
        if self.alarms.is_empty() { Ok(self.looked) } else { Err(Alarms::of(self.alarms)) }
    }
}

/// Whether the bound holds only where tasks arrive with the frame, as declared.
fn relies_on_phase(verdict: &Verdict) -> bool {
    verdict.basis.assumptions.contains(&Assumption::ReleasedAsDeclared)
}

fn note(seen: &mut Option<Simulated>, value: u64, found_by: FoundBy) {
    let seen = seen.get_or_insert(Simulated { largest: value, found_by, runs: 0 });
    seen.runs += 1;
    if value > seen.largest {
        (seen.largest, seen.found_by) = (value, found_by);
    }
}
