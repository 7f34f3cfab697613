//! Senders that send too much, or nothing.

use super::Conduct;
use super::calendar::Happening;
use crate::Recorder;
use crate::engine::Run;
use crate::fault::{Kind, Target};
use crate::machine::Port;
use crate::protection::Protection;

impl Conduct {
    /// A message on each channel of the target, and the next ones in their time.
    pub(super) fn babble<R: Recorder>(&mut self, index: usize, until_ns: u64, run: &mut Run<'_, '_, R>) {
        let fault = run.scenario.faults[index];
        let Kind::Babble { every_ns, .. } = fault.kind else { return };
        if run.now >= until_ns {
            return;
        }
        inject(fault.target, 1, false, run);
        self.calendar.add(run.now.saturating_add(every_ns.max(1)), Happening::Message { fault: index, until_ns });
    }

    pub(super) fn flood<R: Recorder>(&mut self, target: Target, messages: u64, run: &mut Run<'_, '_, R>) {
        inject(target, messages, true, run);
    }

    pub(super) fn silence<R: Recorder>(&mut self, target: Target, until_ns: u64, run: &mut Run<'_, '_, R>) {
        for channel in 0..run.machine.channels.len() {
            if sends(target, channel, run) {
                run.comms.mute(channel, until_ns);
            }
        }
    }
}

/// Messages on each channel of the target; without port protection on every other one too.
fn inject<R: Recorder>(target: Target, messages: u64, queues_only: bool, run: &mut Run<'_, '_, R>) {
    let Some(by) = target.partition(run.machine) else { return };
    let protected = run.scenario.protections.has(Protection::PortProtection);
    for channel in 0..run.machine.channels.len() {
        let fits = !queues_only || matches!(run.machine.channels[channel].port, Port::Queuing { .. });
        if fits && (!protected || sends(target, channel, run)) {
            run.comms.inject(channel, messages, by, run.now, run.world, &mut run.out);
        }
    }
}

/// Whether the target sends on a channel.
fn sends<R: Recorder>(target: Target, channel: usize, run: &Run<'_, '_, R>) -> bool {
    match target {
        Target::Channel(one) => one == channel,
        Target::Task(task) => run.machine.tasks[task].writes.contains(&channel),
        Target::Partition(partition) => run.machine.channels[channel].source == partition,
        Target::Device(_) | Target::Core(_) => false,
    }
}
