//! Messages from a channel's source to its inputs, straight or through the internal network.

use super::chains::Origin;
use super::network::Frame;
use super::{Comms, Outlet};
use crate::Recorder;
use crate::engine::{NEVER, Out};
use crate::event::What;
use crate::machine::{Channel, Port};

/// The most messages of one write that are told apart: more are beyond any board, and count as lost where they may be.
const AT_ONCE: u64 = 1 << 20;

/// One message on its way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Message {
    pub(super) channel: usize,
    /// The partition that sends it.
    pub(super) by: usize,
    pub(super) origin: Origin,
}

impl Comms<'_> {
    pub(super) fn send_batch<R: Recorder>(&mut self, channel: usize, now: u64, out: &mut Out<'_, R>) {
        let outlet = &mut self.outlets[channel];
        if outlet.muted_until > now {
            return;
        }
        if outlet.last_write != NEVER {
            let gap = &mut out.seen.channels[channel].longest_gap_ns;
            *gap = (*gap).max(now - outlet.last_write);
        }
        outlet.last_write = now;
        let (by, batch) = (outlet.by as usize, outlet.batch);
        self.send_all(Message { channel, by, origin: Origin::Job }, batch, now, out);
    }

    /// The same message many times at once. Once no queue has room, the rest is counted, and not told one by one.
    #[inline]
    pub(super) fn send_all<R: Recorder>(&mut self, message: Message, times: u64, now: u64, out: &mut Out<'_, R>) {
        for sent in 1..=times {
            if (!self.send(message, now, out) || sent == AT_ONCE) && sent < times {
                return self.lose(message, times - sent, out);
            }
        }
    }

    /// Messages that find every queue full.
    fn lose<R: Recorder>(&mut self, message: Message, messages: u64, out: &mut Out<'_, R>) {
        let declared = &self.machine.channels[message.channel];
        let seen = &mut *out.seen;
        add(&mut seen.channels[message.channel].writes, messages);
        add(&mut seen.counts.writes, messages);
        if !declared.loses(self.forwarding.is_some()) {
            return;
        }
        declared.inputs.clone().for_each(|input| add(&mut seen.inputs[input].lost, messages));
        if let Some(partition) = seen.partitions.get_mut(message.by).filter(|_| declared.frame_cost_ns.is_some()) {
            add(&mut partition.frames_lost, messages.saturating_mul(declared.inputs.len() as u64));
        }
    }

    /// One message goes to every input of its channel, or into the internal network on its way there. Says whether one more
    /// at once would make a difference.
    #[inline]
    fn send<R: Recorder>(&mut self, message: Message, now: u64, out: &mut Out<'_, R>) -> bool {
        let mut differs = false;
        let Outlet { inputs, frame_cost, queues, .. } = self.outlets[message.channel];
        out.seen.channels[message.channel].writes += 1;
        out.seen.counts.writes += 1;
        out.tell(now, What::Writes { channel: message.channel });
        for input in inputs.0 as usize..inputs.1 as usize {
            match frame_cost {
                None => {
                    let accepted = self.receive(input, now, now, out);
                    if let Some(chains) = self.chains.as_mut().filter(|_| accepted) {
                        chains.pass(input, message.origin);
                    }
                    differs |= accepted && queues;
                }
                Some(cost) => differs |= self.enter(input, message, cost, now, out),
            }
        }
        differs
    }

    #[inline]
    fn receive<R: Recorder>(&mut self, input: usize, written: u64, now: u64, out: &mut Out<'_, R>) -> bool {
        let accepted = self.inboxes[input].receive(written, &mut out.seen.inputs[input]);
        if !accepted {
            out.tell(now, What::Lost { input });
        }
        accepted
    }

    /// A frame enters the internal network. Says whether there was room.
    fn enter<R: Recorder>(
        &mut self,
        input: usize,
        message: Message,
        cost: u64,
        now: u64,
        out: &mut Out<'_, R>,
    ) -> bool {
        let Some(forwarding) = &mut self.forwarding else { return false };
        let frame = Frame { input: input as u32, sent: now, cost, origin: message.origin };
        let waiting = forwarding.network.push(message.by.min(self.machine.partitions.len()), frame);
        let seen = out.seen.partitions.get_mut(message.by);
        let Some(waiting) = waiting else {
            seen.into_iter().for_each(|seen| seen.frames_lost += 1);
            out.seen.inputs[input].lost += 1;
            out.tell(now, What::Lost { input });
            return false;
        };
        seen.into_iter().for_each(|seen| seen.most_waiting = seen.most_waiting.max(waiting));
        if let Some(chains) = &mut self.chains {
            chains.enter(input, message.origin);
        }
        true
    }

    /// Frames that were moved arrive.
    pub(super) fn frames_leave<R: Recorder>(&mut self, now: u64, out: &mut Out<'_, R>) {
        while let Some(frame) = self.forwarding.as_mut().and_then(|forwarding| forwarding.network.leave()) {
            let (input, delay_ns) = (frame.input as usize, now - frame.sent);
            let most = &mut out.seen.inputs[input].most_delay_ns;
            *most = (*most).max(delay_ns);
            out.tell(now, What::Forwarded { input, delay_ns });
            let accepted = self.receive(input, frame.sent, now, out);
            if let Some(chains) = &mut self.chains {
                chains.leave(input, frame.origin, accepted);
            }
        }
    }
}

impl Channel {
    /// Whether a message of it can find no room.
    fn loses(&self, forwarded: bool) -> bool {
        match self.frame_cost_ns {
            Some(_) => forwarded,
            None => matches!(self.port, Port::Queuing { .. }),
        }
    }
}

fn add(count: &mut u64, more: u64) {
    *count = count.saturating_add(more);
}
