//! The bound of a chain that knows the window table: cut where jobs do not keep to the frame.
//!
//! Computes: the sum over the chain's segments of each one's bound: a run of tasks that keep to the frame by its job
//! chains, any other task by its period and response.
//! Source: cutting: Dürr, von der Brüggen, Chen, Chen, "End-to-end timing analysis of sporadic cause-effect chains in
//! distributed systems", ACM TECS 18(5s), 2019 (from memory); the segments: `crate::chain`.
//! Assumptions: the frames of the cores concerned begin together; tasks arrive as declared.
//! Symbols: times in ns.
//! Invariants and why it ends: the last write of a segment is a stimulus for the one after it, whose reaction time
//! bounds what comes then, whatever its instant; so reaction times add up. Once through the chain.
//! Differs from the source: nothing.
//! Checked by: chains with one free-running task; a run of one segment is the job chains' own.

use super::aligned::Aligned;
use super::links::Link;
use crate::chain::{Followed, Hop, JobChain, JobTimes, Seen, generic_ns};

/// A stretch of a chain.
pub(super) enum Segment<'a> {
    /// Tasks that keep to the frame, followed job by job.
    Followed { links: &'a [Link], jobs: Vec<JobTimes>, found: Followed },
    /// A task that may stand anywhere, and why.
    Anywhere { link: &'a Link, why: String },
}

impl Segment<'_> {
    /// The bound of the segment, what leads to it included.
    pub(super) fn longest_ns(&self) -> u64 {
        match self {
            Self::Followed { links, found, .. } => found.longest_ns.saturating_add(links[0].network_ns.unwrap_or(0)),
            Self::Anywhere { link, .. } => generic_ns(&[link.stage()]),
        }
    }
}

/// The segments of a chain.
///
/// # Errors
/// Why the table says no more than the generic bound: no two neighbours keep to the frame, or there are too many jobs.
pub(super) fn of<'a>(aligned: &mut Aligned<'_>, links: &'a [Link]) -> Result<Vec<Segment<'a>>, String> {
    let jobs: Vec<_> = links.iter().map(|link| aligned.jobs(link)).collect();
    let mut segments = Vec::new();
    let mut begin = 0;
    while begin < links.len() {
        match &jobs[begin] {
            Err(why) => {
                segments.push(Segment::Anywhere { link: &links[begin], why: why.clone() });
                begin += 1;
            }
            Ok(_) => {
                let cut = |k: usize| jobs[k].is_err() || links[k].network_ns.is_some();
                let end = (begin + 1..links.len()).find(|&k| cut(k)).unwrap_or(links.len());
                let run = jobs[begin..end].iter().flatten().cloned().collect();
                segments.push(followed(aligned, &links[begin..end], run)?);
                begin = end;
            }
        }
    }
    let alone = segments.len() == 1;
    let tells = |segment: &Segment<'_>| matches!(segment, Segment::Followed { links, .. } if alone || links.len() > 1);
    if segments.iter().any(tells) { Ok(segments) } else { Err(nothing_told(&segments)) }
}

fn nothing_told(segments: &[Segment<'_>]) -> String {
    let first = segments.iter().find_map(|segment| match segment {
        Segment::Anywhere { link, why } => {
            Some(format!("no two neighbours keep to the frame; at `{}`: {why}", link.label))
        }
        Segment::Followed { .. } => None,
    });
    first.unwrap_or_else(|| "the internal network is between all its tasks".to_owned())
}

fn followed<'a>(aligned: &Aligned<'_>, links: &'a [Link], jobs: Vec<JobTimes>) -> Result<Segment<'a>, String> {
    let hop = |pair: &[Link]| Hop {
        seen: if aligned.waits_for(&pair[0], &pair[1]) { Seen::Released } else { Seen::Written },
        reads: pair[1].reads,
    };
    let chain = JobChain {
        tasks: jobs.iter().collect(),
        entry_reads: links[0].reads,
        hops: links.windows(2).map(hop).collect(),
    };
    let found = chain.follow().map_err(|error| error.to_string())?;
    Ok(Segment::Followed { links, jobs, found })
}
