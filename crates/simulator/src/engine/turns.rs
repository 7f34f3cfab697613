//! Proportional share: turns of one quantum, each with its head.
//!
//! **Computes** whose turn it is. Turn `k` of a lane with the share `a / b` of a core is not taken before `k b / a` quanta have
//! passed and is due by `(k + 1) b / a`; among those that may be taken the one that is due first is.
//! **Source.** Proportionate progress with pseudo-deadlines: Baruah, Cohen, Plaxton, Varvel, "Proportionate progress", Algorithmica
//! 15, 1996, from memory. So no lane is ever a quantum ahead or, on one core, behind its share.

use super::agenda::NEVER;
use super::run::Run;
use super::world::{Edge, NONE};
use crate::Recorder;
use crate::machine::Grant;

const MILLION: u64 = 1_000_000;

impl<R: Recorder> Run<'_, '_, R> {
    /// The next turn of all cores of a group.
    pub(super) fn take_turns(&mut self, group: usize) {
        let mut cores = std::mem::take(&mut self.world.groups[group].cores);
        for &core in &cores {
            self.close_supply(core as usize);
            self.world.touch(core as usize);
            self.world.cores[core as usize].edge_at = NEVER;
        }
        let mut chosen = std::mem::take(&mut self.world.order);
        self.candidates(group, cores.len() as u64, &mut chosen);
        for &core in &cores {
            let fits = |lane: &u32| self.machine.lanes[*lane as usize].cores.contains(&(core as usize));
            match chosen.iter().position(fits) {
                Some(at) => self.give_turn(group, core as usize, chosen.remove(at) as usize),
                None => self.await_turn(core as usize),
            }
        }
        self.world.groups[group].number += 1;
        self.world.order = chosen;
        std::mem::swap(&mut self.world.groups[group].cores, &mut cores);
    }

    fn give_turn(&mut self, group: usize, core: usize, lane: usize) {
        self.world.lanes[lane].turns += 1;
        let (head, quantum) = (self.world.groups[group].head, self.world.groups[group].quantum);
        self.open(core, lane, head);
        self.out.seen.counts.windows += 1;
        if head == 0 {
            self.usable(core);
        } else if head >= quantum {
            self.await_turn(core);
        } else {
            let state = &mut self.world.cores[core];
            (state.edge, state.edge_at) = (Edge::Usable, self.now.saturating_add(head));
        }
    }

    /// The next look is at the next turn.
    pub(super) fn await_turn(&mut self, core: usize) {
        let group = &self.world.groups[self.world.cores[core].group as usize];
        let quantum = group.quantum.max(1);
        let next = (self.now / quantum + 1).saturating_mul(quantum);
        let state = &mut self.world.cores[core];
        (state.edge, state.edge_at) = (Edge::Turn, next);
    }

    /// The lanes of a group that may take the coming turn, the one that is due first first.
    fn candidates(&self, group: usize, cores: u64, into: &mut Vec<u32>) {
        let turns = &self.world.groups[group];
        let weight = |lane: u32| match self.world.lanes[lane as usize].grant {
            Grant::Share { weight, .. } => weight,
            _ => 0,
        };
        let all: u64 = turns.lanes.iter().map(|&lane| weight(lane)).fold(0, u64::saturating_add);
        let share = |lane: u32| self.share(lane, all, cores);
        let may = |lane: u32| {
            let (part, whole) = share(lane);
            let taken = u128::from(self.world.lanes[lane as usize].turns);
            part > 0 && taken * whole <= u128::from(turns.number) * part
        };
        into.clear();
        into.extend(turns.lanes.iter().copied().filter(|&lane| may(lane)));
        let due = |lane: u32| {
            let (part, whole) = share(lane);
            // In whole parts of 2^-32 of a quantum, rounded down: ties go by the order of the lanes.
            ((u128::from(self.world.lanes[lane as usize].turns + 1) * whole) << 32) / part.max(1)
        };
        into.sort_by_key(|&lane| (due(lane), lane));
    }

    /// The share of a lane in a core, as a fraction: its weight among all, times the cores, at most its ceiling and one core.
    fn share(&self, lane: u32, all: u64, cores: u64) -> (u128, u128) {
        let Grant::Share { weight, ceiling_ppm } = self.world.lanes[lane as usize].grant else { return (0, 1) };
        let (part, whole) = (u128::from(weight) * u128::from(cores), u128::from(all.max(1)));
        let most = u128::from(ceiling_ppm.unwrap_or(MILLION).min(MILLION));
        let million = u128::from(MILLION);
        if part * million > most * whole { (most, million) } else { (part, whole) }
    }

    /// Before a run: turns begin at its first instant.
    pub(super) fn begin_turns(&mut self) {
        for group in 0..self.world.groups.len() {
            let Some(&first) = self.world.groups[group].cores.first() else { continue };
            self.world.groups[group].number = 0;
            let core = &mut self.world.cores[first as usize];
            (core.edge, core.edge_at) = (Edge::Turn, 0);
            debug_assert_ne!(core.group, NONE, "a core of a group knows it");
        }
    }
}
