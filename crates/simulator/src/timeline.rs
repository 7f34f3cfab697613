//! Who had which core when: the events of a run made into stretches, for a part of the run, in bounded room.

use crate::event::{Event, Recorder, Stall, What};

/// The stretches and events of one part of a run that are kept at most.
pub const MOST_KEPT: usize = 200_000;
/// The remarkable events of a whole run that are kept at most.
pub const MOST_REMARKABLE: usize = 10_000;

/// A part of a run as it is drawn.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Timeline {
    /// Where the part begins, in nanoseconds from the run's beginning.
    pub from_ns: u64,
    /// Where it ends.
    pub to_ns: u64,
    /// What each core did, by the machine's cores.
    pub cores: Vec<CoreLine>,
    /// What happened in the part beside, by time.
    pub events: Vec<Event>,
    /// What is worth telling of the whole run, by time: faults, starts, misses, losses, stale reads.
    pub remarkable: Vec<Event>,
    /// Stretches and events of the part that were not kept, for want of room.
    pub left_out: u64,
    /// Remarkable events that were not kept, for want of room.
    pub remarkable_left_out: u64,
}

/// What one core did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CoreLine {
    /// Whom it served, by time.
    pub served: Vec<Served>,
    /// What it executed, and why it executed nothing, by time.
    pub stretches: Vec<Stretch>,
}

/// A stretch in which a core serves a lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Served {
    /// The lane.
    pub lane: usize,
    /// Its begin, in nanoseconds from the run's beginning.
    pub from_ns: u64,
    /// Its end.
    pub to_ns: u64,
    /// The head that it begins with, in nanoseconds; 0 where its begin lies outside of the part.
    pub head_ns: u64,
}

/// A stretch in which a core does one thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// Its begin, in nanoseconds from the run's beginning.
    pub from_ns: u64,
    /// Its end.
    pub to_ns: u64,
    /// What it does.
    pub doing: Doing,
}

/// What a core does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// It executes a job.
    Job {
        /// The task.
        task: usize,
        /// The job's number, from 0.
        job: u64,
    },
    /// It initialises or builds for this partition.
    Initialises {
        /// The partition.
        partition: usize,
    },
    /// It executes nothing, for this reason.
    Stalls(Stall),
}

impl Timeline {
    /// The part `[from, to)` of this one.
    #[must_use]
    pub fn part(&self, from_ns: u64, to_ns: u64) -> Self {
        let (from_ns, to_ns) = (from_ns.max(self.from_ns), to_ns.min(self.to_ns));
        let inside = |event: &&Event| (from_ns..to_ns).contains(&event.at_ns);
        let line = |line: &CoreLine| CoreLine {
            served: line.served.iter().filter_map(|one| one.cut(from_ns, to_ns)).collect(),
            stretches: line.stretches.iter().filter_map(|one| one.cut(from_ns, to_ns)).collect(),
        };
        Self {
            from_ns,
            to_ns: to_ns.max(from_ns),
            cores: self.cores.iter().map(line).collect(),
            events: self.events.iter().filter(inside).copied().collect(),
            ..self.clone()
        }
    }
}

impl Served {
    fn cut(self, from: u64, to: u64) -> Option<Self> {
        let (from_ns, to_ns) = (self.from_ns.max(from), self.to_ns.min(to));
        let head_ns = if from_ns == self.from_ns { self.head_ns.min(to_ns.saturating_sub(from_ns)) } else { 0 };
        (from_ns < to_ns).then_some(Self { from_ns, to_ns, head_ns, ..self })
    }
}

impl Stretch {
    fn cut(self, from: u64, to: u64) -> Option<Self> {
        let (from_ns, to_ns) = (self.from_ns.max(from), self.to_ns.min(to));
        (from_ns < to_ns).then_some(Self { from_ns, to_ns, ..self })
    }
}

/// Makes a [`Timeline`] of the events of one run, as they come.
#[derive(Debug)]
pub struct Keeper {
    line: Timeline,
    open: Vec<Open>,
    kept: usize,
    most: usize,
}

/// What a core is at.
#[derive(Debug, Clone, Copy, Default)]
struct Open {
    served: Option<Served>,
    doing: Option<Stretch>,
    stall: Option<Stretch>,
}

impl Keeper {
    /// A keeper for the part `[from, to)` of a run of a machine with that many cores.
    pub fn new(cores: usize, from_ns: u64, to_ns: u64) -> Self {
        let line = Timeline { from_ns, to_ns, cores: vec![CoreLine::default(); cores], ..Timeline::default() };
        Self { line, open: vec![Open::default(); cores], kept: 0, most: MOST_KEPT }
    }

    /// The timeline, of a run that lasted until `end_ns`.
    pub fn finish(mut self, end_ns: u64) -> Timeline {
        for core in 0..self.open.len() {
            self.end_doing(core, end_ns);
            self.end_stall(core, end_ns);
            self.end_served(core, end_ns);
        }
        self.line.to_ns = self.line.to_ns.min(end_ns).max(self.line.from_ns);
        for core in &mut self.line.cores {
            core.stretches.sort_by_key(|stretch| (stretch.from_ns, stretch.to_ns));
        }
        self.line
    }

    fn has_room(&mut self) -> bool {
        let room = self.kept < self.most;
        if room {
            self.kept += 1
        } else {
            self.line.left_out += 1
        }
        room
    }

    fn keep(&mut self, core: usize, stretch: Stretch) {
        if let Some(stretch) = stretch.cut(self.line.from_ns, self.line.to_ns)
            && self.has_room()
        {
            self.line.cores[core].stretches.push(stretch);
        }
    }

    fn end_doing(&mut self, core: usize, at: u64) {
        if let Some(doing) = self.open[core].doing.take() {
            self.keep(core, Stretch { to_ns: at, ..doing });
        }
    }

    fn end_stall(&mut self, core: usize, at: u64) {
        if let Some(stall) = self.open[core].stall.take() {
            self.keep(core, Stretch { to_ns: stall.to_ns.min(at), ..stall });
        }
    }

    fn end_served(&mut self, core: usize, at: u64) {
        let ended = self.open[core].served.take().map(|served| Served { to_ns: at, ..served });
        if let Some(served) = ended.and_then(|served| served.cut(self.line.from_ns, self.line.to_ns))
            && self.has_room()
        {
            self.line.cores[core].served.push(served);
        }
    }

    fn does(&mut self, core: usize, from_ns: u64, doing: Doing) {
        self.end_doing(core, from_ns);
        self.end_stall(core, from_ns);
        self.open[core].doing = Some(Stretch { from_ns, to_ns: from_ns, doing });
    }

    /// A core stalls; a stall for the same reason that goes on is one.
    fn stalls(&mut self, core: usize, from_ns: u64, to_ns: u64, why: Stall) {
        let doing = Doing::Stalls(why);
        match &mut self.open[core].stall {
            Some(open) if open.doing == doing && open.to_ns >= from_ns => open.to_ns = open.to_ns.max(to_ns),
            _ => {
                self.end_stall(core, from_ns);
                self.open[core].stall = Some(Stretch { from_ns, to_ns, doing });
            }
        }
    }

    fn beside(&mut self, event: Event) {
        if is_remarkable(event.what) {
            if self.line.remarkable.len() < MOST_REMARKABLE {
                self.line.remarkable.push(event);
            } else {
                self.line.remarkable_left_out += 1;
            }
        }
        if (self.line.from_ns..self.line.to_ns).contains(&event.at_ns) && self.has_room() {
            self.line.events.push(event);
        }
    }
}

impl Recorder for Keeper {
    fn record(&mut self, event: Event) {
        let at = event.at_ns;
        match event.what {
            What::LaneBegins { core, lane, head_ns } => {
                self.end_served(core, at);
                self.open[core].served = Some(Served { lane, from_ns: at, to_ns: at, head_ns });
            }
            What::LaneEnds { core, .. } => {
                self.end_doing(core, at);
                self.end_served(core, at);
            }
            What::Runs { core, task, job } => self.does(core, at, Doing::Job { task, job }),
            What::Initialises { core, partition } => self.does(core, at, Doing::Initialises { partition }),
            What::Idles { core } => self.end_doing(core, at),
            What::Stalls { core, until_ns, why } => self.stalls(core, at, until_ns, why),
            _ => self.beside(event),
        }
    }
}

/// Whether an event is worth telling by itself.
const fn is_remarkable(what: What) -> bool {
    match what {
        What::Misses { .. }
        | What::Dropped { .. }
        | What::Lost { .. }
        | What::Reads { stale: true, .. }
        | What::FaultBegins { .. }
        | What::FaultEnds { .. }
        | What::Noticed { .. }
        | What::Restarts { .. }
        | What::Operational { .. }
        | What::Stopped { .. }
        | What::ModuleStops
        | What::ScheduleChanges { .. } => true,
        What::LaneBegins { .. }
        | What::LaneEnds { .. }
        | What::Runs { .. }
        | What::Initialises { .. }
        | What::Idles { .. }
        | What::Stalls { .. }
        | What::Arrives { .. }
        | What::Released { .. }
        | What::Completes { .. }
        | What::Writes { .. }
        | What::Reads { .. }
        | What::Forwarded { .. } => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(events: &[(u64, What)], part: (u64, u64), end: u64) -> Timeline {
        let mut keeper = Keeper::new(1, part.0, part.1);
        events.iter().for_each(|&(at_ns, what)| keeper.record(Event { at_ns, what }));
        keeper.finish(end)
    }

    const RUN: [(u64, What); 8] = [
        (10, What::LaneBegins { core: 0, lane: 2, head_ns: 5 }),
        (12, What::Arrives { task: 3, job: 0 }),
        (15, What::Runs { core: 0, task: 3, job: 0 }),
        (20, What::Stalls { core: 0, until_ns: 30, why: Stall::Interrupt }),
        (20, What::Idles { core: 0 }),
        (30, What::Runs { core: 0, task: 3, job: 0 }),
        (40, What::Misses { task: 3, job: 0 }),
        (50, What::LaneEnds { core: 0, lane: 2 }),
    ];

    #[test]
    fn events_become_stretches() {
        let line = kept(&RUN, (0, 100), 60);
        assert_eq!((line.from_ns, line.to_ns), (0, 60));
        assert_eq!(line.cores[0].served, [Served { lane: 2, from_ns: 10, to_ns: 50, head_ns: 5 }]);
        let job = Doing::Job { task: 3, job: 0 };
        let stretch = |from_ns, to_ns, doing| Stretch { from_ns, to_ns, doing };
        let stall = Doing::Stalls(Stall::Interrupt);
        assert_eq!(line.cores[0].stretches, [stretch(15, 20, job), stretch(20, 30, stall), stretch(30, 50, job)]);
        assert_eq!(line.events.len(), 2);
        assert_eq!(line.remarkable, [Event { at_ns: 40, what: What::Misses { task: 3, job: 0 } }]);
    }

    #[test]
    fn a_part_cuts_what_reaches_over_its_ends() {
        let whole = kept(&RUN, (0, 100), 60);
        for line in [kept(&RUN, (18, 35), 60), whole.part(18, 35)] {
            assert_eq!(line.cores[0].served, [Served { lane: 2, from_ns: 18, to_ns: 35, head_ns: 0 }]);
            let spans: Vec<_> = line.cores[0].stretches.iter().map(|one| (one.from_ns, one.to_ns)).collect();
            assert_eq!(spans, [(18, 20), (20, 30), (30, 35)]);
            assert!(line.events.is_empty());
            assert_eq!(line.remarkable.len(), 1, "the whole run is told of");
        }
    }

    #[test]
    fn stalls_that_go_on_are_one_and_end_where_execution_begins() {
        let why = Stall::Throttled;
        let events = [
            (0, What::Stalls { core: 0, until_ns: 10, why }),
            (10, What::Stalls { core: 0, until_ns: 20, why }),
            (15, What::Runs { core: 0, task: 0, job: 0 }),
        ];
        let spans: Vec<_> =
            kept(&events, (0, 100), 40).cores[0].stretches.iter().map(|one| (one.from_ns, one.to_ns)).collect();
        assert_eq!(spans, [(0, 15), (15, 40)]);
    }

    #[test]
    fn what_does_not_fit_is_counted() {
        let mut keeper = Keeper { most: 2, ..Keeper::new(1, 0, 100) };
        RUN.iter().for_each(|&(at_ns, what)| keeper.record(Event { at_ns, what }));
        assert_eq!(keeper.finish(60).left_out, 4);
    }
}
