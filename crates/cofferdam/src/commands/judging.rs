//! What `trace` and `rehearse` share: a recording is held against system, plan and map.

use model::System;
use plan::Plan;
use trace::clock::Fit;
use trace::judge::{Allowed, Finding, Judge, Judgement, Status};
use trace::map::Map;
use trace::rebuilt::Both;
use trace::recording::{self, Source, Taking};
use trace::spans::{Given, Measure, Spans, Values};

/// What recordings are held against.
#[derive(Clone, Copy)]
pub struct Against<'a> {
    pub system: &'a System,
    pub plan: &'a Plan,
    pub map: &'a Map,
    pub allowed: Allowed,
}

impl<'a> Against<'a> {
    /// The same with what the map alone allows.
    pub fn by_map(system: &'a System, plan: &'a Plan, map: &'a Map) -> Self {
        let allowed = Allowed { window_ns: map.tolerance_ns, origin_ns: map.frame_at_ns };
        Self { system, plan, map, allowed }
    }

    /// Takes a recording in, judges it, and measures around its faults, all in one reading.
    pub fn judge(&self, sources: Vec<Box<dyn Source>>, fits: Vec<Fit>, given: Given) -> Heard {
        let mut judge = Judge::new(self.system, self.plan, self.allowed);
        let mut spans = Spans::new(self.system, given);
        let taking = recording::take(self.system, self.map, sources, fits, &mut Both(&mut judge, &mut spans));
        Heard { taking, judgement: judge.finish(), fault: spans.fault_ns(), values: spans.finish() }
    }
}

/// What was heard of a recording.
pub struct Heard {
    pub taking: Taking,
    pub judgement: Judgement,
    /// When the fault began and ended, as given or recorded.
    pub fault: Option<(u64, Option<u64>)>,
    /// What was measured before it, while it lasted, and after it.
    pub values: Vec<(Measure, Values)>,
}

/// Whether some rule was not seen to be kept.
pub fn is_open(findings: &[Finding], allow_not_analysed: bool) -> bool {
    findings.iter().any(|found| match found.status {
        Status::Kept => false,
        Status::Violated => true,
        Status::NotAnalysed(_) => !allow_not_analysed,
    })
}
