//! Keeps the windows of one core: continues whoever's turn it is and stops it at its end, by the monotonic clock.

use crate::orders::Subject;
use crate::prepare::{CorePlan, Span};
use crate::record::{Entry, Log};
use crate::{clock, cpus};
use rustix::process::{Pid, Signal, kill_process};
use std::ffi::CString;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering::SeqCst};
use trace::event::Word;

/// What the name of each dispatcher begins with; its core's number follows.
pub const THREAD: &str = "rh-core-";
/// A sleeping dispatcher looks up that often, in case all is over.
const LOOK_UP_NS: u64 = 50_000_000;

/// The process that stands for a virtual core, as its dispatcher and those who start it share it.
#[derive(Debug, Default)]
pub struct Slot {
    /// The process; 0 where there is none.
    process: AtomicI32,
    /// Whether its window is open.
    open: AtomicBool,
}

impl Slot {
    /// Its window begins.
    fn open(&self) {
        self.open.store(true, SeqCst);
        self.signal(Signal::CONT);
    }

    /// Its window ends.
    fn close(&self) {
        self.open.store(false, SeqCst);
        self.signal(Signal::STOP);
    }

    /// Whether its window is open.
    pub fn is_open(&self) -> bool {
        self.open.load(SeqCst)
    }

    /// A process takes its place: it runs where its window is open, and is stopped where not.
    pub fn take(&self, process: Pid) {
        self.process.store(process.as_raw_nonzero().get(), SeqCst);
        // The window may begin or end meanwhile; its dispatcher then signals too, in either order.
        loop {
            let is_open = self.is_open();
            self.signal(if is_open { Signal::CONT } else { Signal::STOP });
            if self.is_open() == is_open {
                return;
            }
        }
    }

    /// Nobody stands for it from now on. To be said before the process is waited for, since its number may then be another's.
    pub fn leave(&self) {
        self.process.store(0, SeqCst);
    }

    fn signal(&self, signal: Signal) {
        if let Some(process) = Pid::from_raw(self.process.load(SeqCst)) {
            // A process that has just ended cannot be signalled, and need not be.
            let _ = kill_process(process, signal);
        }
    }
}

/// One core and who is served there.
#[derive(Debug)]
pub struct Core<'a> {
    /// Its windows.
    pub plan: &'a CorePlan,
    /// Its number in what is recorded.
    pub number: u16,
    /// The cpu that stands for it.
    pub cpu: usize,
    /// Whether to take real-time priority.
    pub real_time: bool,
    /// The process of every lane.
    pub slots: &'a [Slot],
    /// The partition of every lane.
    pub partitions: &'a [Subject],
}

impl Core<'_> {
    /// Keeps the windows from the first frame at `base_ns` until `end_ns` or until all is over, and says when each began and
    /// ended.
    pub fn keep(&self, (base_ns, end_ns): (u64, u64), frame_ns: u64, over: &AtomicBool) -> Vec<Entry> {
        // Both were tried before: a dispatcher that cannot have them keeps its windows as well as it can.
        let _ = cpus::pin(self.cpu);
        // Named once it is there, since a recorder of that cpu hears only names that are given on it.
        let _ = CString::new(format!("{THREAD}{}", self.number)).map(|name| rustix::thread::set_name(&name));
        let _ = self.real_time && cpus::Rank::Dispatcher.take();
        let mut log = Log::new(Vec::new());
        let starts = (0..).map(|frame: u64| base_ns.saturating_add(frame.saturating_mul(frame_ns)));
        let windows = starts.flat_map(|at| self.plan.windows.iter().map(move |window| (at, window)));
        let mut windows = windows.take_while(|(at, window)| at.saturating_add(window.start_ns) < end_ns).peekable();
        let mut is_open = false;
        while let Some((at, window)) = windows.next() {
            let goes_on = windows.peek().is_some_and(|(next, other)| is_one(at, window, *next, other));
            if !is_open {
                if !wait_until(at.saturating_add(window.start_ns), over) {
                    break;
                }
                self.begin(window, &mut log);
            }
            let kept = wait_until(at.saturating_add(window.end_ns), over);
            is_open = kept && goes_on;
            if !is_open {
                self.end(window, &mut log);
            }
            if !kept {
                break;
            }
        }
        log.into_keeper()
    }

    fn begin(&self, window: &Span, log: &mut Log<Vec<Entry>>) {
        let who = self.partitions.get(window.lane).copied();
        log.put(Entry::on(self.number, clock::now_ns(), Word::WindowBegins, who, None));
        self.slots.get(window.lane).into_iter().for_each(Slot::open);
    }

    fn end(&self, window: &Span, log: &mut Log<Vec<Entry>>) {
        self.slots.get(window.lane).into_iter().for_each(Slot::close);
        let (now, who) = (clock::now_ns(), self.partitions.get(window.lane).copied());
        log.put(Entry::on(self.number, now, Word::Idles, None, None));
        log.put(Entry::on(self.number, now, Word::WindowEnds, who, None));
    }
}

/// Whether two windows touch and are one lane's, as at a frame's border.
fn is_one(at: u64, window: &Span, next: u64, other: &Span) -> bool {
    window.lane == other.lane && at.saturating_add(window.end_ns) == next.saturating_add(other.start_ns)
}

/// Sleeps until an instant; `false` where all is over before.
fn wait_until(at_ns: u64, over: &AtomicBool) -> bool {
    loop {
        if over.load(SeqCst) {
            return false;
        }
        let now = clock::now_ns();
        if now >= at_ns {
            return true;
        }
        clock::sleep_until(at_ns.min(now.saturating_add(LOOK_UP_NS)));
    }
}
