//! Faults begin and end.

use super::Conduct;
use super::calendar::Happening;
use crate::Recorder;
use crate::engine::{NEVER, Run};
use crate::event::{Stall, Start, What};
use crate::fault::{Kind, Target};

impl Conduct {
    pub(super) fn begin_fault<R: Recorder>(&mut self, index: usize, run: &mut Run<'_, '_, R>) {
        let fault = run.scenario.faults[index];
        run.tell(What::FaultBegins { fault: index });
        if let Some(lasts_ns) = lasts(fault.kind) {
            self.calendar.add(run.now.saturating_add(lasts_ns), Happening::Ends(index));
        }
        match fault.kind {
            Kind::Overrun { extra_ns, jobs } => {
                tasks(fault.target, run).into_iter().for_each(|task| run.overrun(task, extra_ns, jobs));
            }
            Kind::EndlessLoop => {
                let urgent =
                    tasks(fault.target, run).into_iter().rev().max_by_key(|&task| run.machine.tasks[task].priority);
                urgent.into_iter().for_each(|task| run.endless(task));
            }
            Kind::Crash { start } => self.crash_target(fault.target, start, run),
            Kind::RestartStorm { count, .. } => self.crash_again(index, count, run),
            Kind::Babble { for_ns, .. } => self.babble(index, run.now.saturating_add(for_ns), run),
            Kind::Silence { for_ns } => self.silence(fault.target, run.now.saturating_add(for_ns), run),
            Kind::QueueFlood { messages } => self.flood(fault.target, messages, run),
            Kind::MemoryBurst { lines, for_ns } => self.begin_memory_burst(index, lines, for_ns, run),
            Kind::DmaBurst { lines, .. } => self.begin_dma_burst(index, lines, run),
            Kind::InterruptStorm { for_ns, .. } => self.begin_storm(index, run.now.saturating_add(for_ns), run),
            Kind::LateWindow { by_ns, windows } => match fault.target {
                Target::Core(core) => run.delay_windows_of_core(core, by_ns, windows),
                target => {
                    let of = target.partition(run.machine);
                    of.into_iter().for_each(|one| run.delay_windows_of_partition(one, by_ns, windows));
                }
            },
            Kind::LostTick { for_ns } => {
                let until_ns = run.now.saturating_add(for_ns);
                fault.target.partition(run.machine).into_iter().for_each(|one| run.hold_releases(one, until_ns));
            }
            Kind::CoreStop { for_ns } => {
                if let Target::Core(core) = fault.target {
                    let until_ns = for_ns.map_or(NEVER, |lasts_ns| run.now.saturating_add(lasts_ns));
                    run.stall_core(core, until_ns, Stall::CoreStops);
                }
            }
        }
    }

    pub(super) fn end_fault<R: Recorder>(&mut self, index: usize, run: &mut Run<'_, '_, R>) {
        run.tell(What::FaultEnds { fault: index });
        if let Kind::MemoryBurst { .. } | Kind::DmaBurst { .. } = run.scenario.faults[index].kind {
            self.end_burst(index, run);
        }
    }

    fn crash_target<R: Recorder>(&mut self, target: Target, start: Option<Start>, run: &mut Run<'_, '_, R>) {
        if let Some(partition) = target.partition(run.machine) {
            self.crash(partition, start, run);
        }
    }

    /// One crash of a storm, and the next one in its time.
    pub(super) fn crash_again<R: Recorder>(&mut self, index: usize, left: u64, run: &mut Run<'_, '_, R>) {
        let fault = run.scenario.faults[index];
        let Kind::RestartStorm { every_ns, start, .. } = fault.kind else { return };
        if left == 0 {
            return;
        }
        self.crash_target(fault.target, start, run);
        if left > 1 {
            let again = Happening::Crash { fault: index, left: left - 1 };
            self.calendar.add(run.now.saturating_add(every_ns.max(1)), again);
        }
    }
}

/// How long a fault lasts, where it has an end of its own.
fn lasts(kind: Kind) -> Option<u64> {
    match kind {
        Kind::Babble { for_ns, .. }
        | Kind::Silence { for_ns }
        | Kind::MemoryBurst { for_ns, .. }
        | Kind::DmaBurst { for_ns, .. }
        | Kind::InterruptStorm { for_ns, .. }
        | Kind::LostTick { for_ns } => Some(for_ns),
        Kind::CoreStop { for_ns } => for_ns,
        _ => None,
    }
}

/// The task, or all tasks of the partition.
fn tasks<R: Recorder>(target: Target, run: &Run<'_, '_, R>) -> Vec<usize> {
    match target {
        Target::Task(task) => vec![task],
        Target::Partition(partition) => run.machine.partitions[partition].tasks.clone().collect(),
        Target::Channel(_) | Target::Device(_) | Target::Core(_) => Vec::new(),
    }
}
