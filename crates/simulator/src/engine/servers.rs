//! Budget servers of one core: earliest deadline first, a budget in every period, idle or not.

use super::agenda::NEVER;
use super::run::Run;
use super::world::{Edge, NONE};
use crate::Recorder;
use crate::draw::Purpose;
use crate::machine::Grant;

impl<R: Recorder> Run<'_, '_, R> {
    /// At a run's begin a server is anywhere in its period, and what it could have given before, it has given.
    pub(super) fn begin_servers(&mut self, core: usize) {
        for index in 0..self.world.cores[core].servers.len() {
            let lane = self.world.cores[core].servers[index] as usize;
            self.begin_server(lane);
        }
        let state = &mut self.world.cores[core];
        if !state.servers.is_empty() {
            (state.edge, state.edge_at) = (Edge::Turn, 0);
        }
    }

    pub(super) fn begin_server(&mut self, lane: usize) {
        let Grant::Server { budget_ns, period_ns, deadline_ns, .. } = self.world.lanes[lane].grant else {
            let state = &mut self.world.lanes[lane];
            (state.left, state.next_period) = (0, NEVER);
            return;
        };
        // A number of its own tells it from the phase of a core set.
        let phase = match self.scenario.times {
            crate::scenario::Times::Drawn(_) => self.drawn(Purpose::Frame, lane as u64, 1, period_ns - 1),
            crate::scenario::Times::Given(_) => 0,
        };
        let gone = if phase == 0 { period_ns } else { period_ns - phase };
        let state = &mut self.world.lanes[lane];
        state.left = budget_ns.saturating_sub(gone);
        state.due = self.now.saturating_add(deadline_ns.saturating_sub(gone));
        state.next_period = self.now.saturating_add(phase);
    }

    /// Budgets that begin, and the server that is due first of those that have some left.
    pub(super) fn serve(&mut self, core: usize) {
        self.charge_server(core);
        let mut best = NONE;
        for index in 0..self.world.cores[core].servers.len() {
            let lane = self.world.cores[core].servers[index];
            self.renew(lane as usize);
            let state = &self.world.lanes[lane as usize];
            let key = |lane: u32| (self.world.lanes[lane as usize].due, lane != self.world.cores[core].lane, lane);
            if state.left > 0 && (best == NONE || key(lane) < key(best)) {
                best = lane;
            }
        }
        if best == self.world.cores[core].lane {
            return self.await_server(core);
        }
        self.close_supply(core);
        self.world.touch(core);
        if best == NONE {
            return self.await_server(core);
        }
        let Grant::Server { head_ns, .. } = self.world.lanes[best as usize].grant else { return };
        self.open(core, best as usize, head_ns);
        self.out.seen.counts.windows += 1;
        if head_ns == 0 { self.usable(core) } else { self.await_head(core, head_ns) }
    }

    /// What the lane of a core has been given since the last look is no longer left of its budget.
    fn charge_server(&mut self, core: usize) {
        let now = self.now;
        let state = &mut self.world.cores[core];
        if state.usable && state.lane != NONE {
            let lane = &mut self.world.lanes[state.lane as usize];
            lane.left = lane.left.saturating_sub(now - state.supplied_since);
            state.supplied_since = now;
        }
    }

    fn renew(&mut self, lane: usize) {
        let state = &mut self.world.lanes[lane];
        let Grant::Server { budget_ns, period_ns, deadline_ns, .. } = state.grant else { return };
        while state.next_period <= self.now {
            state.left = budget_ns;
            state.due = state.next_period.saturating_add(deadline_ns);
            state.next_period = state.next_period.saturating_add(period_ns);
        }
    }

    fn await_head(&mut self, core: usize, head_ns: u64) {
        let period = self.next_period(core);
        let state = &mut self.world.cores[core];
        state.head_end = self.now.saturating_add(head_ns);
        (state.edge, state.edge_at) = (Edge::Turn, state.head_end.min(period));
    }

    fn next_period(&self, core: usize) -> u64 {
        let lanes = self.world.cores[core].servers.iter().map(|&lane| self.world.lanes[lane as usize].next_period);
        lanes.min().unwrap_or(NEVER)
    }

    /// The next look: the budget is used up, a head is over, or a period begins.
    pub(super) fn await_server(&mut self, core: usize) {
        let period = self.next_period(core);
        let state = &self.world.cores[core];
        let own = match state.lane {
            NONE => NEVER,
            lane if state.usable => self.now.saturating_add(self.world.lanes[lane as usize].left),
            _ => state.head_end,
        };
        if own == self.now && !state.usable && state.lane != NONE {
            return self.usable(core);
        }
        let state = &mut self.world.cores[core];
        (state.edge, state.edge_at) = (Edge::Turn, own.min(period));
    }
}
