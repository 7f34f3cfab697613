//! What `trace` and `rehearse` share: a recording is held against system, plan and map.

use model::System;
use plan::Plan;
use trace::clock::Fit;
use trace::judge::{Allowed, Finding, Judge, Judgement, Status};
use trace::map::Map;
use trace::rebuilt::{Both, Observer};
use trace::recording::{self, Source, Taking};

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

    /// Takes a recording in and judges it; `beside` is told what the judge is.
    pub fn judge(
        &self,
        sources: Vec<Box<dyn Source>>,
        fits: Vec<Fit>,
        beside: &mut dyn Observer,
    ) -> (Taking, Judgement) {
        let mut judge = Judge::new(self.system, self.plan, self.allowed);
        let taking = recording::take(self.system, self.map, sources, fits, &mut Both(&mut judge, beside));
        (taking, judge.finish())
    }
}

/// Told, and does nothing.
pub struct Nobody;

impl Observer for Nobody {}

/// Whether some rule was not seen to be kept.
pub fn is_open(findings: &[Finding], allow_not_analysed: bool) -> bool {
    findings.iter().any(|found| match found.status {
        Status::Kept => false,
        Status::Violated => true,
        Status::NotAnalysed(_) => !allow_not_analysed,
    })
}
