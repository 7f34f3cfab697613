//! The loop.

use super::agenda::NEVER;
use super::world::{DUTY, Edge, NONE, World};
use crate::comms::Comms;
use crate::conduct::Conduct;
use crate::event::{Event, What};
use crate::{Machine, Recorder, Scenario, Seen};

/// Who is told what happens.
pub(crate) struct Out<'a, R> {
    /// What is seen, over all runs.
    pub(crate) seen: &'a mut Seen,
    /// Who records events.
    pub(crate) recorder: &'a mut R,
}

impl<R: Recorder> Out<'_, R> {
    /// Tells the recorder, where it wants to know.
    #[inline]
    pub(crate) fn tell(&mut self, at_ns: u64, what: What) {
        if R::WANTED {
            self.recorder.record(Event { at_ns, what });
        }
    }
}

/// A run under way.
pub(crate) struct Run<'a, 'm, R> {
    /// The instant.
    pub(crate) now: u64,
    pub(crate) machine: &'m Machine,
    pub(crate) scenario: &'a Scenario,
    pub(crate) world: &'a mut World,
    pub(crate) comms: &'a mut Comms<'m>,
    pub(crate) out: Out<'a, R>,
}

impl<R: Recorder> Run<'_, '_, R> {
    /// Tells the recorder what happens now.
    #[inline]
    pub(crate) fn tell(&mut self, what: What) {
        self.out.tell(self.now, what);
    }

    /// The whole run.
    pub(crate) fn whole(&mut self, conduct: &mut Conduct) {
        self.begin();
        conduct.begin(self);
        self.world.quiet &= !R::WANTED && !self.world.tell_runs && self.world.enforced;
        // Whatever the begin asked for is dispatched at the first instant, though nothing else may happen at it.
        self.now = 0;
        let (mut cores, mut beside) = (0, 0);
        while cores.min(beside) < self.scenario.span_ns.min(self.world.module_stops_ns) {
            debug_assert!(cores.min(beside) >= self.now, "time does not run back");
            self.now = cores.min(beside);
            match self.world.cores_next.first_alone() {
                Some(core) if cores < beside => self.instant_of_one_core(core, conduct),
                _ => self.instant(conduct),
            }
            (cores, beside) = (self.world.cores_next.least(), self.next_beside_cores(conduct));
        }
        self.now = self.scenario.span_ns.min(self.world.module_stops_ns);
        self.end();
    }

    /// The next instant at which anything happens but on cores.
    #[inline]
    fn next_beside_cores(&self, conduct: &Conduct) -> u64 {
        let write = self.world.writes.last().map_or(NEVER, |&(at, _, _)| at);
        self.comms.next_ns().min(conduct.next_ns()).min(write).min(self.world.tasks_next.least())
    }

    /// One instant, in the order of `docs/semantics.md`.
    #[inline(never)]
    fn instant(&mut self, conduct: &mut Conduct) {
        let edges = self.world.cores_next.least() == self.now && self.stops(conduct);
        self.rest_of_instant(edges, conduct);
    }

    /// The same where nothing is due but one core, as at most instants: nothing need be put in order.
    #[inline(always)]
    fn instant_of_one_core(&mut self, core: usize, conduct: &mut Conduct) {
        let state = &mut self.world.cores[core];
        // It is looked at in any case, so nobody need write it down.
        state.dirty = true;
        if state.stop_at == self.now {
            self.stop(core, conduct);
            let edges = self.world.cores[core].edge_at == self.now;
            if !self.world.dirty.is_empty() || self.next_beside_cores(conduct) <= self.now {
                self.world.dirty.push(core as u32);
                return self.rest_of_instant(edges, conduct);
            }
        }
        self.change_supply(core);
        if self.world.dirty.is_empty() {
            self.look_at(core, conduct);
            return self.look_at_touched(conduct);
        }
        self.world.dirty.push(core as u32);
        self.begin_supplies();
        self.dispatch_all(conduct);
    }

    /// What follows the ends of jobs in an instant; `edges` where the supply of any core that is due changes.
    #[inline(never)]
    fn rest_of_instant(&mut self, edges: bool, conduct: &mut Conduct) {
        let others = self.next_beside_cores(conduct) <= self.now;
        if others {
            self.messages(conduct);
        }
        if edges {
            self.window_ends();
        }
        if others {
            self.happenings(conduct);
        }
        if edges || others {
            self.begin_supplies();
            self.read_logical();
        }
        self.dispatch_all(conduct);
    }

    /// Jobs and other work that end; the cores that are due are touched. Says whether the supply of any changes now.
    #[inline]
    fn stops(&mut self, conduct: &mut Conduct) -> bool {
        let mut edges = false;
        let mut next = self.world.cores_next.due(0, self.now);
        while let Some(due) = next {
            for core in due {
                self.world.touch(core);
                if self.world.cores[core].stop_at == self.now {
                    self.stop(core, conduct);
                }
                edges |= self.world.cores[core].edge_at == self.now;
            }
            next = self.world.cores_next.due(due.end(), self.now);
        }
        edges
    }

    /// Faults and what answers them, then arrivals and releases.
    fn happenings(&mut self, conduct: &mut Conduct) {
        if conduct.next_ns() <= self.now {
            conduct.act(self);
        }
        while self.world.tasks_next.least() <= self.now {
            let at = self.world.tasks_next.least();
            let mut next = self.world.tasks_next.due(0, at);
            while let Some(due) = next {
                for task in due {
                    self.task_due(task, conduct);
                }
                next = self.world.tasks_next.due(due.end(), at);
            }
        }
    }

    #[inline]
    fn window_ends(&mut self) {
        for index in 0..self.world.dirty.len() {
            let core = self.world.dirty[index] as usize;
            let state = &self.world.cores[core];
            if state.edge_at == self.now && state.edge == Edge::End {
                self.end_window(core);
            }
        }
    }

    /// What messages do by themselves, and writes of logical execution time.
    fn messages(&mut self, conduct: &mut Conduct) {
        while let Some(&(at, task, job)) = self.world.writes.last() {
            if at > self.now {
                break;
            }
            self.world.writes.pop();
            let partition = self.world.tasks[task as usize].fixed.partition as usize;
            if !self.world.partitions[partition].dead {
                self.write(task as usize, job, conduct);
            }
        }
        if self.comms.next_ns() <= self.now {
            self.comms.act(self.now, self.world, &mut self.out);
        }
    }

    /// Window starts, heads that are over, turns.
    fn begin_supplies(&mut self) {
        let mut index = 0;
        while index < self.world.dirty.len() {
            self.change_supply(self.world.dirty[index] as usize);
            index += 1;
        }
    }

    /// All changes of a core's supply in this instant.
    #[inline(always)]
    fn change_supply(&mut self, core: usize) {
        loop {
            let state = &mut self.world.cores[core];
            if state.edge_at != self.now {
                return;
            }
            match state.edge {
                Edge::Start => self.start_window(core),
                Edge::Usable => self.usable(core),
                Edge::Turn => self.turn(core),
                Edge::End => self.end_window(core),
                Edge::None => state.edge_at = NEVER,
            }
        }
    }

    /// Servers, or turns of a quantum.
    #[inline(never)]
    fn turn(&mut self, core: usize) {
        match self.world.cores[core].group {
            NONE => self.serve(core),
            group => self.take_turns(group as usize),
        }
    }

    fn read_logical(&mut self) {
        for index in 0..self.world.reads.len() {
            let (task, job) = self.world.reads[index];
            self.comms.read(task as usize, job, self.now, &mut self.out);
        }
        self.world.reads.clear();
    }

    /// The run ends: what still executes is not counted.
    fn end(&mut self) {
        for core in 0..self.world.cores.len() {
            self.close_supply(core);
        }
        self.measure_waiting();
        self.out.seen.runs += 1;
        debug_assert!(self.world.cores.iter().all(|core| core.running == NONE || core.running <= DUTY));
    }
}
