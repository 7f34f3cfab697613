//! Whether a partition keeps its time whatever the other cores do.

use super::{Part, Subject, claims_of};
use claim::{Kind, Verdict};
use diagnostic::Located;
use model::System;
use plan::Plan;
use quantity::{PartitionId, Ppm};
use timing::claims::Load;

/// All that a partition is given.
pub(super) const WHOLE_PPM: u64 = 1_000_000;

/// Two analyses of one system: with the other cores idle, and with them at their worst.
pub(super) struct Runs {
    idle: Vec<Verdict>,
    idle_loads: Vec<Load>,
    worst_loads: Vec<Load>,
}

impl Runs {
    pub fn of(system: &System, plan: &Plan) -> Self {
        let (idle, idle_loads) = timing::claims::kept(&with_others_idle(system), plan);
        let (_, worst_loads) = timing::claims::kept(system, plan);
        Self { idle, idle_loads, worst_loads }
    }

    /// The largest share of its time that a partition asks for in any module schedule, with the others at their worst. What is
    /// exactly full may be rounded above the whole; whether it fits is what the responses say.
    pub fn worst_ppm(&self, id: PartitionId) -> Option<u64> {
        largest(&self.worst_loads, id)
    }
}

fn largest(loads: &[Load], id: PartitionId) -> Option<u64> {
    let own = loads.iter().filter(|load| load.partition == id);
    own.map(|load| load.ppm.as_ref().ok().copied()).collect::<Option<Vec<_>>>()?.into_iter().max()
}

/// The same system where no other master lengthens a job: none asks for a line.
fn with_others_idle(system: &System) -> System {
    let mut idle = system.clone();
    for task in &mut idle.tasks {
        task.line_requests = Some(Located::new(0, task.name.span));
        task.sensitivity = None;
    }
    idle
}

/// What robust time partitioning of a partition is put together from.
pub(super) fn parts(subject: &Subject<'_>, runs: &Runs) -> Vec<Part> {
    let without = "nothing says which time it needs";
    let percent = |loads: &[Load]| {
        largest(loads, subject.id).map(|ppm| format!("it asks for {} of what it is given", Ppm::new(ppm)))
    };
    let run = |what, verdicts: &[Verdict], loads| {
        Part::of(what, &of_partition(subject, verdicts), without).with(percent(loads))
    };
    vec![
        run("with the others idle", &runs.idle, &runs.idle_loads),
        run("with the others at their worst", subject.verdicts, &runs.worst_loads),
        channels(subject),
    ]
}

/// The windows of a partition and of its cores, and the responses of its tasks.
fn of_partition<'v>(subject: &Subject<'_>, verdicts: &'v [Verdict]) -> Vec<&'v Verdict> {
    let name = subject.name();
    let responses = claims_of(verdicts, Kind::Response, |about| about.split('.').next() == Some(name));
    if responses.is_empty() {
        return responses;
    }
    let cores: Vec<String> =
        subject.cores().iter().map(|core| format!("core/{}", subject.system.core(*core).name.value)).collect();
    let set = subject.system.partition(subject.id).core_set.as_ref();
    let set = set.map(|set| format!("set/{}", subject.system.core_sets[set.value.index()].name.value));
    let is_own =
        |about: &str| about.rsplit_once('/').is_some_and(|(_, last)| last == name) && !about.starts_with("core/");
    let is_about =
        |about: &str| is_own(about) || cores.iter().any(|core| core == about) || set.as_deref() == Some(about);
    let mut claims = claims_of(verdicts, Kind::Window, is_about);
    claims.extend(responses);
    claims
}

/// The channels that reach a partition. Where nothing is shared there is nothing to close.
fn channels(subject: &Subject<'_>) -> Part {
    let channels = separation::channels::list(subject.system, subject.plan);
    let reaching = channels.iter().filter(|channel| channel.partitions.contains(&subject.id));
    let ids: Vec<String> = reaching.map(separation::channels::InterferenceChannel::claim).collect();
    let claims: Vec<&Verdict> = subject.verdicts.iter().filter(|verdict| ids.contains(&verdict.id)).collect();
    let part = Part::of("channels", &claims, "no channel reaches it");
    if ids.is_empty() { Part { status: claim::Status::Shown, ..part } } else { part }
}
