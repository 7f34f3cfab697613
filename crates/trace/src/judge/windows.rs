//! Windows against the plan: when they begin and end, and that each comes once.
//!
//! Only windows that the recording tells of speak here: who executes when does not say when a window began.

use super::frame::{Match, Tables};
use super::tally::{Finding, Limit, Rule, Tally};
use super::{Allowed, partition_name};
use crate::moment::{Clock, Moment, Reading};
use crate::rebuilt::{Observer, Window};
use crate::seen::{Happening, Seen};
use model::System;
use model::system::{CorePolicy, CoreSet};
use quantity::{CoreId, ScheduleId};

/// So many windows are kept to fit the frame's origin to, where none is given or told.
const TO_FIT: usize = 512;

/// Why nothing is said of a core set's windows.
const APART: &str = "its frames are not synchronised with the others', and where they begin is not known";
/// Why nothing is said of a window on a core that has no window table.
const NO_TABLE: &str = "the recording tells of its windows on cores that no window table serves";

#[derive(Debug)]
pub(super) struct Windows {
    tables: Tables,
    in_force: InForce,
    origin: Option<Origin>,
    /// How far off each other the clocks are by which the windows were told that an origin is fitted to.
    fit_error_ns: u64,
    waiting: Vec<Waits>,
    /// By core.
    lines: Vec<Line>,
    /// By partition: why windows that the recording tells of are not judged.
    unjudged: Vec<Option<&'static str>>,
    /// By partition.
    starts: Vec<Tally>,
    ends: Vec<Tally>,
    /// By core: how many windows out of their order; `None` where no window table says when who is served.
    order: Vec<Option<Tally>>,
}

/// What waits until it is known where frames begin.
#[derive(Debug, Clone, Copy)]
enum Waits {
    Window(Window),
    /// Windows may be missing here: on a core, or on all.
    Gap(Option<CoreId>),
}

/// Which module schedule is in force.
#[derive(Debug, Clone, Copy)]
struct InForce {
    /// `None`: a change of it may have been lost.
    now: Option<ScheduleId>,
    before: Option<ScheduleId>,
    /// Since when it is the one of now: a window that began earlier is one of the schedule before.
    since_ns: u64,
}

impl InForce {
    fn at(&self, begun_ns: u64) -> Option<ScheduleId> {
        if begun_ns < self.since_ns { self.before } else { self.now }
    }
}

/// Where frames begin.
#[derive(Debug, Clone, Copy)]
struct Origin {
    at_ns: i128,
    /// By whose clock; where it is fitted, by the clock of a window seen.
    clock: Clock,
    /// How far starts and ends lie off their plan with it, where it is fitted to these; `None`: it is given or told.
    fitted: Option<(i128, i128)>,
}

impl Origin {
    fn told(at: Moment) -> Self {
        Self { at_ns: i128::from(at.at_ns), clock: at.clock, fitted: None }
    }

    fn fitted(at_ns: u64, clock: Clock) -> Self {
        Self { at_ns: i128::from(at_ns), clock, fitted: Some((0, 0)) }
    }

    /// Takes what lies so far off the plan. A fitted origin moves where all that was seen lies within the tolerance of another
    /// one: what violates a rule does so with every origin.
    fn take(&mut self, offs: &[i128], allowed_ns: u64) {
        let Some((least, most)) = &mut self.fitted else { return };
        *least = offs.iter().fold(*least, |least, off| least.min(*off));
        *most = offs.iter().fold(*most, |most, off| most.max(*off));
        let allowed = i128::from(allowed_ns);
        if (least.abs() > allowed || most.abs() > allowed) && *most - *least <= 2 * allowed {
            let middle = *least + (*most - *least) / 2;
            self.at_ns += middle;
            (*least, *most) = (*least - middle, *most - middle);
        }
    }
}

/// What was last seen on a core.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    last: Option<i128>,
    first_frame: Option<i128>,
    last_frame: Option<i128>,
}

impl Windows {
    pub(super) fn new(system: &System, tables: Tables, allowed: Allowed) -> Self {
        let limit: Limit = allowed
            .window_ns
            .ok_or_else(|| "no `tolerance` is given, by which windows may begin and end off their plan".to_owned());
        let partitions = system.partitions.len();
        let cores = system.board.cores.len();
        Self {
            tables,
            in_force: InForce { now: Some(ScheduleId::new(0)), before: None, since_ns: 0 },
            origin: allowed.origin_ns.map(|at_ns| Origin::told(Moment { at_ns, clock: Clock::exact(0) })),
            fit_error_ns: 0,
            waiting: Vec::new(),
            lines: vec![Line::default(); cores],
            unjudged: vec![None; partitions],
            starts: vec![Tally::new(Rule::WindowStart, limit.clone()); partitions],
            ends: vec![Tally::new(Rule::WindowEnd, limit); partitions],
            order: (0..cores).map(|core| has_table(system, core)).collect(),
        }
    }

    /// Judges what waits for the frame's origin, fitted to what has been seen.
    pub(super) fn finish(&mut self) {
        let waiting = std::mem::take(&mut self.waiting);
        if let (None, Some(schedule)) = (self.origin, self.in_force.now) {
            let window = |waits: &Waits| if let Waits::Window(window) = waits { Some(*window) } else { None };
            let windows: Vec<Window> = waiting.iter().filter_map(window).collect();
            let fitted = self.tables.fit(schedule, &windows);
            let clock = windows.first().map_or(Clock::exact(0), |window| window.clocks.0);
            self.origin = fitted.map(|at_ns| Origin::fitted(at_ns, clock));
            let clocks = windows.iter().flat_map(|window| [window.clocks.0, window.clocks.1]);
            self.fit_error_ns = clocks.map(|other| clock.error_to_ns(other)).max().unwrap_or(0);
        }
        for waits in waiting {
            match waits {
                Waits::Window(window) => self.judge(&window),
                Waits::Gap(core) => self.forget_order(core),
            }
        }
    }

    /// An instant at which a frame begins.
    pub(super) fn origin_ns(&self) -> Option<u64> {
        let at_ns = self.origin?.at_ns;
        let frame = i128::from(self.tables.frame_ns);
        u64::try_from(if at_ns < 0 { at_ns.rem_euclid(frame) } else { at_ns }).ok()
    }

    /// How many frames lie between the first window seen and the last, on the core that was seen longest.
    pub(super) fn frames(&self) -> u64 {
        let span = |line: &Line| Some(line.last_frame? - line.first_frame? + 1);
        let most = self.lines.iter().filter_map(span).max().unwrap_or(0);
        u64::try_from(most).unwrap_or(u64::MAX)
    }

    pub(super) fn findings(&self, system: &System) -> Vec<Finding> {
        let silent = "the recording tells of no window of it";
        let of = |tallies: &[Tally]| -> Vec<Finding> {
            let tallies = tallies.iter().zip(&self.unjudged).enumerate();
            let finding = |(index, (tally, unjudged)): (usize, (&Tally, &Option<&str>))| {
                tally.finding(partition_name(system, index), unjudged.unwrap_or(silent))
            };
            tallies.map(finding).collect()
        };
        let order = self.order.iter().enumerate().filter_map(|(core, tally)| Some((core, tally.as_ref()?)));
        let core_name = |core: usize| format!("core {}", system.board.cores[core].name.value);
        let silent = |tally: &Tally| if tally.has_limit() { "the recording tells of no window there" } else { APART };
        let order = order.map(|(core, tally)| tally.finding(core_name(core), silent(tally)));
        [of(&self.starts), of(&self.ends), order.collect()].concat()
    }

    fn judge(&mut self, window: &Window) {
        let Some(schedule) = self.in_force.at(window.from_ns) else { return self.cannot_judge(window) };
        if !self.tables.of(schedule, window.core).iter().any(|planned| planned.partition == window.partition) {
            self.lines[window.core.index()].last = None;
            if let Some(tally) = &mut self.order[window.core.index()] {
                tally.note(1, window.from_ns, || "a window of a partition that has none on this core".to_owned());
            }
            return;
        }
        let Some(found) = self.nearest(schedule, window) else { return self.cannot_judge(window) };
        self.judge_times(window, found);
        self.judge_order(schedule, window, found);
    }

    /// The planned window that the one seen is, once a fitted origin has taken its start and end into account.
    fn nearest(&mut self, schedule: ScheduleId, window: &Window) -> Option<Match> {
        let origin = self.origin.as_mut()?;
        let found = self.tables.nearest(schedule, window, origin.at_ns)?;
        let Some(allowed) = self.starts[window.partition.index()].limit() else { return Some(found) };
        let start = i128::from(window.from_ns) - found.start_ns;
        let end = if window.whole { i128::from(window.to_ns) - found.end_ns } else { start };
        origin.take(&[start, end], allowed);
        self.tables.nearest(schedule, window, origin.at_ns)
    }

    fn cannot_judge(&mut self, window: &Window) {
        let index = window.partition.index();
        self.starts[index].note_gap();
        self.ends[index].note_gap();
        self.lines[window.core.index()].last = None;
    }

    /// How far off each other the clocks are of the frame's origin and of a window's begin and end.
    fn errors_ns(&mut self, window: &Window) -> [u64; 2] {
        let Some(origin) = self.origin else { return [0; 2] };
        let errors = [window.clocks.0, window.clocks.1].map(|clock| origin.clock.error_to_ns(clock));
        if origin.fitted.is_none() {
            return errors;
        }
        // An origin is fitted to all windows, so what is wrong with one clock moves the others' windows too.
        self.fit_error_ns = errors.into_iter().fold(self.fit_error_ns, u64::max);
        [self.fit_error_ns; 2]
    }

    fn judge_times(&mut self, window: &Window, found: Match) {
        let errors = self.errors_ns(window);
        let index = window.partition.index();
        let (start, end) = (&mut self.starts[index], &mut self.ends[index]);
        if !window.whole {
            start.note_gap();
            end.note_gap();
            return;
        }
        let off = i128::from(window.from_ns) - found.start_ns;
        start.note(Reading::off_by(magnitude(off), errors[0]), window.from_ns, || {
            format!("a window began {} it was planned", off_words(off))
        });
        let off = i128::from(window.to_ns) - found.end_ns;
        end.note(Reading::off_by(magnitude(off), errors[1]), window.to_ns, || {
            format!("a window ended {} it was planned", off_words(off))
        });
    }

    fn judge_order(&mut self, schedule: ScheduleId, window: &Window, found: Match) {
        let core = window.core;
        let count = self.tables.of(schedule, core).len() as i128;
        let line = &mut self.lines[core.index()];
        let frame = found.ordinal.div_euclid(count);
        line.first_frame = line.first_frame.or(Some(frame));
        line.last_frame = Some(frame);
        // What a gap or the recording's end cuts, and what a change of the schedule leaves behind, has nothing after it in order.
        let goes_on = window.whole && window.from_ns >= self.in_force.since_ns;
        let last = std::mem::replace(&mut line.last, goes_on.then_some(found.ordinal));
        let (Some(last), Some(origin)) = (last, self.origin) else { return };
        let Some(tally) = &mut self.order[core.index()] else { return };
        let missing = found.ordinal - last - 1;
        if missing == 0 {
            tally.note(0, window.from_ns, String::new);
        } else if missing < 0 {
            tally.note(1, window.from_ns, || "a window began again, or out of the order of the plan".to_owned());
        } else {
            let skipped = self.tables.start_of(schedule, core, last + 1, origin.at_ns);
            let at_ns = skipped.and_then(|(at, _)| u64::try_from(at).ok()).unwrap_or(window.from_ns);
            tally.note(magnitude(missing), at_ns, || format!("{missing} planned windows in a row did not come"));
        }
    }

    /// Windows may be missing, and with them a change of the schedule.
    fn gap(&mut self, core: Option<CoreId>) {
        if self.tables.schedules() > 1 {
            self.finish();
            self.in_force.now = None;
        }
        match self.waiting.last_mut() {
            Some(Waits::Window(_)) => self.waiting.push(Waits::Gap(core)),
            // Several gaps with no window between them are one, of all cores if they are not of the same.
            Some(Waits::Gap(other)) => *other = other.filter(|other| Some(*other) == core),
            None => self.forget_order(core),
        }
    }

    fn forget_order(&mut self, core: Option<CoreId>) {
        match core {
            Some(core) => self.lines[core.index()].last = None,
            None => self.lines.iter_mut().for_each(|line| line.last = None),
        }
    }
}

impl Observer for Windows {
    fn seen(&mut self, seen: &Seen) {
        match seen.what {
            Happening::Frame => self.origin = self.origin.or(Some(Origin::told(seen.moment()))),
            Happening::Schedule { schedule } => {
                // What waits was seen under the schedule before.
                self.origin = self.origin.or(Some(Origin::told(seen.moment())));
                self.finish();
                self.in_force = InForce { now: Some(schedule), before: self.in_force.now, since_ns: seen.at_ns };
                self.forget_order(None);
            }
            Happening::Gap { core, .. } => self.gap(core),
            _ => {}
        }
    }

    fn window(&mut self, window: &Window) {
        if !window.told {
            return;
        }
        let order = self.order[window.core.index()].as_ref();
        if !order.is_some_and(Tally::has_limit) {
            self.unjudged[window.partition.index()] = Some(if order.is_some() { APART } else { NO_TABLE });
            return;
        }
        if self.origin.is_some() {
            self.finish();
            self.judge(window);
            return;
        }
        self.waiting.push(Waits::Window(*window));
        if self.waiting.len() >= TO_FIT {
            self.finish();
        }
    }
}

/// A tally for a core whose partitions are served by a window table.
fn has_table(system: &System, core: usize) -> Option<Tally> {
    let core = CoreId::new(core);
    let set = system.core_sets.iter().find(|set| set.cores.contains(&core))?;
    let CorePolicy::WindowTable { synchronised, .. } = set.policy else { return None };
    let is_table = |set: &&CoreSet| matches!(set.policy, CorePolicy::WindowTable { .. });
    let is_alone = system.core_sets.iter().filter(is_table).count() == 1;
    let limit = if synchronised || is_alone { Ok(0) } else { Err(APART.to_owned()) };
    Some(Tally::new(Rule::WindowOrder, limit))
}

fn magnitude(value: i128) -> u64 {
    u64::try_from(value.unsigned_abs()).unwrap_or(u64::MAX)
}

fn off_words(off: i128) -> String {
    let side = if off > 0 { "later than" } else { "earlier than" };
    format!("{} ns {side}", off.unsigned_abs())
}
