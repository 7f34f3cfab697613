//! Reaction times and data ages of chains against their needs.
//!
//! Computes: for each chain two bounds, which hold for its reaction time and for its held data age alike: the generic
//! one, and the one that knows the window table; and from the smaller one the verdict, with what it is made of.
//! Source: `crate::chain` and the files of this folder.
//! Assumptions: those of the responses; messages between the chain's tasks only; the table-aware bound adds that
//! frames are synchronised and tasks released as declared.
//! Symbols: times in ns.
//! Invariants and why it ends: the table-aware bound is never above the generic one: a job reads at or after its
//! arrival and writes within its response, so that each hop takes no more than a period and a response. Where the two
//! kinds of bound disagree, [`super::alarms`] says so.
//! Differs from the source: nothing.
//! Checked by: the survey vessel's seven chains; published examples; cases with one datum taken away each.

pub(super) mod aligned;
mod bounds;
mod links;
mod segments;
mod waterfall;

use super::results::Results;
use super::scope::Scope;
use aligned::Aligned;
use bounds::Bounds;
use claim::{Kind, Part, PartKind, Status, Verdict, Witness, WitnessRelease};
use diagnostic::Located;
use links::Link;
use model::System;
use model::system::{Chain, Need};
use quantity::Duration;
use waterfall::Waterfall;

/// One verdict for each chain whose tasks all run in the schedule.
pub(super) fn check<'a>(scope: &'a Scope<'a>, results: &'a Results, aligned: &mut Aligned<'a>) -> Vec<Verdict> {
    let here = scope.system.chains.iter().filter(|chain| runs(scope, chain));
    here.map(|chain| verdict(scope, results, aligned, chain)).collect()
}

/// One verdict for each chain whose tasks run together in none of the schedules.
pub(super) fn check_idle(system: &System, scopes: &[Scope<'_>]) -> Vec<Verdict> {
    let nowhere = |chain: &&Chain| !scopes.iter().any(|scope| runs(scope, chain));
    let verdict = |chain: &Chain| {
        let (kind, need) = need(chain);
        let reason = "its tasks run together in no module schedule";
        let verdict = Verdict::not_analysed(kind, &*chain.name.value, bounds::no_basis(), reason);
        Verdict { limit: Some(need.ns()), place: Some(chain.name.span), ..verdict }
    };
    system.chains.iter().filter(nowhere).map(verdict).collect()
}

fn runs(scope: &Scope<'_>, chain: &Chain) -> bool {
    chain.steps.iter().map(|step| step.task.value).all(|id| {
        let partition = scope.system.task(id).partition;
        !scope.is_idle(partition) && scope.tasks(partition).contains(&id)
    })
}

fn need(chain: &Chain) -> (Kind, Duration) {
    match &chain.need {
        Need::Reaction(need) => (Kind::Reaction, need.value),
        Need::DataAge(need) => (Kind::DataAge, need.value),
    }
}

fn verdict(scope: &Scope<'_>, results: &Results, aligned: &mut Aligned<'_>, chain: &Chain) -> Verdict {
    let (kind, need) = need(chain);
    let open = |basis, reason| Verdict {
        limit: Some(need.ns()),
        ..scope.claim(kind, chain.name.value.clone(), basis, chain.name.span, reason)
    };
    let links = match links::of(scope, results, chain) {
        Ok(links) => links,
        Err(reason) => return open(bounds::no_basis(), reason),
    };
    let devices_ns = device_ns(&chain.before).saturating_add(device_ns(&chain.after));
    let found = Bounds::of(scope, aligned, &links, devices_ns);
    let base = Verdict {
        bound: Some(found.decides_ns()),
        exact: found.exact,
        generic: Some(found.generic_ns),
        table_aware: found.table.as_ref().ok().map(|table| table.longest_ns),
        parts: parts(scope, results, chain, &links, &found),
        ..open(found.basis(scope, results, &links), String::new())
    };
    judge(scope, need, &links, &found, base)
}

fn device_ns(time: &Option<Located<Duration>>) -> u64 {
    time.as_ref().map_or(0, |time| time.value.ns())
}

/// What the bound that decides is made of.
fn parts(scope: &Scope<'_>, results: &Results, chain: &Chain, links: &[Link], found: &Bounds<'_>) -> Vec<Part> {
    let mut waterfall = Waterfall::new(scope, results);
    waterfall.add("before", PartKind::Device, device_ns(&chain.before));
    match found.deciding_table() {
        Some(table) => table.segments.iter().for_each(|segment| waterfall.add_segment(segment)),
        None => links.iter().for_each(|link| waterfall.add_anywhere(link)),
    }
    waterfall.add("after", PartKind::Device, device_ns(&chain.after));
    waterfall.into_parts()
}

fn judge(scope: &Scope<'_>, need: Duration, links: &[Link], found: &Bounds<'_>, base: Verdict) -> Verdict {
    let over_ns = found.decides_ns().saturating_sub(need.ns());
    let over = (over_ns > 0).then(|| format!("the bound passes the need by {}", Duration::from_ns(over_ns)));
    if let (Some(over), true) = (&over, found.exact) {
        let witness = Some(witness(scope, links, found));
        return Verdict { status: Status::Violated, reason: Some(over.clone()), witness, ..base };
    }
    let lost = links.iter().find_map(|link| link.lost.clone());
    let caveat = || links.iter().find_map(|link| link.times.caveat.clone());
    match lost.or_else(caveat) {
        Some(why) => {
            let reason = over.into_iter().chain([why]).collect::<Vec<_>>().join("; ");
            Verdict { status: Status::NotShown, reason: Some(reason), ..base }
        }
        None => match over {
            Some(over) => {
                let reason = found.remark().into_iter().fold(over, |over, remark| format!("{over}; {remark}"));
                Verdict { status: Status::NotShown, reason: Some(reason), ..base }
            }
            None => Verdict { status: Status::Shown, reason: found.remark(), ..base },
        },
    }
}

/// The jobs behind an exact bound: a stimulus just after the read from which it counts.
fn witness(scope: &Scope<'_>, links: &[Link], found: &Bounds<'_>) -> Witness {
    let path = found.path();
    let (begin_ns, _) = path.first().copied().unwrap_or_default();
    let release = |(link, &(arrival_ns, job)): (&Link, &(i64, i64))| WitnessRelease {
        task: link.label.clone(),
        job: job.max(0) as u64,
        arrival_ns: arrival_ns - begin_ns,
        release_ns: arrival_ns - begin_ns,
        execution_ns: link.times.charged_ns,
    };
    let first = links.first().map_or("", |link| link.label.as_str());
    let frame_ns = scope.frame_ns() as i64; // At most 2^53.
    Witness {
        summary: format!("a stimulus comes just after a job of `{first}` has read; the next one takes it"),
        phase_ns: Some(begin_ns.rem_euclid(frame_ns) as u64),
        releases: links.iter().zip(&path[1..]).map(release).collect(),
        timeline: Vec::new(),
        completes_ns: Some(found.decides_ns()),
    }
}
