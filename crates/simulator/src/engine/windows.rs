//! Window tables: windows begin, their heads pass, they end.

use super::agenda::NEVER;
use super::run::Run;
use super::world::{CoreState, Edge, Kind, LaneState, NONE, Pool, World};
use crate::Recorder;
use crate::draw::Purpose;
use crate::event::{Stall, What};
use crate::machine::Window;

/// A core, with all that a change of its supply touches: looked up once for the whole change.
pub(super) struct Serving<'w> {
    core: u32,
    pub(super) state: &'w mut CoreState,
    lanes: &'w mut [LaneState],
    pools: &'w mut [Pool],
    windows: &'w [Window],
    /// The windows of this core in each module schedule.
    tables: &'w [(u32, u32)],
    cores: usize,
    dirty: &'w mut Vec<u32>,
    tell_runs: bool,
    frame_ns: u64,
    now: u64,
}

impl Serving<'_> {
    /// The window in turn.
    #[inline(always)]
    fn window(&self) -> Option<Window> {
        let index = self.state.windows.0 + self.state.window;
        if index < self.state.windows.1 { self.windows.get(index as usize).copied() } else { None }
    }

    /// From now on the core has the windows of that module schedule.
    pub(super) fn take_tables(&mut self, schedule: usize) {
        self.state.windows = self.tables.get(schedule * self.cores + self.core as usize).copied().unwrap_or((0, 0));
    }

    /// An instant of the frame, counted in the run.
    #[inline(always)]
    fn in_frame(&self, in_frame_ns: u64) -> u64 {
        (self.state.frame_end.saturating_add(in_frame_ns)).saturating_sub(self.frame_ns)
    }

    /// The next window is that of this index, or the first of the next frame.
    #[inline(always)]
    pub(super) fn await_window(&mut self, index: u32) {
        (self.state.put_off, self.state.window) = (false, index);
        if index >= self.state.windows.1 - self.state.windows.0 {
            self.state.window = 0;
            self.next_frame();
        }
        (self.state.edge, self.state.edge_at) = match self.window() {
            // Overtime may have taken the begin of this window, and more.
            Some(window) => (Edge::Start, self.in_frame(window.start_ns).max(self.now)),
            None => (Edge::None, NEVER),
        };
    }

    fn next_frame(&mut self) {
        self.state.frame_end = self.state.frame_end.saturating_add(self.frame_ns);
        if let Some(next) = self.state.next_tables.take() {
            self.take_tables(next);
        }
    }

    /// The core is to be looked at in this instant.
    #[inline(always)]
    pub(super) fn touch(&mut self) {
        if !std::mem::replace(&mut self.state.dirty, true) {
            self.dirty.push(self.core);
        }
    }

    /// The core begins to serve a lane.
    #[inline(always)]
    fn open(&mut self, lane: usize) {
        debug_assert_eq!(self.state.lane, NONE, "a core serves one lane at a time");
        self.state.lane = lane as u32;
        self.state.untold |= self.tell_runs;
        self.set_core(lane, self.core);
        self.touch();
    }

    /// A lane is served by that core, or by none. Gives its pool, which keeps the core where it has one lane.
    #[inline(always)]
    fn set_core(&mut self, lane: usize, core: u32) -> u32 {
        let state = &mut self.lanes[lane];
        state.core = core;
        self.pools[state.pool as usize].core = core;
        state.pool
    }

    /// The head takes until `usable_at`; the window ends at `end`. Says whether the head is over.
    #[inline(always)]
    fn head_until(&mut self, usable_at: u64, end: u64) -> bool {
        (self.state.window_end, self.state.head_end) = (end, usable_at);
        if usable_at >= end {
            (self.state.edge, self.state.edge_at) = (Edge::End, end);
        } else {
            (self.state.edge, self.state.edge_at) = (Edge::Usable, usable_at);
        }
        usable_at < end && usable_at <= self.now
    }

    /// The head is over. Says whether somebody must say what changes next: servers or turns.
    #[inline(always)]
    fn usable(&mut self) -> bool {
        let state = &mut *self.state;
        state.usable = true;
        state.untold |= self.tell_runs;
        state.plain = if state.lane == NONE { NONE } else { self.lanes[state.lane as usize].plain };
        (state.supplied_since, state.given_since) = (self.now, self.now.max(state.stalled_until));
        let window_end = state.window_end;
        match state.kind {
            Kind::Table => (state.edge, state.edge_at) = (Edge::End, window_end),
            Kind::Whole => (state.edge, state.edge_at) = (Edge::None, NEVER),
            Kind::Servers | Kind::Share => {}
        }
        self.touch();
        matches!(self.state.kind, Kind::Servers | Kind::Share)
    }
}

impl<R: Recorder> Run<'_, '_, R> {
    /// A core with what a change of its supply touches.
    #[inline(always)]
    pub(super) fn serving(&mut self, core: usize) -> Serving<'_> {
        let World { cores, lanes, pools, windows, tables, dirty, tell_runs, .. } = &mut *self.world;
        Serving {
            core: core as u32,
            cores: cores.len(),
            state: &mut cores[core],
            lanes,
            pools,
            windows,
            tables,
            dirty,
            tell_runs: *tell_runs,
            frame_ns: self.machine.frame_ns,
            now: self.now,
        }
    }

    /// A window begins: its head first.
    #[inline(always)]
    pub(super) fn start_window(&mut self, core: usize) {
        let (now, lates) = (self.now, self.world.lates);
        let mut serving = self.serving(core);
        let Some(window) = serving.window() else { return serving.await_window(0) };
        let end = serving.in_frame(window.end_ns);
        // Overtime may have taken all of it.
        if now >= end {
            return serving.await_window(serving.state.window + 1);
        }
        if lates && self.is_put_off(core, window, end) {
            return;
        }
        let slip = if self.world.cores[core].slip > 0 { self.slip(core, window) } else { 0 };
        let mut serving = self.serving(core);
        serving.open(window.lane);
        let ready = serving.head_until(now.saturating_add(window.head_ns).saturating_add(slip), end);
        let turns = ready && serving.usable();
        debug_assert!(!turns, "a core with windows has neither servers nor turns");
        self.out.seen.counts.windows += 1;
        self.tell(What::LaneBegins { core, lane: window.lane, head_ns: window.head_ns });
    }

    /// A late begin that a fault asks for: the window begins that much later, and ends as planned.
    fn is_put_off(&mut self, core: usize, window: Window, end: u64) -> bool {
        let state = &mut self.world.cores[core];
        let lane = &mut self.world.lanes[window.lane];
        let late = if state.late.0 > 0 { &mut state.late } else { &mut lane.late };
        if state.put_off || late.0 == 0 {
            return false;
        }
        late.0 -= 1;
        state.put_off = true;
        let until_ns = self.now.saturating_add(late.1).min(end);
        state.edge_at = until_ns;
        self.tell(What::Stalls { core, until_ns, why: Stall::LateWindow });
        true
    }

    /// Drawn for the instant at which the window was to begin, so that no fault changes what others draw.
    fn slip(&mut self, core: usize, window: Window) -> u64 {
        let serving = self.serving(core);
        let (planned, most) = (serving.in_frame(window.start_ns), serving.state.slip);
        self.drawn(Purpose::Slip, core as u64, planned, most)
    }

    /// The head takes until `usable_at`; the window ends at `end`.
    pub(super) fn head_until(&mut self, core: usize, usable_at: u64, end: u64) {
        if self.serving(core).head_until(usable_at, end) {
            self.usable(core);
        }
    }

    /// A head is over.
    #[inline]
    pub(super) fn usable(&mut self, core: usize) {
        let mut serving = self.serving(core);
        if serving.usable() {
            match serving.state.kind {
                Kind::Servers => self.await_server(core),
                Kind::Share => self.await_turn(core),
                Kind::Table | Kind::Whole => {}
            }
        }
    }

    /// A window ends, unless it continues in the next frame or a job goes on where nothing cuts it.
    #[inline(always)]
    pub(super) fn end_window(&mut self, core: usize) {
        if !self.world.enforced && self.works_overtime(core) {
            return;
        }
        let state = &self.world.cores[core];
        let next = state.window + 1;
        if next >= state.windows.1 - state.windows.0 && self.continues(core) {
            return;
        }
        self.close_supply(core);
        let mut serving = self.serving(core);
        serving.await_window(next);
        serving.touch();
    }

    /// At the frame's end: goes on with the window that continues it in the next frame. Says whether there is one.
    fn continues(&mut self, core: usize) -> bool {
        let state = &self.world.cores[core];
        let first = self.world.windows[state.windows.0 as usize];
        let end = state.frame_end.saturating_add(first.end_ns);
        // Overtime may have taken all that continues it.
        let passed = end <= self.now;
        if !first.continues || first.lane != state.lane as usize || state.next_tables.is_some() || passed {
            return false;
        }
        let mut serving = self.serving(core);
        serving.state.window = 0;
        serving.next_frame();
        let state = serving.state;
        (state.edge_at, state.window_end) = (end, end);
        if !state.usable {
            // Its head is longer than the window before, or as long.
            let head_end = state.head_end;
            self.head_until(core, head_end, end);
        }
        true
    }

    /// Whether an unfinished job that has passed its charged time keeps the core, since nothing cuts windows.
    fn works_overtime(&mut self, core: usize) -> bool {
        self.account(core);
        let Some(task) = self.world.task_on(core) else { return false };
        let state = &self.world.tasks[task];
        let overruns = state.left > 0 && state.job.execution - state.left >= state.fixed.charged;
        if overruns {
            let core = &mut self.world.cores[core];
            core.overtime = task as u32;
            (core.edge, core.edge_at) = (Edge::None, NEVER);
            core.stop_at = self.now.saturating_add(core.pace.takes(state.left, state.ahead, state.fixed));
        }
        overruns
    }

    /// A core begins to serve a lane.
    pub(super) fn open(&mut self, core: usize, lane: usize, head_ns: u64) {
        self.serving(core).open(lane);
        self.tell(What::LaneBegins { core, lane, head_ns });
    }

    /// A core ends serving its lane.
    #[inline(always)]
    pub(super) fn close_supply(&mut self, core: usize) {
        self.account(core);
        if self.world.measures {
            self.measure_supply(core);
        }
        let mut serving = self.serving(core);
        let state = &mut *serving.state;
        let (lane, ran) = (state.lane, state.shown != NONE);
        (state.lane, state.usable, state.running, state.stop_at) = (NONE, false, NONE, NEVER);
        (state.plain, state.overtime) = (NONE, NONE);
        state.untold |= serving.tell_runs || (ran && lane != NONE);
        if lane == NONE {
            return;
        }
        state.shown = NONE;
        let pool = serving.set_core(lane as usize, NONE);
        if ran {
            self.tell(What::Idles { core });
            if !self.world.pools[pool as usize].single {
                // Its job may go on where another lane of the partition is served.
                self.world.touch_pool(pool as usize);
            }
        }
        self.tell(What::LaneEnds { core, lane: lane as usize });
    }

    /// A number up to `most` for what is drawn beside jobs.
    pub(super) fn drawn(&self, purpose: Purpose, subject: u64, number: u64, most: u64) -> u64 {
        match &self.scenario.times {
            crate::scenario::Times::Drawn(drawn) => {
                super::jobs::spread(self.world.draw, drawn.phases, purpose, subject, number, 0, most)
            }
            crate::scenario::Times::Given(_) => most,
        }
    }
}
