//! What runs have seen: maxima, sums and counts, so that runs can be joined in any order.

use serde::{Deserialize, Serialize};

/// What one or more runs have seen. All lists follow the machine's.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Seen {
    /// How many runs.
    pub runs: u64,
    /// Of each task.
    pub tasks: Vec<TaskSeen>,
    /// Of each channel.
    pub channels: Vec<ChannelSeen>,
    /// Of each input.
    pub inputs: Vec<InputSeen>,
    /// Of each chain.
    pub chains: Vec<ChainSeen>,
    /// Of each partition.
    pub partitions: Vec<PartitionSeen>,
    /// What the runs went through.
    pub counts: Counts,
}

/// What was seen of a task; in one line of a cache.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[repr(align(64))]
pub struct TaskSeen {
    /// Jobs that completed.
    pub jobs: u64,
    /// The sum of their responses, in nanoseconds; wraps.
    pub sum_ns: u64,
    /// The longest response, in nanoseconds.
    pub most_ns: u64,
    /// Jobs that passed their deadline, completed or not.
    pub missed: u64,
    /// Jobs that were dropped by a restart or a stop.
    pub dropped: u64,
    /// The least and the most time between the outputs of two jobs, one after the other, less the period between their
    /// arrivals, in nanoseconds; `None` before two.
    pub output_shift_ns: Option<(i64, i64)>,
}

/// What was seen of a channel's source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ChannelSeen {
    /// Messages written.
    pub writes: u64,
    /// The longest time between two writes, in nanoseconds.
    pub longest_gap_ns: u64,
}

/// What was seen at one destination of a channel; in one line of a cache.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[repr(align(64))]
pub struct InputSeen {
    /// Messages read.
    pub messages: u64,
    /// The sum of their ages when read, in nanoseconds; wraps.
    pub sum_age_ns: u64,
    /// The greatest age, in nanoseconds.
    pub most_age_ns: u64,
    /// Reads of a sampled message older than its refresh period.
    pub stale: u64,
    /// Reads that found nothing.
    pub empty: u64,
    /// Messages lost because the queue was full, or that of the internal network on the way there.
    pub lost: u64,
    /// The most messages that the queue held.
    pub most_held: u64,
    /// The longest way through the internal network, in nanoseconds; 0 where it takes none.
    pub most_delay_ns: u64,
}

/// What was seen of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ChainSeen {
    /// The longest reaction with the time outside, in nanoseconds; `None` where none was complete.
    pub reaction_ns: Option<u64>,
    /// The greatest data age held with the time outside, in nanoseconds; `None` where none was complete.
    pub age_ns: Option<u64>,
}

/// What was seen of a partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PartitionSeen {
    /// When it was operational after the first frame's begin, the latest, in nanoseconds.
    pub operational_ns: Option<u64>,
    /// Warm starts.
    pub warm_starts: u64,
    /// Cold starts.
    pub cold_starts: u64,
    /// Runs in which it stopped for good.
    pub stops: u64,
    /// The longest outage with a warm start, from the fault to the first output, in nanoseconds.
    pub warm_outage_ns: Option<u64>,
    /// The longest outage with a cold start.
    pub cold_outage_ns: Option<u64>,
    /// The most frames that waited in its queue of the internal network.
    pub most_waiting: u64,
    /// Frames of it that the internal network lost.
    pub frames_lost: u64,
    /// For an opaque guest: the longest span from any instant until its budget was supplied, or until the run ended without, in
    /// nanoseconds.
    pub longest_for_budget_ns: Option<u64>,
}

/// How much a simulation did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Counts {
    /// Jobs released.
    pub releases: u64,
    /// Jobs completed.
    pub completions: u64,
    /// Windows begun.
    pub windows: u64,
    /// Messages written.
    pub writes: u64,
    /// Inputs read.
    pub reads: u64,
    /// Runs in which the module stopped.
    pub module_stops: u64,
}

impl Seen {
    /// Nothing seen yet of this machine.
    pub fn nothing(machine: &crate::Machine) -> Self {
        Self {
            runs: 0,
            tasks: vec![TaskSeen::default(); machine.tasks.len()],
            channels: vec![ChannelSeen::default(); machine.channels.len()],
            inputs: vec![InputSeen::default(); machine.inputs.len()],
            chains: vec![ChainSeen::default(); machine.chains.len()],
            partitions: vec![PartitionSeen::default(); machine.partitions.len()],
            counts: Counts::default(),
        }
    }

    /// Nothing seen any more; rooms are kept.
    pub fn clear(&mut self) {
        self.runs = 0;
        self.tasks.fill(TaskSeen::default());
        self.channels.fill(ChannelSeen::default());
        self.inputs.fill(InputSeen::default());
        self.chains.fill(ChainSeen::default());
        self.partitions.fill(PartitionSeen::default());
        self.counts = Counts::default();
    }

    /// Adds what other runs of the same machine saw. The order of joining does not matter.
    pub fn join(&mut self, other: &Self) {
        self.runs += other.runs;
        each(&mut self.tasks, &other.tasks, TaskSeen::join);
        each(&mut self.channels, &other.channels, ChannelSeen::join);
        each(&mut self.inputs, &other.inputs, InputSeen::join);
        each(&mut self.chains, &other.chains, ChainSeen::join);
        each(&mut self.partitions, &other.partitions, PartitionSeen::join);
        self.counts.join(&other.counts);
    }
}

fn each<T>(mine: &mut [T], others: &[T], join: impl Fn(&mut T, &T)) {
    mine.iter_mut().zip(others).for_each(|(one, other)| join(one, other));
}

impl TaskSeen {
    pub(crate) fn join(&mut self, other: &Self) {
        self.jobs += other.jobs;
        self.sum_ns = self.sum_ns.wrapping_add(other.sum_ns);
        self.most_ns = self.most_ns.max(other.most_ns);
        self.missed += other.missed;
        self.dropped += other.dropped;
        self.output_shift_ns = match (self.output_shift_ns, other.output_shift_ns) {
            (Some((least, most)), Some((other_least, other_most))) => {
                Some((least.min(other_least), most.max(other_most)))
            }
            (mine, others) => mine.or(others),
        };
    }
}

impl ChannelSeen {
    fn join(&mut self, other: &Self) {
        self.writes += other.writes;
        self.longest_gap_ns = self.longest_gap_ns.max(other.longest_gap_ns);
    }
}

impl InputSeen {
    fn join(&mut self, other: &Self) {
        self.messages += other.messages;
        self.sum_age_ns = self.sum_age_ns.wrapping_add(other.sum_age_ns);
        self.most_age_ns = self.most_age_ns.max(other.most_age_ns);
        self.stale += other.stale;
        self.empty += other.empty;
        self.lost += other.lost;
        self.most_held = self.most_held.max(other.most_held);
        self.most_delay_ns = self.most_delay_ns.max(other.most_delay_ns);
    }
}

impl ChainSeen {
    fn join(&mut self, other: &Self) {
        self.reaction_ns = self.reaction_ns.max(other.reaction_ns);
        self.age_ns = self.age_ns.max(other.age_ns);
    }
}

impl PartitionSeen {
    pub(crate) fn join(&mut self, other: &Self) {
        self.operational_ns = self.operational_ns.max(other.operational_ns);
        self.warm_starts += other.warm_starts;
        self.cold_starts += other.cold_starts;
        self.stops += other.stops;
        self.warm_outage_ns = self.warm_outage_ns.max(other.warm_outage_ns);
        self.cold_outage_ns = self.cold_outage_ns.max(other.cold_outage_ns);
        self.most_waiting = self.most_waiting.max(other.most_waiting);
        self.frames_lost += other.frames_lost;
        self.longest_for_budget_ns = self.longest_for_budget_ns.max(other.longest_for_budget_ns);
    }
}

impl Counts {
    fn join(&mut self, other: &Self) {
        self.releases += other.releases;
        self.completions += other.completions;
        self.windows += other.windows;
        self.writes += other.writes;
        self.reads += other.reads;
        self.module_stops += other.module_stops;
    }
}
