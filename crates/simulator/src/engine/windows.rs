//! Window tables: windows begin, their heads pass, they end.

use super::agenda::NEVER;
use super::dispatch::stretched;
use super::run::Run;
use super::world::{Edge, Kind, NONE};
use crate::Recorder;
use crate::draw::Purpose;
use crate::event::{Stall, What};
use crate::machine::Window;

impl<R: Recorder> Run<'_, '_, R> {
    #[inline]
    fn window(&self, core: usize) -> Option<Window> {
        let state = &self.world.cores[core];
        let index = state.windows.0 + state.window;
        if index < state.windows.1 { self.world.windows.get(index as usize).copied() } else { None }
    }

    /// From now on the core has the windows of that module schedule.
    pub(super) fn take_tables(&mut self, core: usize, schedule: usize) {
        let windows = self.world.tables.get(schedule * self.machine.cores.len() + core).copied();
        self.world.cores[core].windows = windows.unwrap_or((0, 0));
    }

    /// An instant of the frame of a core, counted in the run.
    fn in_frame(&self, core: usize, in_frame_ns: u64) -> u64 {
        (self.world.cores[core].frame_end.saturating_add(in_frame_ns)).saturating_sub(self.machine.frame_ns)
    }

    /// The next window is that of this index, or the first of the next frame.
    #[inline(always)]
    pub(super) fn await_window(&mut self, core: usize, index: u32) {
        let state = &mut self.world.cores[core];
        state.put_off = false;
        state.window = index;
        if index >= state.windows.1 - state.windows.0 {
            state.window = 0;
            self.next_frame(core);
        }
        let state = &mut self.world.cores[core];
        let index = state.windows.0 + state.window;
        if index < state.windows.1 {
            let start_ns = self.world.windows[index as usize].start_ns;
            let at = state.frame_end.saturating_add(start_ns).saturating_sub(self.machine.frame_ns);
            // Overtime may have taken the begin of this window, and more.
            (state.edge, state.edge_at) = (Edge::Start, at.max(self.now));
        } else {
            (state.edge, state.edge_at) = (Edge::None, NEVER);
        }
    }

    #[inline(never)]
    fn next_frame(&mut self, core: usize) {
        let state = &mut self.world.cores[core];
        state.frame_end = state.frame_end.saturating_add(self.machine.frame_ns);
        if let Some(next) = state.next_tables.take() {
            self.take_tables(core, next);
        }
    }

    /// A window begins: its head first.
    #[inline(always)]
    pub(super) fn start_window(&mut self, core: usize) {
        let Some(window) = self.window(core) else {
            return self.await_window(core, 0);
        };
        let end = self.in_frame(core, window.end_ns);
        // Overtime may have taken all of it.
        if self.now >= end {
            return self.await_window(core, self.world.cores[core].window + 1);
        }
        if self.world.lates && self.is_put_off(core, window, end) {
            return;
        }
        self.open(core, window.lane, window.head_ns);
        self.out.seen.counts.windows += 1;
        let slip = if self.world.cores[core].slip > 0 { self.slip(core, window) } else { 0 };
        self.head_until(core, self.now.saturating_add(window.head_ns).saturating_add(slip), end);
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
    fn slip(&self, core: usize, window: Window) -> u64 {
        let planned = self.in_frame(core, window.start_ns);
        self.drawn(Purpose::Slip, core as u64, planned, self.world.cores[core].slip)
    }

    /// The head takes until `usable_at`; the window ends at `end`.
    #[inline(always)]
    pub(super) fn head_until(&mut self, core: usize, usable_at: u64, end: u64) {
        let now = self.now;
        let state = &mut self.world.cores[core];
        (state.window_end, state.head_end) = (end, usable_at);
        if usable_at >= end {
            (state.edge, state.edge_at) = (Edge::End, end);
        } else if usable_at > now {
            (state.edge, state.edge_at) = (Edge::Usable, usable_at);
        } else {
            self.usable(core);
        }
    }

    /// A head is over.
    #[inline(always)]
    pub(super) fn usable(&mut self, core: usize) {
        let now = self.now;
        let state = &mut self.world.cores[core];
        state.usable = true;
        state.untold |= self.world.tell_runs;
        state.plain = if state.lane == NONE { NONE } else { self.world.lanes[state.lane as usize].plain };
        (state.supplied_since, state.given_since) = (now, now.max(state.stalled_until));
        match state.kind {
            Kind::Table => (state.edge, state.edge_at) = (Edge::End, state.window_end),
            Kind::Whole => (state.edge, state.edge_at) = (Edge::None, NEVER),
            Kind::Servers => self.await_server(core),
            Kind::Share => self.await_turn(core),
        }
        self.world.touch(core);
    }

    /// A window ends, unless it continues in the next frame or a job goes on where nothing cuts it.
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
        self.await_window(core, next);
        self.world.touch(core);
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
        self.world.cores[core].window = 0;
        self.next_frame(core);
        let state = &mut self.world.cores[core];
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
            core.stop_at = self.now.saturating_add(stretched(state.left, state.fixed, core.wait_ns));
        }
        overruns
    }

    /// A core begins to serve a lane.
    #[inline(always)]
    pub(super) fn open(&mut self, core: usize, lane: usize, head_ns: u64) {
        debug_assert_eq!(self.world.cores[core].lane, NONE, "a core serves one lane at a time");
        self.world.cores[core].lane = lane as u32;
        self.set_core(lane, core as u32);
        self.tell(What::LaneBegins { core, lane, head_ns });
        self.world.touch(core);
    }

    /// A lane is served by that core, or by none. Gives its pool, which keeps the core where it has one lane.
    #[inline]
    fn set_core(&mut self, lane: usize, core: u32) -> usize {
        let state = &mut self.world.lanes[lane];
        state.core = core;
        let pool = state.pool as usize;
        self.world.pools[pool].core = core;
        pool
    }

    /// A core ends serving its lane.
    #[inline(always)]
    pub(super) fn close_supply(&mut self, core: usize) {
        self.account(core);
        if self.world.measures {
            self.measure_supply(core);
        }
        let state = &mut self.world.cores[core];
        let (lane, ran) = (state.lane, state.shown != NONE);
        (state.lane, state.usable, state.running, state.stop_at) = (NONE, false, NONE, NEVER);
        (state.plain, state.overtime) = (NONE, NONE);
        state.untold |= self.world.tell_runs;
        if lane == NONE {
            return;
        }
        if ran {
            (state.shown, state.untold) = (NONE, true);
            self.tell(What::Idles { core });
        }
        let pool = self.set_core(lane as usize, NONE);
        if ran && !self.world.pools[pool].single {
            // Its job may go on where another lane of the partition is served.
            self.world.touch_pool(pool);
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
