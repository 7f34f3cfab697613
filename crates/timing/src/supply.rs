//! The time a partition gets on one core: from its window table, a budget server, a proportional share, or a core of
//! its own.
//!
//! Computes: the supply of a cyclic window table between any two instants, its inverse, the starts
//! of a busy window that can be worst, the lower supply curve and the longest blackout. Other kinds are written as such a
//! table behind a lead, [`kinds`] says how.
//! Source: supply of a static partition: Mok, Feng & Chen 2001 (resource partitions); prefix sums
//! over the frame are plain arithmetic.
//! Assumptions: the table repeats for ever; the intervals given are usable, their heads (switch,
//! refill, slip) already taken off.
//! Symbols: `M` frame in ns; `Q` usable supply of a frame in ns; `S(s, t)` supply in `[s, s + t)` in ns. A lead is what
//! passes after a busy window's begin before the table goes on: `S(s, t)` is then the table's of `[s, s + t - lead)`.
//! Invariants and why it ends: intervals are sorted, disjoint and inside the frame, so the prefix
//! sums rise strictly; every search is a binary search or one division.
//! Differs from the source: exact supply from an absolute instant, not only the minimum over all.
//! Checked by: boundary tables below, properties and the brute-force oracle in `tests/`.

mod cursor;
mod kinds;
mod starts;

pub(crate) use cursor::{Cursor, FARTHEST_NS, NEVER};
pub use kinds::{MOST_STEPS, Share, SupplyKind};
pub use starts::BusyStart;

/// The greatest instant or span an input may name, in ns: every integer of an answer stays below 2^53.
pub const MAX_TIME_NS: u64 = (1 << 53) - 1;

/// A half-open interval `[start, end)` of a frame, in ns from the frame's begin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// First instant inside, in ns.
    pub start_ns: u64,
    /// First instant after, in ns.
    pub end_ns: u64,
}

/// Why a list of usable intervals is not a supply. The number is the index of the offending interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyError {
    /// The frame has no length.
    FrameZero,
    /// The frame passes [`MAX_TIME_NS`].
    FrameTooLong,
    /// The interval has no instant inside.
    Empty(usize),
    /// The interval ends after the frame.
    PastFrame(usize),
    /// The interval begins before the one listed before it has ended.
    Unordered(usize),
    /// A budget or a share of nothing.
    Nothing,
    /// The budget is longer than its period or its deadline.
    BudgetTooLong,
    /// A deadline or a delay passes [`MAX_TIME_NS`].
    LeadTooLong,
}

impl std::fmt::Display for SupplyError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::FrameZero => write!(f, "the frame has no length"),
            Self::FrameTooLong => write!(f, "the frame passes {MAX_TIME_NS} ns"),
            Self::Empty(k) => write!(f, "usable interval {k} is empty"),
            Self::PastFrame(k) => write!(f, "usable interval {k} ends after the frame"),
            Self::Unordered(k) => write!(f, "usable interval {k} begins before the one before has ended"),
            Self::Nothing => write!(f, "there is no time in the budget or the share"),
            Self::BudgetTooLong => write!(f, "the budget is longer than its period or its deadline"),
            Self::LeadTooLong => write!(f, "a deadline or a delay passes {MAX_TIME_NS} ns"),
        }
    }
}

impl std::error::Error for SupplyError {}

/// The supply of one partition on one core.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Supply {
    kind: SupplyKind,
    /// What passes after a busy window's begin before the table goes on.
    lead_ns: i64,
    frame_ns: i64,
    per_frame_ns: i64,
    /// Usable windows of one frame; touching intervals are one, except across the frame's end.
    windows: Vec<Interval>,
    /// The windows over one lap of some frames and one frame more, so that a lap can be read from any window of
    /// the first frame without wrapping.
    edges: Vec<Edge>,
    lap_ns: i64,
    per_lap_ns: i64,
    starts: Vec<BusyStart>,
    /// Before this instant of the first frame nothing is supplied, though later frames have it.
    boot_ns: u64,
}

/// One window and the supply from 0 up to its end, in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Edge {
    start_ns: i64,
    end_ns: i64,
    supplied_ns: i64,
}

/// A lap has at least so many windows, so that it is seldom begun anew.
const LAP_WINDOWS: usize = 32;
/// A lap is at most so long, so that instants within it stay small numbers.
const LONGEST_LAP_NS: i64 = 1 << 58;

impl Supply {
    /// The supply of the usable `intervals` of every frame of `frame_ns`.
    ///
    /// # Errors
    /// A [`SupplyError`] where the frame is zero or too long, or the intervals are empty, unsorted,
    /// overlapping or outside the frame. No interval at all is a supply of nothing.
    pub fn new(frame_ns: u64, intervals: &[Interval]) -> Result<Self, SupplyError> {
        check(frame_ns, intervals)?;
        let mut supply = Self::without_starts(frame_ns, join_touching(intervals));
        supply.starts = starts::worst_starts(&supply);
        assert!(!supply.starts.is_empty(), "some instant always starts a busy window");
        Ok(supply)
    }

    /// The table of sound windows.
    fn without_starts(frame_ns: u64, windows: Vec<Interval>) -> Self {
        let frame_ns = frame_ns as i64; // At most 2^53, by the check.
        let per_frame_ns = windows.iter().map(|w| (w.end_ns - w.start_ns) as i64).sum();
        let laps = LAP_WINDOWS.div_ceil(windows.len().max(1)) as i64;
        let laps = laps.min(LONGEST_LAP_NS / frame_ns);
        Self {
            kind: SupplyKind::WindowTable,
            lead_ns: 0,
            frame_ns,
            per_frame_ns,
            edges: edges(frame_ns, &windows, laps + 1),
            lap_ns: laps * frame_ns,
            per_lap_ns: laps * per_frame_ns,
            windows,
            starts: Vec::new(),
            boot_ns: 0,
        }
    }

    /// The same supply, but for the very first frame: nothing before `instant_ns`. That is so where a window that
    /// continues across the frame's begin pays its head there, once.
    pub fn with_boot_until(self, instant_ns: u64) -> Self {
        Self { boot_ns: instant_ns, ..self }
    }

    /// The same as it is seen by what may begin at any instant, where a table's time may come `late_ns` later: as the table's,
    /// behind a longer lead.
    pub fn later_by(self, late_ns: u64) -> Self {
        Self { lead_ns: self.lead_ns + late_ns.min(MAX_TIME_NS) as i64, ..self }
    }

    /// Before this instant of the first frame nothing is supplied, in ns; 0 where that frame is like all others.
    pub fn boot_ns(&self) -> u64 {
        self.boot_ns
    }

    /// The supply that the first frames lack against later ones, in ns.
    pub fn boot_loss_ns(&self) -> u64 {
        self.supplied_before_ns(self.boot_ns)
    }

    /// What the supply comes from.
    pub fn kind(&self) -> SupplyKind {
        self.kind
    }

    /// What passes after a busy window's begin before the table goes on, in ns; 0 for a window table.
    pub fn lead_ns(&self) -> u64 {
        self.lead_ns as u64
    }

    /// Length of the frame, in ns.
    pub fn frame_ns(&self) -> u64 {
        self.frame_ns as u64
    }

    /// Usable supply of one frame, in ns.
    pub fn per_frame_ns(&self) -> u64 {
        self.per_frame_ns as u64
    }

    /// The usable windows of one frame, touching ones joined.
    pub fn windows(&self) -> &[Interval] {
        &self.windows
    }

    /// The busy-window starts that can be worst: window ends whose supply no other end undercuts
    /// everywhere; one arbitrary instant where the partition is never without supply.
    pub fn busy_starts(&self) -> &[BusyStart] {
        &self.starts
    }

    /// Whether its time has places in a frame; of any other it is only known how much of it comes in any span.
    pub fn has_places(&self) -> bool {
        self.kind == SupplyKind::WindowTable
    }

    /// Where to begin in the table for what begins at that instant of the frame.
    pub fn table_begin_ns(&self, instant_ns: u64) -> u64 {
        if self.has_places() { instant_ns } else { self.starts.first().map_or(0, BusyStart::at_ns) }
    }

    /// The supply of the table in `[0, instant)`, in ns, over any number of frames.
    pub fn supplied_before_ns(&self, instant_ns: u64) -> u64 {
        let frames = instant_ns / self.frame_ns();
        let within_ns = instant_ns % self.frame_ns();
        let k = self.windows.partition_point(|w| w.end_ns <= within_ns);
        let whole_ns = if k == 0 { 0 } else { self.edges[k - 1].supplied_ns as u64 };
        let part_ns = self.windows.get(k).map_or(0, |w| within_ns.saturating_sub(w.start_ns));
        frames * self.per_frame_ns() + whole_ns + part_ns
    }

    /// `S(start, span)`: the supply in `[start, start + span)`, in ns. The end saturates at `u64::MAX`.
    pub fn supply_ns(&self, start_ns: u64, span_ns: u64) -> u64 {
        let span_ns = span_ns.saturating_sub(self.lead_ns());
        self.supplied_before_ns(start_ns.saturating_add(span_ns)) - self.supplied_before_ns(start_ns)
    }

    /// The shortest span `t` with `S(start, t) >= work`, in ns; none where the partition has no
    /// supply or the instant passes `u64`.
    pub fn span_for_ns(&self, start_ns: u64, work_ns: u64) -> Option<u64> {
        if work_ns == 0 {
            return Some(0);
        }
        let target_ns = self.supplied_before_ns(start_ns).checked_add(work_ns)?;
        let frames = (target_ns - 1).checked_div(self.per_frame_ns())?;
        let rest_ns = target_ns - frames * self.per_frame_ns();
        let first_frame = &self.edges[..self.windows.len()];
        let edge = self.edges[first_frame.partition_point(|edge| (edge.supplied_ns as u64) < rest_ns)];
        let within_ns = edge.end_ns as u64 - (edge.supplied_ns as u64 - rest_ns);
        frames.checked_mul(self.frame_ns())?.checked_add(within_ns)?.checked_sub(start_ns)?.checked_add(self.lead_ns())
    }

    /// The lower supply curve: the least supply of any interval of length `span_ns`, in ns.
    pub fn least_supply_ns(&self, span_ns: u64) -> u64 {
        let over_starts = self.starts.iter().map(|start| self.supply_ns(start.at_ns(), span_ns));
        over_starts.min().unwrap_or(0)
    }

    /// The longest interval without supply, in ns; none where there is no supply at all.
    pub fn blackout_ns(&self) -> Option<u64> {
        let first = self.windows.first()?;
        let last = self.windows.last()?;
        let across_ns = self.frame_ns() - last.end_ns + first.start_ns;
        let between = self.windows.windows(2).map(|pair| pair[1].start_ns - pair[0].end_ns);
        Some(between.fold(across_ns, u64::max) + self.lead_ns())
    }
}

fn check(frame_ns: u64, intervals: &[Interval]) -> Result<(), SupplyError> {
    if frame_ns == 0 {
        return Err(SupplyError::FrameZero);
    }
    if frame_ns > MAX_TIME_NS {
        return Err(SupplyError::FrameTooLong);
    }
    let mut before_ns = 0;
    for (k, interval) in intervals.iter().enumerate() {
        if interval.start_ns >= interval.end_ns {
            return Err(SupplyError::Empty(k));
        }
        if interval.end_ns > frame_ns {
            return Err(SupplyError::PastFrame(k));
        }
        if interval.start_ns < before_ns {
            return Err(SupplyError::Unordered(k));
        }
        before_ns = interval.end_ns;
    }
    Ok(())
}

fn edges(frame_ns: i64, windows: &[Interval], frames: i64) -> Vec<Edge> {
    let mut supplied_ns = 0;
    let mut edges = Vec::with_capacity(frames as usize * windows.len());
    for frame in 0..frames {
        for window in windows {
            supplied_ns += (window.end_ns - window.start_ns) as i64;
            let begin_ns = frame * frame_ns;
            let (start_ns, end_ns) = (begin_ns + window.start_ns as i64, begin_ns + window.end_ns as i64);
            edges.push(Edge { start_ns, end_ns, supplied_ns });
        }
    }
    edges
}

fn join_touching(intervals: &[Interval]) -> Vec<Interval> {
    let mut windows: Vec<Interval> = Vec::with_capacity(intervals.len());
    for interval in intervals {
        match windows.last_mut() {
            Some(last) if last.end_ns == interval.start_ns => last.end_ns = interval.end_ns,
            _ => windows.push(*interval),
        }
    }
    windows
}

#[cfg(test)]
mod tests;
