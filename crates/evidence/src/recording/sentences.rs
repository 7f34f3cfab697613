//! Whole sentences about recordings, which the terminal and the report say alike.

use super::{Judged, Measured, Victims, matter_words, place_words};
use crate::show::{capital, count};
use quantity::Duration;
use statistics::two_samples::Within;
use trace::clock::Fit;
use trace::judge::Rule;

/// So many are listed of what is said in a row.
const MOST_LISTED: usize = 12;

/// What the recordings cover, a sentence or two each.
pub(crate) fn coverage(judged: &Judged<'_>) -> Vec<String> {
    let coverage = &judged.found.judgement.coverage;
    let Some((from, to)) = coverage.span_ns else {
        return vec!["Nothing was seen that is of this system.".to_owned()];
    };
    let span = Duration::from_ns(to - from);
    let gaps = if coverage.gaps == 0 { "no gap".to_owned() } else { counted(coverage.gaps, "gap") };
    let frames = counted(coverage.frames, "frame");
    let mut said = vec![
        format!("{span}, {} events of this system, {gaps}.", coverage.seen),
        format!("{frames} of {}, from the first window seen to the last.", judged.system.frame.value),
    ];
    said.extend(schedules(judged));
    let windows: u64 = coverage.windows.iter().map(|(all, _)| all).sum();
    let jobs: u64 = coverage.tasks.iter().map(|task| task.whole).sum();
    let (writes, reads): (u64, u64) = (coverage.writes.iter().sum(), coverage.reads.iter().sum());
    said.push(format!(
        "{}, {} seen from arrival to completion, {} written and {} read.",
        counted(windows, "window"),
        counted(jobs, "job"),
        counted(writes, "message"),
        counted(reads, "time")
    ));
    let given_up: u64 = coverage.tasks.iter().map(|task| task.given_up).sum();
    if given_up > 0 {
        said.push(format!("Starts and stops of partitions gave up {}.", counted(given_up, "job")));
    }
    let unseen = judged.unseen_tasks();
    if !unseen.is_empty() {
        said.push(format!("No whole job was seen of {}: {}.", count(unseen.len(), "task"), some_of(&unseen)));
    }
    said
}

/// Which module schedules were in force, where some never were.
fn schedules(judged: &Judged<'_>) -> Option<String> {
    let seen = judged.found.judgement.coverage.schedules.iter().zip(&judged.system.schedules);
    let (mut in_force, mut never) = (Vec::new(), Vec::new());
    for (times, schedule) in seen {
        let list = if *times > 0 { &mut in_force } else { &mut never };
        list.push(schedule.name.value.clone());
    }
    let said = || format!("Module schedules seen: {}. Not seen: {}.", some_of(&in_force), some_of(&never));
    (!never.is_empty()).then(said)
}

/// What a source is, and below it what was the matter with it.
pub(crate) fn source(judged: &Judged<'_>, index: usize) -> (String, Vec<String>) {
    let taking = &judged.found.taking;
    let (name, format) = &judged.found.sources[index];
    let events = taking.events.get(index).copied().unwrap_or_default();
    let clock = taking.fits.get(index).map_or_else(String::new, |fit| clock(fit, index));
    let mine = taking.matters.iter().filter(|matter| usize::from(matter.source) == index);
    let mut below: Vec<String> = mine
        .map(|found| {
            let words = matter_words(found.matter, found.count, taking.names.get(index));
            format!("{words}; first at {}", place_words(found.first, &judged.found.sources))
        })
        .collect();
    below.extend(unmapped(judged, index));
    (format!("{name}: {format}, {}{clock}.", counted(events, "event")), below)
}

fn clock(fit: &Fit, index: usize) -> String {
    if index == 0 || fit.pairs == 0 {
        return String::new();
    }
    let (offset, drift) = (fit.offset_ns, fit.drift_ppb());
    let error = fit.error_ns().map_or_else(
        || "; how far off that is takes three to see, so nothing is decided between the two".to_owned(),
        |error_ns| format!(", off by {} at most, and more before and after these", Duration::from_ns(error_ns)),
    );
    format!(
        "; its clock reads {offset} ns less than that of the first source, which gains {drift} ppb on it: fitted to {}{error}",
        count(fit.pairs, "common mark")
    )
}

fn unmapped(judged: &Judged<'_>, index: usize) -> Option<String> {
    let list = judged.found.taking.unmapped.get(index).filter(|list| !list.is_empty())?;
    let names: Vec<String> = list.iter().map(|one| format!("{} {} ({})", one.kind, one.name, one.events)).collect();
    Some(format!("{} not mapped, with their events: {}", names.len(), some_of(&names)))
}

/// The sources that were given up.
pub(crate) fn refusals(judged: &Judged<'_>) -> Vec<String> {
    let said = judged.found.taking.refusals.iter().map(|refusal| {
        let place = place_words(refusal.place, &judged.found.sources);
        format!("not read on from {place}: {}. {}.", refusal.why, capital(&refusal.remedy))
    });
    said.collect()
}

/// What the recordings say nothing of: the rule, its subjects, and why, those with the same reason together.
pub(crate) fn not_analysed(judged: &Judged<'_>) -> Vec<(&'static str, String, String)> {
    let mut reasons: Vec<(Rule, &str, Vec<String>)> = Vec::new();
    for (found, why) in judged.not_analysed() {
        match reasons.iter_mut().find(|(rule, reason, _)| *rule == found.rule && *reason == why) {
            Some((_, _, subjects)) => subjects.push(found.subject.clone()),
            None => reasons.push((found.rule, why, vec![found.subject.clone()])),
        }
    }
    reasons.into_iter().map(|(rule, why, subjects)| (rule.word(), some_of(&subjects), why.to_owned())).collect()
}

/// When the fault was.
pub(crate) fn fault(victims: &Victims) -> String {
    let to = victims.to_ns.map_or_else(|| "the end".to_owned(), |to| Duration::from_ns(to).to_string());
    let from = Duration::from_ns(victims.from_ns);
    format!("Before, during and after the fault, which lasted from {from} to {to}")
}

/// How the differences are to be read. "No difference found" is no evidence: what is told is how large one may be.
pub(crate) fn differences(victims: &Victims) -> String {
    let confidence = 100 - 100 / victims.one_in.max(1);
    let asked = victims.tolerance_ns.map_or_else(
        || "no tolerance was given (--shift)".to_owned(),
        |tolerance| format!("held against a tolerance of {}", Duration::from_ns(tolerance)),
    );
    format!(
        "The largest shift that the data still allow of the median and of the value that nine in ten stay below, {asked}. All of \
         it at once with {confidence} % confidence, whatever the distribution, as long as values are independent of each other \
         (Bonferroni's correction for {} comparisons):",
        2 * victims.rows.len()
    )
}

/// How many values would do, where there are too few.
pub(crate) fn needed(victims: &Victims) -> Vec<String> {
    let shifts = || victims.rows.iter().flat_map(|row| &row.pairs).flat_map(|pair| &pair.comparison.shifts);
    let unbound = shifts().filter(|shift| shift.least.is_none() || shift.most.is_none());
    let for_a_bound = unbound.filter_map(|shift| shift.needed_for_a_bound).max();
    let not_shown = shifts().filter(|shift| shift.within == Within::NotShown);
    let for_tolerance = not_shown.filter_map(|shift| shift.needed_for_tolerance).max();
    let bound = |most: u64| format!("Each span needs {most} values of a victim before any shift can be bounded.");
    let tolerance = |most: u64| {
        format!("To show the tolerance, about {most} values a span would be needed, if more came as these did.")
    };
    for_a_bound.map(bound).into_iter().chain(for_tolerance.map(tolerance)).collect()
}

/// Of how many there is no rare level, and why.
pub(crate) fn not_fitted(list: &[Measured]) -> Vec<String> {
    let mut reasons: Vec<&str> = list.iter().filter_map(|one| one.no_fit.as_deref()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    let of = |why: &str| list.iter().filter(|one| one.no_fit.as_deref() == Some(why)).count();
    reasons.into_iter().map(|why| format!("No rare level of {}: {why}.", of(why))).collect()
}

/// How what partitions were given is to be read.
pub(crate) const SUPPLY: &str = "Windows and stretches of execution that no gap cuts. A switch is the time from a window's beginning \
     to its partition's first execution in it, where a job waited: switch and refill together.";

/// What a sample says and what it does not.
pub(crate) const SAMPLES: &str = "The limit of an execution is the claimed time with two context switches and the declared waits \
     for memory, that of a response the deadline. The 99 % limit holds with 95 % confidence, whatever the distribution, for values \
     independent of each other (Wilks). The rare level is a fit of the largest twentieth by peaks over a threshold with its 95 % \
     interval, and only made where tests of independence and of stationarity do not speak against it. A high-water mark never \
     raises or lowers a claim by itself.";

fn counted(n: u64, noun: &str) -> String {
    count(usize::try_from(n).unwrap_or(usize::MAX), noun)
}

fn some_of(names: &[String]) -> String {
    let shown = names.iter().take(MOST_LISTED).map(String::as_str).collect::<Vec<_>>().join(", ");
    match names.len().saturating_sub(MOST_LISTED) {
        0 => shown,
        more => format!("{shown}, and {more} more"),
    }
}
