//! By how much the instants of a task's outputs vary, against its need.
//!
//! Computes: the latest completion after an arrival less the earliest one.
//! Source: output jitter as the distance of latest and earliest finish: common practice, no source; the two finishes:
//! `crate::response` and `crate::chain`.
//! Assumptions: those of the responses; where the jobs of the hyperperiod are followed, that frames are synchronised
//! and tasks released as declared.
//! Symbols: times in ns.
//! Invariants and why it ends: no job completes before its shortest execution is over, nor after its response; under
//! logical execution time the output waits for the deadline, so only a job past it varies.
//! Differs from the source: nothing.
//! Checked by: a task alone in its partition by hand, random runs, the survey vessel with needs added.

use super::chains::aligned::Aligned;
use super::results::{Results, TaskTimes};
use super::scope::Scope;
use claim::{Assumption, Basis, Kind, Status, Verdict};
use model::system::Exchange;
use quantity::{Duration, TaskId};

/// One verdict for each task with a need that runs in the schedule.
pub(super) fn check<'a>(scope: &'a Scope<'a>, results: &'a Results, aligned: &mut Aligned<'a>) -> Vec<Verdict> {
    let running = scope.running_partitions().flat_map(|partition| scope.tasks(partition).iter().copied());
    running.filter_map(|id| verdict(scope, results, aligned, id)).collect()
}

/// How far outputs vary, and what is to be said of it.
struct Jitter {
    ns: u64,
    /// Whether that takes the phase of the frame for granted.
    followed: bool,
    remark: Option<String>,
}

fn verdict(scope: &Scope<'_>, results: &Results, aligned: &mut Aligned<'_>, id: TaskId) -> Option<Verdict> {
    let need = scope.system.task(id).output_jitter?;
    let label = scope.system.task_label(id);
    let open = |basis, reason| Verdict {
        limit: Some(need.value.ns()),
        ..scope.claim(Kind::OutputJitter, label.clone(), basis, need.span, reason)
    };
    let times = match results.task(scope, id) {
        Ok(times) => times,
        Err(reason) => return Some(open(basis(scope, results, id, false), reason)),
    };
    let jitter = jitter(scope, aligned, id, &times);
    let base = Verdict { bound: Some(jitter.ns), ..open(basis(scope, results, id, jitter.followed), String::new()) };
    Some(judge(base, need.value, jitter, times))
}

fn judge(base: Verdict, need: Duration, jitter: Jitter, times: TaskTimes) -> Verdict {
    let over = Duration::from_ns(jitter.ns.saturating_sub(need.ns()));
    let over = (over.ns() > 0).then(|| format!("the bound passes the need by {over}"));
    let status = if over.is_none() && times.caveat.is_none() { Status::Shown } else { Status::NotShown };
    let remarks: Vec<_> = over.into_iter().chain(times.caveat).chain(jitter.remark).collect();
    Verdict { status, reason: (!remarks.is_empty()).then(|| remarks.join("; ")), ..base }
}

fn jitter(scope: &Scope<'_>, aligned: &mut Aligned<'_>, id: TaskId, times: &TaskTimes) -> Jitter {
    let task = scope.system.task(id);
    if task.exchange == Exchange::Logical {
        let ns = times.response_ns.saturating_sub(times.deadline_ns);
        return Jitter { ns, followed: false, remark: None };
    }
    let any_phase_ns = times.response_ns.saturating_sub(times.shortest_ns);
    let unknown = task.bcet.is_none().then(|| "no shortest execution time is declared, and 1 ns is taken".to_owned());
    match aligned.jitter_ns(id, times.response_ns) {
        Ok(ns) if ns < any_phase_ns => Jitter { ns, followed: true, remark: unknown },
        _ => Jitter { ns: any_phase_ns, followed: false, remark: unknown },
    }
}

fn basis(scope: &Scope<'_>, results: &Results, id: TaskId, followed: bool) -> Basis {
    let analysed = results.analysed(scope, id);
    let mut assumptions = analysed.map_or_else(Vec::new, |(core, _)| core.basis.assumptions.clone());
    if followed {
        assumptions.extend([Assumption::FramesSynchronised, Assumption::ReleasedAsDeclared]);
    }
    assumptions.sort_unstable();
    assumptions.dedup();
    Basis { analysis: "output-jitter", source: "common practice, no source", assumptions }
}
