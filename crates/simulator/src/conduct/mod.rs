//! What goes wrong in a run, and what is done about it: faults, the health monitor, restart, boot, changes of the module
//! schedule, bursts of traffic, interrupts. `docs/faults.md` says what each is in a run.
//!
//! [`Conduct`] keeps a calendar of what is to happen; the engine calls [`Conduct::act`] when it is due, and tells it what
//! jobs and cores do.

mod bursts;
mod calendar;
mod contention;
mod faults;
mod interrupts;
mod monitor;
mod recovery;
mod regulation;
mod senders;

use crate::engine::Run;
use crate::event::{Stall, Start};
use crate::machine::Action;
use crate::protection::Protection;
use crate::scenario::Begin;
use crate::{Machine, Recorder};
use bursts::Bursts;
use calendar::{Calendar, Happening, Notice};
use contention::Contention;
use interrupts::Pending;
use model::system::HealthError;
pub(crate) use monitor::Counters;
use recovery::{Life, Work};
use regulation::Regulation;

/// What goes wrong in a run under way, and what is done about it.
#[derive(Debug)]
pub(crate) struct Conduct {
    calendar: Calendar,
    lives: Vec<Life>,
    counters: Counters,
    /// Whether errors are noticed at all.
    watches: bool,
    /// Partitions whose outage has not ended.
    outages: usize,
    bursts: Bursts,
    regulation: Regulation,
    contention: Contention,
    pending: Pending,
}

impl Conduct {
    /// For runs of a machine.
    pub(crate) fn new(machine: &Machine) -> Self {
        Self {
            calendar: Calendar::default(),
            lives: vec![Life::default(); machine.partitions.len()],
            counters: Counters::default(),
            watches: false,
            outages: 0,
            bursts: Bursts::default(),
            regulation: Regulation::default(),
            contention: Contention::default(),
            pending: Pending::default(),
        }
    }

    /// A run begins, before its first instant.
    pub(crate) fn begin<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        self.calendar.clear();
        self.lives.fill(Life::default());
        self.outages = 0;
        self.bursts.clear(run.machine);
        self.pending.clear(run.machine);
        self.watches = run.scenario.protections.has(Protection::HealthMonitor);
        match &run.machine.monitor {
            Some(table) => self.counters.clear(table),
            None => self.watches = false,
        }
        self.regulation.clear(run.machine, run.scenario);
        self.begin_contention(run);
        run.world.tell_runs = self.watches_cores();
        for (index, fault) in run.scenario.faults.iter().enumerate() {
            self.calendar.add(fault.at_ns, Happening::Fault(index));
        }
        self.await_changes(run);
        if run.scenario.begin == Begin::FirstFrame {
            self.boot(run);
        }
    }

    /// Each request takes effect at the end of the frame that it falls into; of two in a frame the later one counts.
    fn await_changes<R: Recorder>(&mut self, run: &Run<'_, '_, R>) {
        let frame_ns = run.machine.frame_ns.max(1);
        let takes_effect = |at_ns: u64| (at_ns / frame_ns).saturating_add(1).saturating_mul(frame_ns);
        let changes = &run.scenario.changes;
        for (index, &(at_ns, to)) in changes.iter().enumerate() {
            let replaced = changes[index + 1..].iter().any(|later| takes_effect(later.0) == takes_effect(at_ns));
            if !replaced {
                self.calendar.add(takes_effect(at_ns), Happening::Change(to));
            }
        }
    }

    /// When something here happens next.
    #[inline]
    pub(crate) fn next_ns(&self) -> u64 {
        self.calendar.next_ns()
    }

    /// Does what happens at `run.now`: after completions and window ends, before arrivals, releases and window starts.
    pub(crate) fn act<R: Recorder>(&mut self, run: &mut Run<'_, '_, R>) {
        while let Some(happening) = self.calendar.due(run.now) {
            self.happen(happening, run);
        }
    }

    fn happen<R: Recorder>(&mut self, happening: Happening, run: &mut Run<'_, '_, R>) {
        match happening {
            Happening::Fault(fault) => self.begin_fault(fault, run),
            Happening::Ends(fault) => self.end_fault(fault, run),
            Happening::Crash { fault, left } => self.crash_again(fault, left, run),
            Happening::Noticed(notice) => self.noticed(notice, run),
            Happening::Starts { partition, start, life } => self.initialise(partition, start, life, run),
            Happening::Message { fault, until_ns } => self.babble(fault, until_ns, run),
            Happening::Interrupt { fault, line, until_ns } => self.interrupt(fault, line, until_ns, run),
            Happening::Regulation { fault, until_ns } => self.regulate(fault, until_ns, run),
            Happening::Throttles { core, change } => {
                if let Some(until_ns) = self.regulation.throttled_until(core, change, run.now) {
                    run.stall_core(core, until_ns, Stall::Throttled);
                }
            }
            Happening::Change(to) => self.change(to, run),
        }
    }

    /// A job passed its deadline.
    pub(crate) fn missed<R: Recorder>(&mut self, task: usize, job: u64, run: &mut Run<'_, '_, R>) {
        let partition = run.machine.tasks[task].partition;
        if self.watches && self.lives[partition].is_up() {
            self.await_notice(partition, HealthError::DeadlineMissed, Some((task, job)), run);
        }
    }

    /// A job wrote its outputs: it may end an outage.
    #[inline]
    pub(crate) fn wrote<R: Recorder>(&mut self, task: usize, _job: u64, run: &mut Run<'_, '_, R>) {
        if self.outages > 0 {
            self.end_outage(task, run);
        }
    }

    /// Work that was asked for by `Run::add_duty` with `Duty::Conduct(tag)` is done.
    pub(crate) fn duty_done<R: Recorder>(&mut self, partition: usize, tag: u32, run: &mut Run<'_, '_, R>) {
        match Work::of_tag(tag) {
            Work::Initialise => self.operational(partition, run),
            Work::Build(built) => self.built(partition, built, run),
            Work::Refill => self.bursts.refilled(partition),
            Work::Interrupt(line) => self.pending.handled(line),
        }
    }

    /// Whether it must be told what cores execute, whatever fails.
    fn watches_cores(&self) -> bool {
        self.regulation.watches() || self.contention.is_on()
    }

    /// From `run.now` on the core executes something else, or nothing. Told only where `run.world.tell_runs` is set.
    pub(crate) fn runs<R: Recorder>(&mut self, core: usize, run: &mut Run<'_, '_, R>) {
        self.watch_budget(core, run);
        self.serves(core, run);
        self.contend(core, run);
    }

    /// What a core executes, or how fast, has changed: so has when its bandwidth budget is used up.
    fn watch_budget<R: Recorder>(&mut self, core: usize, run: &mut Run<'_, '_, R>) {
        if let Some((at_ns, change)) = self.regulation.runs(core, run.asks(core), run.now) {
            self.calendar.add(at_ns, Happening::Throttles { core, change });
        }
    }

    /// Carries out the action that answers an error.
    fn carry_out<R: Recorder>(&mut self, notice: Notice, action: Action, run: &mut Run<'_, '_, R>) {
        let (partition, since) = (notice.partition, Some(notice.since_ns));
        match action {
            Action::Ignore | Action::Handler => {}
            Action::RestartProcess => restart_process(notice.job, run),
            Action::WarmStart => self.restart(partition, Start::Warm, since, run),
            Action::ColdStart => self.restart(partition, Start::Cold, since, run),
            Action::Stop => self.stop(partition, run),
            Action::ModuleReset | Action::ModuleShutdown => {
                run.out.seen.counts.module_stops += 1;
                run.stop_module();
            }
        }
    }
}

/// The job of an error is dropped where it is still the one in turn; its task goes on with the next.
fn restart_process<R: Recorder>(job: Option<(usize, u64)>, run: &mut Run<'_, '_, R>) {
    if let Some((task, number)) = job
        && run.job_in_turn(task) == Some(number)
    {
        run.drop_job(task);
    }
}
