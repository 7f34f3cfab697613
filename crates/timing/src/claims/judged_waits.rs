//! Which of the two bounds of a response judges it: the request-driven one, or the one that counts what others can ask for.
//!
//! Both are told. Where only the one that does not judge keeps the deadline, the reason says so.

use super::responses::{self, Analysed};
use super::scope::Scope;
use super::waits::{self, Gain, Waited};
use super::{charge, response_parts};
use crate::interference::Presence;
use crate::response::{self, Response};
use crate::task_set::Task;
use claim::{Assumption, Basis, Status, Verdict};
use model::system::Waiting;
use quantity::Duration;

const SOURCE: &str = "Kim and others, RTAS 2014; Agrawal and others, ECRTS 2017 (from memory)";

/// The verdict `driven` on task `k`, which is that of the request-driven bound, or the other one, as is declared.
pub(super) fn choose(
    scope: &Scope<'_>,
    analysed: &Analysed,
    k: usize,
    driven: Verdict,
    waited: Option<&Result<Waited, String>>,
) -> Verdict {
    let declared = scope.system.board.interconnect.as_ref().and_then(|interconnect| interconnect.waiting.as_ref());
    let by_overlap = declared.is_some_and(|waiting| waiting.value == Waiting::WindowOverlap);
    let waited = match waited {
        None => return driven,
        Some(Err(why)) if by_overlap => return saying(driven, why.clone()),
        Some(Err(_)) => return driven,
        Some(Ok(waited)) => waited,
    };
    let both = Verdict { generic: driven.bound, table_aware: Some(waited.response_ns), ..driven };
    match &waited.gain {
        Some(gain) if by_overlap => judge(scope, analysed, k, both, gain),
        Some(gain) => point_out(analysed, k, both, gain),
        None => both,
    }
}

fn saying(verdict: Verdict, more: String) -> Verdict {
    let reason = verdict.reason.map_or_else(|| more.clone(), |reason| format!("{reason}; {more}"));
    Verdict { reason: Some(reason), ..verdict }
}

/// A deadline that only the request-driven bound passes is no deadline that is missed.
fn point_out(analysed: &Analysed, k: usize, driven: Verdict, gain: &Gain) -> Verdict {
    let deadline_ns = analysed.tasks[k].deadline_ns;
    let kept = driven.generic.is_some_and(|generic_ns| generic_ns <= deadline_ns);
    if kept || gain.latest.response_ns > deadline_ns || analysed.throttled.is_some() {
        return driven;
    }
    let bound = Duration::from_ns(gain.latest.response_ns);
    let more = format!(
        "counting only what other masters can ask for meanwhile the bound is {bound}, which keeps it: \
         `waiting = \"window-overlap\"` in `[board.interconnect]` lets that one judge"
    );
    let status = if driven.status == Status::Violated { Status::NotShown } else { driven.status };
    saying(Verdict { status, witness: None, ..driven }, more)
}

fn judge(scope: &Scope<'_>, analysed: &Analysed, k: usize, both: Verdict, gain: &Gain) -> Verdict {
    let deadline_ns = analysed.tasks[k].deadline_ns;
    let base = Verdict {
        bound: Some(gain.latest.response_ns),
        exact: false,
        witness: None,
        parts: response_parts::of_gain(scope, analysed, k, gain),
        untold: None,
        basis: basis(&both.basis, gain),
        ..both
    };
    if gain.latest.response_ns > deadline_ns {
        return past_deadline(scope, analysed, k, base);
    }
    if let Some(why) = &analysed.throttled {
        return Verdict { status: Status::NotShown, reason: Some(why.clone()), ..base };
    }
    let reason = "a bound: the other masters may not all ask for so much at once";
    Verdict { status: Status::Shown, reason: Some(reason.to_owned()), ..base }
}

/// A miss is claimed only where the jobs miss the deadline even if they wait for no memory at all.
fn past_deadline(scope: &Scope<'_>, analysed: &Analysed, k: usize, base: Verdict) -> Verdict {
    if let Some(alone) = without_waiting(scope, analysed) {
        let missed = responses::judge(scope, &alone, k, base.clone());
        if missed.status == Status::Violated {
            let (bound, parts, exact) = (base.bound, base.parts, false);
            let reason = missed.reason.map(|reason| format!("even without waiting for memory {reason}"));
            return Verdict { bound, parts, exact, reason, ..missed };
        }
    }
    let over = Duration::from_ns(base.bound.unwrap_or(0).saturating_sub(analysed.tasks[k].deadline_ns));
    let reason =
        format!("the bound passes the deadline by {over}; the other masters may not all ask for so much at once");
    Verdict { status: Status::NotShown, reason: Some(reason), ..base }
}

/// The same tasks, were there no other master, no less urgent job, and no loss that need not be.
fn without_waiting(scope: &Scope<'_>, analysed: &Analysed) -> Option<Analysed> {
    let sure = analysed.sure();
    let alone = charge::without_waiting(scope, &sure.ids, &sure.tasks);
    let tasks: Vec<_> = alone.into_iter().map(|task| Task { blocking_ns: 0, ..task }).collect();
    let set = sure.set_of(&tasks)?;
    let responses: Vec<Response> = response::worst_responses(&sure.supply, &set);
    Some(Analysed {
        ids: sure.ids.clone(),
        supply: sure.supply.clone(),
        cluster: Vec::new(),
        basis: sure.basis.clone(),
        throttled: sure.throttled.clone(),
        without_losses: None,
        tasks,
        set,
        responses,
        ..*sure
    })
}

fn basis(driven: &Basis, gain: &Gain) -> Basis {
    let bus = &gain.bus;
    let mut assumptions = driven.assumptions.clone();
    if bus.masters.iter().any(|master| matches!(master.presence, Presence::Windows(_))) {
        assumptions.extend([Assumption::FramesSynchronised, Assumption::WindowsEnforced]);
    }
    if waits::counts_jobs(bus) {
        assumptions.push(Assumption::OthersSteady);
        assumptions.extend_from_slice(&gain.others_rest_on);
    }
    if bus.masters.iter().any(|master| master.budget.is_some()) {
        assumptions.push(Assumption::BudgetsRegulated);
    }
    if bus.masters.iter().any(|master| master.flow.is_some()) {
        assumptions.push(Assumption::DevicesKeepToRates);
    }
    assumptions.sort_unstable();
    assumptions.dedup();
    Basis { analysis: "interference", source: SOURCE, assumptions }
}
