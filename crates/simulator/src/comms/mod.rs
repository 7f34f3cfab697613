//! Messages: ports, queues, chains, the internal network.
//!
//! Messages cause nothing but messages, chains and the forwarder's work, so they are kept apart from what cores do: a job
//! that begins reads, a job that completes writes, and the rest follows from those two.

mod chains;
mod ends;
mod forwarding;
mod network;
mod ports;
mod sending;
mod sources;
#[cfg(test)]
mod tests;

use crate::engine::{NEVER, Out, World};
use crate::event::What;
use crate::machine::{Channel, Port};
use crate::{Machine, Recorder, Scenario};
use chains::{Chains, Origin};
use ends::Ends;
use forwarding::Forwarding;
use ports::Inbox;
use sending::Message;
use sources::Sources;

/// The messages of a run under way.
#[derive(Debug)]
pub(crate) struct Comms<'m> {
    machine: &'m Machine,
    ends: Ends,
    inboxes: Vec<Inbox>,
    outlets: Vec<Outlet>,
    sources: Sources,
    forwarding: Option<Forwarding>,
    /// Where there are any.
    chains: Option<Chains>,
}

/// The sending end of a channel; in one line of a cache.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Outlet {
    /// The partition that sends.
    by: u32,
    /// Whether its messages wait in queues.
    queues: bool,
    /// The messages of one write.
    batch: u64,
    /// Its first input, and one past its last.
    inputs: (u32, u32),
    /// What a frame of it costs the forwarder, where that carries it.
    frame_cost: Option<u64>,
    /// When its source last wrote.
    last_write: u64,
    /// Until when what its source writes comes to nothing.
    muted_until: u64,
}

impl Outlet {
    fn new(channel: &Channel) -> Self {
        Self {
            by: channel.source as u32,
            queues: matches!(channel.port, Port::Queuing { .. }),
            batch: channel.batch,
            inputs: (channel.inputs.start as u32, channel.inputs.end as u32),
            frame_cost: channel.frame_cost_ns,
            last_write: NEVER,
            muted_until: 0,
        }
    }

    /// Before anything was written.
    fn refresh(&mut self) {
        (self.last_write, self.muted_until) = (NEVER, 0);
    }
}

impl<'m> Comms<'m> {
    /// The messages of a machine.
    pub(crate) fn new(machine: &'m Machine) -> Self {
        let ends = Ends::new(machine);
        Self {
            machine,
            inboxes: machine.inputs.iter().map(|input| Inbox::new(machine.channels[input.channel].port)).collect(),
            outlets: machine.channels.iter().map(Outlet::new).collect(),
            sources: Sources::new(machine, &ends),
            ends,
            forwarding: Forwarding::new(machine),
            chains: (!machine.chains.is_empty()).then(|| Chains::new(machine)),
        }
    }

    /// A run begins: no message anywhere.
    pub(crate) fn begin(&mut self, scenario: &Scenario, world: &mut World) {
        self.inboxes.iter_mut().for_each(Inbox::empty);
        self.outlets.iter_mut().for_each(Outlet::refresh);
        self.sources.begin(scenario, world.draw);
        if let Some(forwarding) = &mut self.forwarding {
            forwarding.begin(self.machine, scenario);
        }
        if let Some(chains) = &mut self.chains {
            chains.reset();
        }
    }

    /// When something here happens next by itself; 0 where it does in the instant under way.
    #[inline]
    pub(crate) fn next_ns(&self) -> u64 {
        match &self.forwarding {
            Some(forwarding) if forwarding.network.leaves() => 0,
            _ => self.sources.next,
        }
    }

    /// Whether that task's job arrives that was to: frames wait still, or the scenario says so.
    pub(crate) fn releases(&self) -> bool {
        self.forwarding.as_ref().is_some_and(Forwarding::releases)
    }

    /// Does what happens by itself at `now`: after completions and what they write, before arrivals.
    pub(crate) fn act<R: Recorder>(&mut self, now: u64, world: &mut World, out: &mut Out<'_, R>) {
        while let Some(channel) = self.sources.due(now) {
            let by = self.machine.channels[channel].source;
            if world.partitions.get(by).is_none_or(|partition| partition.up && !partition.dead) {
                self.send_batch(channel, now, out);
            }
        }
        self.frames_leave(now, out);
        self.rouse(now, world);
    }

    /// A job reads its inputs.
    #[inline]
    pub(crate) fn read<R: Recorder>(&mut self, task: usize, job: u64, now: u64, out: &mut Out<'_, R>) {
        let reads = self.ends.reads.of(task);
        for place in reads.clone() {
            let input = self.ends.reads.at(place);
            let taken = self.inboxes[input].read(now, &mut out.seen.inputs[input]);
            out.tell(now, What::Reads { input, age_ns: taken.age_ns, stale: taken.stale });
            if let Some(chains) = &mut self.chains {
                chains.take(input, task, taken.messages);
            }
        }
        out.seen.counts.reads += reads.len() as u64;
        if let Some(chains) = &mut self.chains {
            chains.begin_job(task, job, now);
        }
    }

    /// A job writes its outputs; one of the forwarding task moves its frames.
    #[inline]
    pub(crate) fn write<R: Recorder>(
        &mut self,
        task: usize,
        job: u64,
        now: u64,
        world: &mut World,
        out: &mut Out<'_, R>,
    ) {
        if let Some(chains) = &mut self.chains {
            chains.end_job(task, job, now, &mut out.seen.chains);
        }
        for place in self.ends.writes.of(task) {
            let channel = self.ends.writes.at(place);
            self.send_batch(channel, now, out);
        }
        if let Some(forwarding) = self.forwarding.as_mut().filter(|forwarding| forwarding.task == Some(task)) {
            forwarding.network.finish();
        }
        self.rouse(now, world);
    }

    /// How long a job of the forwarding task that begins executes, where its frames say it. `planned` is what it would.
    pub(crate) fn load(&mut self, planned: u64) -> Option<u64> {
        self.forwarding.as_mut().and_then(|forwarding| forwarding.load(planned))
    }

    /// A job of the forwarding task has executed that long. How much longer it does, where it has a next frame.
    pub(crate) fn more(&mut self) -> Option<u64> {
        self.forwarding.as_mut().and_then(Forwarding::more)
    }

    /// A job is dropped: frames that it had under way wait again.
    pub(crate) fn dropped(&mut self, task: usize) {
        if let Some(forwarding) = self.forwarding.as_mut().filter(|forwarding| forwarding.task == Some(task)) {
            forwarding.network.give_back();
        }
    }

    /// The work on a frame is done, where no task forwards: asked for by `World::add_duty` with `Duty::Frame`.
    pub(crate) fn frame_done(&mut self) {
        if let Some(forwarding) = &mut self.forwarding {
            forwarding.network.finish();
        }
    }

    /// The work on a frame is dropped: it waits again.
    pub(crate) fn frame_dropped(&mut self) {
        if let Some(forwarding) = &mut self.forwarding {
            forwarding.network.give_back();
        }
    }

    /// Messages that nobody planned are written to a channel at once: by its own source, or, with ports unprotected, by a
    /// foreign partition. A task of its source that is muted does not keep them back.
    pub(crate) fn inject<R: Recorder>(
        &mut self,
        channel: usize,
        messages: u64,
        by: usize,
        now: u64,
        world: &mut World,
        out: &mut Out<'_, R>,
    ) {
        let own = self.machine.channels[channel].source == by;
        let origin = if own { Origin::Again } else { Origin::Foreign };
        self.send_all(Message { channel, by, origin }, messages, now, out);
        self.rouse(now, world);
    }

    /// What the source of a channel writes before then comes to nothing.
    pub(crate) fn mute(&mut self, channel: usize, until: u64) {
        let outlet = &mut self.outlets[channel];
        outlet.muted_until = outlet.muted_until.max(until);
    }

    /// The queues of a partition's ports are emptied; sampled messages and frames stay where they are.
    pub(crate) fn empty_queues(&mut self, partition: usize) {
        for (input, declared) in self.machine.inputs.iter().enumerate() {
            if declared.partition == partition {
                self.inboxes[input].empty_queue();
                if let Some(chains) = &mut self.chains {
                    chains.empty(input);
                }
            }
        }
    }

    /// Frames that wait are seen to, where the forwarder is up.
    #[inline]
    pub(crate) fn rouse(&mut self, now: u64, world: &mut World) {
        if let Some(forwarding) = &mut self.forwarding {
            forwarding.rouse(now, world);
        }
    }
}
