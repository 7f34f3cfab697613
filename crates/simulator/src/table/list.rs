//! The releases of one partition over a run, with what faults add to them.

use super::releases::{From, Job, POINT, Ranked, Release, Stretch, in_supply, sort};
use super::script::{Point, Script};
use super::supply::Supply;
use crate::draw::Draw;
use crate::scenario::Drawn;

/// The releases of one partition over a run, its points among them.
#[derive(Debug, Clone, Default)]
pub(super) struct List {
    pub(super) releases: Vec<Release>,
    /// The same by instant.
    jobs: Vec<Job>,
    /// How many of them are releases.
    pub(super) count: u64,
    /// Jobs that arrive but are not released within the span: rank and arrival.
    pub(super) unreleased: Vec<(usize, u64)>,
    /// Those that are not released when their partition is taken down.
    pub(super) dropped: Vec<(usize, u64)>,
}

impl List {
    /// Makes the list anew.
    pub(super) fn fill(
        &mut self,
        ranked: &Ranked,
        supply: &Supply,
        script: &Script,
        span_ns: u64,
        drawn: (Draw, &Drawn),
    ) {
        self.jobs.clear();
        self.dropped.clear();
        let down_ns = script.crash.map_or(span_ns, |crash| crash.taken_down_ns.min(span_ns));
        let stretch = Stretch { end_ns: down_ns, held: script.held };
        for rank in 0..ranked.tasks.len() {
            let first = ranked.first(rank, drawn.0, drawn.1);
            let From { number, .. } = ranked.jobs(rank, first, stretch, drawn, &mut self.jobs);
            if down_ns < span_ns {
                take_out(&mut self.jobs, rank, down_ns, &mut self.dropped);
            }
            if let Some(again) = script.again() {
                let from = ranked.again(rank, again.at_ns, number);
                ranked.jobs(rank, from, Stretch { end_ns: span_ns, held: None }, drawn, &mut self.jobs);
            }
        }
        self.unreleased.clear();
        let late = |job: &&Job| job.release_ns >= span_ns;
        self.unreleased.extend(self.jobs.iter().filter(late).map(|job| (job.rank as usize, job.arrival_ns)));
        self.jobs.retain(|job| job.release_ns < span_ns);
        self.count = self.jobs.len() as u64;
        self.jobs.extend(points(script, span_ns));
        self.jobs.push(point(span_ns, Point::End));
        sort(&mut self.jobs);
        in_supply(&self.jobs, supply, &mut self.releases);
    }

    /// The list of the same run without fault, with the points of one that changes no release.
    pub(super) fn with_points(&mut self, plain: &Self, supply: &Supply, script: &Script, span_ns: u64) {
        self.jobs.clone_from(&plain.jobs);
        self.unreleased.clone_from(&plain.unreleased);
        self.dropped.clear();
        self.count = plain.count;
        for point in points(script, span_ns) {
            let at = self.jobs.partition_point(|job| job.release_ns < point.release_ns);
            self.jobs.insert(at, point);
        }
        in_supply(&self.jobs, supply, &mut self.releases);
    }
}

/// Of the jobs of a task, which come last, those that are released at an instant or later are dropped.
fn take_out(jobs: &mut Vec<Job>, rank: usize, from_ns: u64, into: &mut Vec<(usize, u64)>) {
    // A later job of a task is released no sooner than an earlier one.
    while let Some(last) = jobs.last().filter(|job| job.rank as usize == rank && job.release_ns >= from_ns) {
        into.push((rank, last.arrival_ns));
        jobs.pop();
    }
}

fn points(script: &Script, span_ns: u64) -> impl Iterator<Item = Job> + '_ {
    let within = script.points.iter().filter(move |(at_ns, _)| *at_ns < span_ns);
    within.map(|&(at_ns, what)| point(at_ns, what))
}

fn point(at_ns: u64, what: Point) -> Job {
    Job { release_ns: at_ns, rank: POINT, number: what as u32, arrival_ns: at_ns }
}
