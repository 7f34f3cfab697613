//! Channels whose source is no task: a partition as a whole, or a device. Where the time between their batches is known,
//! they send one batch after each.

use super::ends::Ends;
use crate::draw::{Draw, Purpose};
use crate::engine::{NEVER, spread};
use crate::scenario::Times;
use crate::{Machine, Scenario};

/// The sources that send by themselves.
#[derive(Debug)]
pub(super) struct Sources {
    all: Vec<Source>,
    /// When the next one sends.
    pub(super) next: u64,
}

#[derive(Debug)]
struct Source {
    channel: usize,
    period: u64,
    next: u64,
}

impl Sources {
    pub(super) fn new(machine: &Machine, ends: &Ends) -> Self {
        let source = |(channel, declared): (usize, &crate::machine::Channel)| {
            let period = declared.source_period_ns.filter(|_| !ends.is_written(channel))?;
            Some(Source { channel, period: period.max(1), next: NEVER })
        };
        Self { all: machine.channels.iter().enumerate().filter_map(source).collect(), next: NEVER }
    }

    /// Each sends first within its period.
    pub(super) fn begin(&mut self, scenario: &Scenario, draw: Draw) {
        for source in &mut self.all {
            source.next = match &scenario.times {
                Times::Drawn(drawn) => {
                    let subject = source.channel as u64;
                    spread(draw, drawn.phases, Purpose::Message, subject, 0, 0, source.period - 1)
                }
                Times::Given(_) => 0,
            };
        }
        self.find_next();
    }

    /// A channel on which a batch is sent now; its next one follows a period later.
    pub(super) fn due(&mut self, now: u64) -> Option<usize> {
        if self.next > now {
            return None;
        }
        let source = self.all.iter_mut().find(|source| source.next <= now)?;
        source.next = source.next.saturating_add(source.period);
        let channel = source.channel;
        self.find_next();
        Some(channel)
    }

    fn find_next(&mut self) {
        self.next = self.all.iter().map(|source| source.next).min().unwrap_or(NEVER);
    }
}
