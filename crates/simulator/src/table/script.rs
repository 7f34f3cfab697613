//! What a fault does to one partition alone.

use super::crash::{Again, Crash};
use super::releases::Ranked;
use super::supply::{Late, Supply};
use super::unfit::Unfit;
use super::unit::{ENDLESS, Fixed};
use crate::fault::{Kind, Target};
use crate::protection::Protection;
use crate::{Machine, Scenario};

/// Something beside a release at which a partition must be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Point {
    /// From now on jobs that begin execute otherwise.
    Changes,
    /// The partition executes nothing from now on.
    Fails,
    /// Its jobs are dropped.
    TakenDown,
    /// The run ends.
    End,
}

impl Point {
    const ALL: [Self; 4] = [Self::Changes, Self::Fails, Self::TakenDown, Self::End];

    pub(super) fn of(number: u32) -> Self {
        Self::ALL.get(number as usize).copied().unwrap_or(Self::End)
    }
}

/// What a fault does to the one partition that it is of.
#[derive(Debug, Clone)]
pub(super) struct Script {
    /// The tasks of which jobs execute otherwise, by rank; how many jobs of each.
    pub(super) changed: u64,
    pub(super) jobs: u64,
    /// By how much beyond their charged time; without end where not given.
    extra_ns: Option<u64>,
    /// Points, by time.
    pub(super) points: Vec<(u64, Point)>,
    /// The partition fails.
    pub(super) crash: Option<Crash>,
    /// Arrivals from the first instant on are released at the second at the earliest.
    pub(super) held: Option<(u64, u64)>,
    /// Tasks whose outputs are to be known, by rank.
    pub(super) logged: u64,
    /// Windows that begin late.
    pub(super) late: Option<Late>,
    /// Nothing written in between counts, on these channels.
    pub(super) muted: Option<(u64, u64)>,
    /// Messages that nobody planned, on these channels.
    pub(super) extra: Vec<(u64, u64)>,
    pub(super) channels: Vec<usize>,
}

/// The partition of a fault, and what the fault does to it.
#[derive(Debug, Clone)]
pub(super) struct Fault {
    pub(super) partition: usize,
    pub(super) script: Script,
}

/// The one fault of a scenario, if it has one.
///
/// # Errors
/// [`Unfit::Fault`] where it does not stay in one partition.
pub(super) fn fault<'r>(
    machine: &Machine,
    scenario: &Scenario,
    ranked: impl Fn(usize) -> &'r Ranked,
    supply: impl Fn(usize) -> &'r Supply,
) -> Result<Option<Fault>, Unfit> {
    let fault = match scenario.faults.as_slice() {
        [] => return Ok(None),
        [fault] => fault,
        [..] => return Err(Unfit::Fault(1)),
    };
    let partition = match fault.target {
        Target::Device(_) | Target::Core(_) => return Err(Unfit::Fault(0)),
        target => target.partition(machine).ok_or(Unfit::Fault(0))?,
    };
    let ranked = ranked(partition);
    let at_ns = fault.at_ns;
    let until = |for_ns: u64| at_ns.saturating_add(for_ns);
    let mut script = Script::NOTHING;
    match fault.kind {
        Kind::Overrun { extra_ns, jobs } if scenario.protections.has(Protection::WindowEnforcement) => {
            script.changed = ranked.mask(|task| is_of(fault.target, task));
            (script.jobs, script.extra_ns) = (jobs, Some(extra_ns));
            script.points.push((at_ns, Point::Changes));
        }
        Kind::EndlessLoop if scenario.protections.has(Protection::WindowEnforcement) => {
            let of = machine.partitions[partition].tasks.clone().filter(|&task| is_of(fault.target, task));
            let urgent = of.max_by_key(|&task| machine.tasks[task].priority);
            script.changed = ranked.mask(|task| Some(task) == urgent);
            script.jobs = 1;
            script.points.push((at_ns, Point::Changes));
        }
        Kind::Silence { for_ns } => {
            script.muted = Some((at_ns, until(for_ns)));
            script.channels = channels(machine, fault.target).collect();
        }
        Kind::QueueFlood { messages } if scenario.protections.has(Protection::PortProtection) => {
            let queues =
                |channel: &usize| matches!(machine.channels[*channel].port, crate::machine::Port::Queuing { .. });
            script.channels = channels(machine, fault.target).filter(queues).collect();
            script.extra = if at_ns < scenario.span_ns { vec![(at_ns, messages)] } else { Vec::new() };
        }
        Kind::Babble { every_ns, for_ns } if scenario.protections.has(Protection::PortProtection) => {
            script.channels = channels(machine, fault.target).collect();
            script.extra = babble(at_ns, until(for_ns).min(scenario.span_ns), every_ns.max(1))?;
        }
        Kind::LostTick { for_ns } => script.held = Some((at_ns, until(for_ns))),
        Kind::LateWindow { by_ns, windows } => {
            script.late = Some(Late { partition, from_ns: at_ns, windows, by_ns });
        }
        Kind::Crash { .. } if !machine.runs(partition) => {}
        Kind::Crash { start } => {
            let crash = Crash::new(machine, partition, at_ns, start, scenario, supply(partition))?;
            script.points.push((at_ns, Point::Fails));
            script.points.push((crash.taken_down_ns, Point::TakenDown));
            script.logged = ranked.mask(|task| machine.partitions[partition].recovery.ends_with == Some(task));
            script.crash = Some(crash);
        }
        _ => return Err(Unfit::Fault(0)),
    }
    Ok(Some(Fault { partition, script }))
}

fn is_of(target: Target, task: usize) -> bool {
    match target {
        Target::Task(one) => one == task,
        Target::Partition(_) => true,
        Target::Channel(_) | Target::Device(_) | Target::Core(_) => false,
    }
}

/// The channels on which the target sends.
fn channels(machine: &Machine, target: Target) -> impl Iterator<Item = usize> + '_ {
    (0..machine.channels.len()).filter(move |&channel| match target {
        Target::Channel(one) => one == channel,
        Target::Task(task) => machine.tasks[task].writes.contains(&channel),
        Target::Partition(partition) => machine.channels[channel].source == partition,
        Target::Device(_) | Target::Core(_) => false,
    })
}

fn babble(from_ns: u64, until_ns: u64, every_ns: u64) -> Result<Vec<(u64, u64)>, Unfit> {
    if until_ns.saturating_sub(from_ns) / every_ns > super::unfit::MOST_LISTED {
        return Err(Unfit::Long);
    }
    let instants = std::iter::successors(Some(from_ns), |at_ns| at_ns.checked_add(every_ns));
    Ok(instants.take_while(|at_ns| *at_ns < until_ns).map(|at_ns| (at_ns, 1)).collect())
}

/// No fault.
pub(super) static NOTHING: Script = Script::NOTHING;

impl Script {
    const NOTHING: Self = Self {
        changed: 0,
        jobs: 0,
        extra_ns: None,
        points: Vec::new(),
        crash: None,
        held: None,
        logged: 0,
        late: None,
        muted: None,
        extra: Vec::new(),
        channels: Vec::new(),
    };

    /// How long a job executes that begins and is changed.
    pub(super) fn execution(&self, of: &Fixed) -> u64 {
        self.extra_ns.map_or(ENDLESS, |extra_ns| of.charged_ns.saturating_add(extra_ns).min(ENDLESS))
    }

    /// Whether anything executes or is released otherwise, beside messages.
    pub(super) fn acts(&self) -> bool {
        !self.points.is_empty() || self.held.is_some() || self.late.is_some()
    }

    /// Whether jobs are released, or windows lie, elsewhere than without the fault.
    pub(super) fn moves_releases(&self) -> bool {
        self.held.is_some() || self.late.is_some() || self.crash.is_some()
    }

    /// When the tasks of the partition arrive again.
    pub(super) fn again(&self) -> Option<Again> {
        self.crash.and_then(|crash| crash.again)
    }

    /// Whether the health monitor sees no missed deadline at that instant, since the partition is dead.
    pub(super) fn is_dead(&self, at_ns: u64) -> bool {
        self.crash.is_some_and(|crash| crash.at_ns <= at_ns && at_ns < crash.taken_down_ns)
    }
}
