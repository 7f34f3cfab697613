//! Holds what was seen against the plan's rules and the system's needs: a finding for each, with its first counter-example.
//!
//! A rule that was kept is one that nothing in this recording breaks: it is no proof that nothing ever will.

mod arrivals;
mod chains;
mod coverage;
mod foreign;
mod frame;
mod jobs;
mod outage;
mod ports;
mod recovery;
mod supply;
mod switches;
mod tally;
mod windows;

pub use chains::ChainSeen;
pub use coverage::{Coverage, TaskSeen};
pub use recovery::{OutageSeen, Since};
pub use supply::{Extent, Supply};
pub use tally::{CounterExample, Finding, Relation, Rule, Status};

use crate::rebuilt::{Job, Observer, Slice, Window};
use crate::seen::Seen;
use frame::Tables;
use model::System;
use plan::Plan;
use quantity::{ChannelId, PartitionId, TaskId};

/// What a recording is held against beside system and plan.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Allowed {
    /// By how much windows may begin and end earlier or later than planned, in nanoseconds; `None`: not said.
    pub window_ns: Option<u64>,
    /// An instant of the common clock at which a frame begins; `None`: a mark says it, or it is fitted to the windows seen.
    pub origin_ns: Option<u64>,
}

/// Everything found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judgement {
    /// What the recording covers.
    pub coverage: Coverage,
    /// The findings, by rule, then in the order of the system.
    pub findings: Vec<Finding>,
    /// The longest response of each task, where one was seen.
    pub responses: Vec<Option<Most>>,
    /// An instant of the common clock at which a frame begins, as given, told or fitted; `None` where no window was seen.
    pub origin_ns: Option<u64>,
    /// By partition: what it was given, and what it made of it.
    pub supply: Vec<Supply>,
    /// By partition: whether it was seen to fail, to start anew or to stop.
    pub failed: Vec<bool>,
    /// The most messages that each channel's receivers had waiting, where they could be counted.
    pub depths: Vec<Vec<Option<Most>>>,
    /// What was seen of each chain.
    pub chains: Vec<ChainSeen>,
    /// The greatest age at which each sampled channel was read, where that is known.
    pub ages: Vec<Option<Most>>,
    /// The longest outages.
    pub outages: Vec<OutageSeen>,
    /// By partition: how long after the first frame's begin it was operational, where its boot was seen.
    pub boots: Vec<Option<Most>>,
    /// Whether some partition was operational for the first time: the recording holds a boot.
    pub has_booted: bool,
}

impl Judgement {
    /// Whether no error was noticed, nothing failed or started, and one module schedule was in force: what bounds speak of.
    pub fn is_undisturbed(&self) -> bool {
        self.disturbances() == (0, 0) && !self.has_booted && !self.failed.contains(&true)
    }

    /// How many faults began, and how often a partition started anew or stopped or the module schedule changed.
    pub fn disturbances(&self) -> (u64, u64) {
        let coverage = &self.coverage;
        let changes = coverage.schedules.iter().sum::<u64>().saturating_sub(1);
        (coverage.faults, coverage.restarts.saturating_add(changes))
    }
}

/// The most that was seen of something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Most {
    /// How much: nanoseconds, or messages.
    pub value: u64,
    /// What it surely was at least, where the clocks that tell of it are off.
    pub surely: u64,
    /// When, in nanoseconds of the common clock.
    pub at_ns: u64,
    /// How often it was seen.
    pub seen: u64,
}

/// All checkers; feed it by [`Rebuild`](crate::rebuild::Rebuild).
#[derive(Debug)]
pub struct Judge<'a> {
    system: &'a System,
    coverage: coverage::Cover,
    windows: windows::Windows,
    foreign: foreign::Foreign,
    switches: switches::Switches,
    supply: supply::Supplies,
    jobs: jobs::JobTimes,
    arrivals: arrivals::Arrivals,
    ports: ports::Ports,
    chains: chains::Chains,
    outage: outage::Outages,
    recovery: recovery::Recovery,
}

impl<'a> Judge<'a> {
    /// Ready for a recording of `system` under `plan`.
    pub fn new(system: &'a System, plan: &Plan, allowed: Allowed) -> Self {
        let tables = Tables::new(system, plan);
        Self {
            system,
            coverage: coverage::Cover::new(system),
            windows: windows::Windows::new(system, tables, allowed),
            foreign: foreign::Foreign::new(system, allowed),
            switches: switches::Switches::new(system),
            supply: supply::Supplies::new(system),
            jobs: jobs::JobTimes::new(system),
            arrivals: arrivals::Arrivals::new(system),
            ports: ports::Ports::new(system),
            chains: chains::Chains::new(system),
            outage: outage::Outages::new(system),
            recovery: recovery::Recovery::new(system),
        }
    }

    /// What was found, once everything was seen.
    pub fn finish(mut self) -> Judgement {
        let last_ns = self.coverage.last_ns();
        self.windows.finish();
        self.foreign.finish(last_ns);
        self.outage.finish();
        self.chains.finish();
        self.ports.finish();
        self.arrivals.finish();
        let system = self.system;
        let findings = [
            self.windows.findings(system),
            self.foreign.findings(system),
            self.switches.findings(system),
            self.jobs.findings(system),
            self.arrivals.findings(system),
            self.ports.findings(system),
            self.chains.findings(system),
            self.outage.findings(system),
        ];
        let origin_ns = self.windows.origin_ns();
        Judgement {
            origin_ns,
            supply: self.supply.finish(self.switches.costs()),
            failed: self.coverage.failed(),
            coverage: self.coverage.finish(self.windows.frames()),
            findings: findings.concat(),
            responses: self.jobs.longest(),
            depths: self.ports.depths(),
            chains: self.chains.seen(),
            ages: self.ports.ages(),
            outages: self.recovery.outages(),
            boots: self.recovery.boots(origin_ns),
            has_booted: self.recovery.has_booted(),
        }
    }

    fn checkers(&mut self) -> [&mut dyn Observer; 11] {
        [
            &mut self.coverage,
            &mut self.windows,
            &mut self.foreign,
            &mut self.switches,
            &mut self.supply,
            &mut self.jobs,
            &mut self.arrivals,
            &mut self.ports,
            &mut self.chains,
            &mut self.outage,
            &mut self.recovery,
        ]
    }
}

impl Observer for Judge<'_> {
    fn seen(&mut self, seen: &Seen) {
        self.checkers().into_iter().for_each(|checker| checker.seen(seen));
    }

    fn window(&mut self, window: &Window) {
        self.checkers().into_iter().for_each(|checker| checker.window(window));
    }

    fn slice(&mut self, slice: &Slice) {
        self.checkers().into_iter().for_each(|checker| checker.slice(slice));
    }

    fn job(&mut self, job: &Job) {
        self.checkers().into_iter().for_each(|checker| checker.job(job));
    }
}

/// The name of a task as findings show it.
fn task_name(system: &System, task: usize) -> String {
    system.task_label(TaskId::new(task))
}

fn partition_name(system: &System, partition: usize) -> String {
    system.partition(PartitionId::new(partition)).name.value.clone()
}

fn channel_name(system: &System, channel: usize) -> String {
    system.channel(ChannelId::new(channel)).name.value.clone()
}
