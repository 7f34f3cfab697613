//! What the bound of a chain is made of, in the order in which its time passes.

use super::links::Link;
use super::segments::Segment;
use crate::chain::{Followed, JobTimes};
use crate::claims::results::Results;
use crate::claims::scope::Scope;
use claim::{Part, PartKind};

/// Parts as they come, empty ones left out.
pub(super) struct Waterfall<'a> {
    scope: &'a Scope<'a>,
    results: &'a Results,
    parts: Vec<Part>,
}

impl<'a> Waterfall<'a> {
    pub(super) fn new(scope: &'a Scope<'a>, results: &'a Results) -> Self {
        Self { scope, results, parts: Vec::new() }
    }

    pub(super) fn into_parts(self) -> Vec<Part> {
        self.parts
    }

    pub(super) fn add(&mut self, what: &str, kind: PartKind, ns: u64) {
        if ns > 0 {
            self.parts.push(Part::new(what, kind, ns));
        }
    }

    /// A task that may stand anywhere: a period, and its response.
    pub(super) fn add_anywhere(&mut self, link: &Link) {
        self.add_network(link);
        self.add(&link.label, PartKind::Waiting, link.times.period_ns);
        let further_ns = link.stage().reads.saturating_sub(1).saturating_mul(link.times.period_ns);
        self.add_port(link, further_ns);
        match self.worst_arrival_ns(link) {
            Some(arrival_ns) if !link.logical => self.add_job(link, arrival_ns, link.write_ns()),
            _ => self.add_logical_job(link, link.write_ns()),
        }
    }

    pub(super) fn add_segment(&mut self, segment: &Segment<'_>) {
        match segment {
            Segment::Anywhere { link, .. } => self.add_anywhere(link),
            Segment::Followed { links, jobs, found } => {
                self.add_network(&links[0]);
                self.add_followed(links, jobs, found);
            }
        }
    }

    fn add_followed(&mut self, links: &[Link], jobs: &[JobTimes], found: &Followed) {
        let mut now_ns = found.stimulus_ns;
        for (k, link) in links.iter().enumerate() {
            // Where a later write is bounded by less, this one is too.
            let later = jobs.iter().zip(&found.jobs).skip(k).map(|(times, &job)| times.write_ns(job));
            let written_ns = later.min().unwrap_or(now_ns).max(now_ns);
            let arrival_ns = jobs[k].arrival_ns(found.jobs[k]).clamp(now_ns, written_ns);
            self.add_wait(link, (arrival_ns - now_ns) as u64); // Clamped.
            let length_ns = (written_ns - arrival_ns) as u64; // Clamped.
            if link.logical {
                self.add_logical_job(link, length_ns);
            } else {
                self.add_job(link, arrival_ns, length_ns);
            }
            now_ns = written_ns;
        }
    }

    fn add_network(&mut self, link: &Link) {
        self.add_port(link, link.network_ns.unwrap_or(0));
    }

    fn add_port(&mut self, link: &Link, ns: u64) {
        self.add(link.via.as_deref().unwrap_or(&link.label), PartKind::Port, ns);
    }

    /// The time until the job that takes the message arrives.
    fn add_wait(&mut self, link: &Link, ns: u64) {
        if link.reads > 1 {
            self.add_port(link, ns);
        } else {
            self.add(&link.label, PartKind::Waiting, ns);
        }
    }

    /// A job that writes when it completes, `length_ns` after `arrival_ns`.
    fn add_job(&mut self, link: &Link, arrival_ns: i64, length_ns: u64) {
        let usable_ns = self.usable_ns(link, arrival_ns, length_ns).min(length_ns);
        let executing_ns = link.times.charged_ns.min(usable_ns);
        self.add(&link.label, PartKind::Blackout, length_ns - usable_ns);
        self.add(&link.label, PartKind::Delay, usable_ns - executing_ns);
        self.add(&link.label, PartKind::Executing, executing_ns);
    }

    /// A job whose write waits for a point in time.
    fn add_logical_job(&mut self, link: &Link, length_ns: u64) {
        let executing_ns = link.times.charged_ns.min(length_ns);
        self.add(&link.label, PartKind::Executing, executing_ns);
        self.add(&link.label, PartKind::Alignment, length_ns - executing_ns);
    }

    /// The arrival of the job that responds worst, in ns from some frame's begin.
    fn worst_arrival_ns(&self, link: &Link) -> Option<i64> {
        let (core, k) = self.results.analysed(self.scope, link.id)?;
        Some(core.responses[k].bound()?.arrival_ns)
    }

    /// The time that the link's partition gets in `[start, start + length)`.
    fn usable_ns(&self, link: &Link, start_ns: i64, length_ns: u64) -> u64 {
        let Some((core, _)) = self.results.analysed(self.scope, link.id) else { return length_ns };
        let start_ns = start_ns.rem_euclid(core.supply.frame_ns() as i64) as u64;
        core.supply.supply_ns(start_ns, length_ns)
    }
}
