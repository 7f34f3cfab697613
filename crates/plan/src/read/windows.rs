//! `[[window]]`

use super::Reader;
use crate::{CoreTable, ScheduleTable, Window};
use diagnostic::codes::plan_file::{
    EMPTY_WINDOW, NO_SUCH_VIRTUAL_CORE, SAME_WINDOW_TWICE, UNEVEN_REPETITION, WINDOW_OUTSIDE_FRAME,
};
use diagnostic::{Diagnostic, Located, Span};
use model::tables::Fields;
use quantity::{CoreId, Duration, Instant, PartitionId, ScheduleId};
use std::collections::BTreeMap;

/// The most windows that one entry may stand for, so that a slip in a unit does not fill the memory.
const MOST_REPEATED: u64 = 1 << 16;
/// The most windows of a whole plan.
const MOST_WINDOWS: usize = 1 << 20;

/// Windows by schedule and core, in the order of the file.
type Tables = BTreeMap<(ScheduleId, CoreId), Vec<Window>>;

impl Reader<'_> {
    /// The tables of all schedules that have windows.
    pub(super) fn schedules(&mut self, fields: &Fields) -> Vec<ScheduleTable> {
        let mut tables = Tables::new();
        let mut count = 0;
        for entry in fields.tables("window") {
            let Some((place, first, every)) = self.window(entry) else { continue };
            let windows = repeated(first, every, self.system.frame.value);
            count += windows.len();
            if count > MOST_WINDOWS {
                let message = format!("with this entry the plan has more than {MOST_WINDOWS} windows");
                self.cx.report(Diagnostic::new(&diagnostic::codes::input::TOO_MANY, entry.span, message));
                break;
            }
            tables.entry(place).or_default().extend(windows);
        }
        for windows in tables.values_mut() {
            windows.sort_by_key(|window| window.start);
            self.report_twins(windows);
        }
        by_schedule(tables)
    }

    /// One entry: where it belongs, its first window, the distance of its repetitions.
    fn window(&mut self, entry: &Fields) -> Option<((ScheduleId, CoreId), Window, Option<Duration>)> {
        let core = entry.text("core").and_then(|name| self.cores.resolve(&name, CoreId::new, self.cx));
        let partition =
            entry.text("partition").and_then(|name| self.partitions.resolve(&name, PartitionId::new, self.cx));
        let schedule = self.schedule(entry);
        let virtual_core = self.virtual_core(entry, partition);
        let times = self.times(entry);
        let (start, length, every) = times?;
        let window = Window {
            partition: partition?.value,
            virtual_core: virtual_core?,
            start: Instant::from_ns(start.ns()),
            length,
            pinned: entry.flag("pinned").is_some_and(|pinned| pinned.value),
            span: Some(entry.span),
        };
        Some(((schedule?, core?.value), window, every))
    }

    /// The schedule named, or the first.
    fn schedule(&mut self, entry: &Fields) -> Option<ScheduleId> {
        match entry.text("schedule") {
            Some(name) => self.schedules.resolve(&name, ScheduleId::new, self.cx).map(|schedule| schedule.value),
            None if entry.key_span("schedule").is_some() => None,
            None => Some(ScheduleId::new(0)),
        }
    }

    fn virtual_core(&mut self, entry: &Fields, partition: Option<Located<PartitionId>>) -> Option<u32> {
        let Some(given) = entry.small("virtual_core") else {
            return entry.key_span("virtual_core").is_none().then_some(0);
        };
        let Some(partition) = partition else { return Some(given.value) };
        let partition = self.system.partition(partition.value);
        let count = partition.virtual_cores.value;
        if given.value < count {
            return Some(given.value);
        }
        let message = format!("`{}` has no virtual core {}", partition.name.value, given.value);
        let help = match count {
            1 => "it has one virtual core, number 0".to_owned(),
            _ => format!("its virtual cores are numbered from 0 to {}", count.saturating_sub(1)),
        };
        self.cx.report(Diagnostic::new(&NO_SUCH_VIRTUAL_CORE, given.span, message).help(help));
        None
    }

    /// Start, length and repetition, all inside the frame.
    fn times(&mut self, entry: &Fields) -> Option<(Duration, Duration, Option<Duration>)> {
        let start = entry.time("start").filter(|start| self.starts_inside(start));
        let length = entry.time("length").filter(|length| self.is_some_time(length));
        let every = match entry.time("every") {
            Some(every) => Some(self.divides_frame(&every)?),
            None if entry.key_span("every").is_some() => return None,
            None => None,
        };
        let (start, length) = (start?, length?);
        self.ends_inside(&start, &length, every)?;
        Some((start.value, length.value, every))
    }

    fn is_some_time(&mut self, length: &Located<Duration>) -> bool {
        if length.is_zero() {
            let help = "give the window a length, or leave it out";
            self.cx.report(Diagnostic::new(&EMPTY_WINDOW, length.span, "the window has a length of 0").help(help));
        }
        !length.is_zero()
    }

    fn starts_inside(&mut self, start: &Located<Duration>) -> bool {
        let frame = self.system.frame.value;
        if start.value >= frame {
            let message = format!("the window starts at {}, the frame ends at {frame}", start.value);
            let help = "count the start from the frame's begin";
            self.cx.report(Diagnostic::new(&WINDOW_OUTSIDE_FRAME, start.span, message).help(help));
        }
        start.value < frame
    }

    /// The last of the repetitions ends with the frame or before it.
    fn ends_inside(
        &mut self,
        start: &Located<Duration>,
        length: &Located<Duration>,
        every: Option<Duration>,
    ) -> Option<()> {
        let frame = self.system.frame.ns();
        // The start lies below the frame, and the repetition is above zero, as checked before.
        let last = every.map_or(start.ns(), |every| start.ns() + (frame - 1 - start.ns()) / every.ns() * every.ns());
        let end = last.saturating_add(length.ns());
        if end <= frame {
            return Some(());
        }
        let message = format!(
            "the window that starts at {} ends at {}, after the frame's end at {}",
            Instant::from_ns(last),
            Instant::from_ns(end),
            self.system.frame.value
        );
        let help = "shorten it, or give its rest a window of its own at the frame's begin; touching windows are one";
        self.cx.report(Diagnostic::new(&WINDOW_OUTSIDE_FRAME, length.span, message).also(start.span, "").help(help));
        None
    }

    fn divides_frame(&mut self, every: &Located<Duration>) -> Option<Duration> {
        let frame = self.system.frame.value;
        let even = !every.is_zero() && frame.ns().is_multiple_of(every.ns());
        if even && frame.ns() / every.ns() <= MOST_REPEATED {
            return Some(every.value);
        }
        let (message, help) = if even {
            let times = frame.ns() / every.ns();
            (format!("`every` asks for {times} windows in a frame"), format!("at most {MOST_REPEATED} are read"))
        } else {
            let message = format!("`every` is {}, which does not divide the frame of {frame}", every.value);
            (
                message,
                "give a time that goes into the frame a whole number of times, or each window for itself".to_owned(),
            )
        };
        self.cx.report(Diagnostic::new(&UNEVEN_REPETITION, every.span, message).help(help));
        None
    }

    /// Two windows of one partition that are the same in everything are a slip of the pen, not a claim.
    fn report_twins(&mut self, sorted: &[Window]) {
        let mut first_of: BTreeMap<(Instant, PartitionId, u32, Duration), Option<Span>> = BTreeMap::new();
        let mut reported: Vec<(Option<Span>, Option<Span>)> = Vec::new();
        for window in sorted {
            let key = (window.start, window.partition, window.virtual_core, window.length);
            let Some(first) = first_of.insert(key, window.span) else { continue };
            // Of two entries that repeat, one report tells enough.
            if reported.contains(&(first, window.span)) {
                continue;
            }
            reported.push((first, window.span));
            let name = &self.system.partition(window.partition).name.value;
            let message = format!("the window of `{name}` at {} is given twice", window.start);
            let (Some(first), Some(again)) = (first, window.span) else { continue };
            self.cx.report(
                Diagnostic::new(&SAME_WINDOW_TWICE, again, message)
                    .also(first, "first given here")
                    .help("leave one out"),
            );
        }
    }
}

/// The window at its start and then at every repetition before the frame's end.
fn repeated(first: Window, every: Option<Duration>, frame: Duration) -> Vec<Window> {
    let Some(every) = every else { return vec![first] };
    let starts = (first.start.ns()..frame.ns()).step_by(usize::try_from(every.ns()).unwrap_or(usize::MAX));
    starts.map(|start| Window { start: Instant::from_ns(start), ..first }).collect()
}

fn by_schedule(tables: Tables) -> Vec<ScheduleTable> {
    let mut schedules: Vec<ScheduleTable> = Vec::new();
    for ((schedule, core), windows) in tables {
        let table = CoreTable { core, windows };
        match schedules.last_mut() {
            Some(last) if last.schedule == schedule => last.cores.push(table),
            _ => schedules.push(ScheduleTable { schedule, cores: vec![table] }),
        }
    }
    schedules
}
