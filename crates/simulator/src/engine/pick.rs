//! Who is next within a pool.
//!
//! Among equals the begun job goes first, then the earlier arrival, then the order of the file. A begun job that is less
//! urgent than a ready one goes on for as long as it was drawn to, and only while every rank between the two has some of
//! its blocking left.

use super::world::{NONE, Order, Pool, World};

impl World {
    /// The task of a single-lane pool that executes next, and for how long at most.
    #[inline]
    pub(super) fn pick(&mut self, index: usize) -> (u32, u64) {
        let pool = &self.pools[index];
        let Some(first) = pool.first_ready() else { return (NONE, u64::MAX) };
        if pool.order == Order::Cooperative && pool.holder != NONE {
            return (pool.holder, u64::MAX);
        }
        let top = match pool.order {
            Order::Deadline => self.earliest_due(pool),
            Order::Fixed | Order::Cooperative => self.first_of_group(pool, first),
        };
        if !pool.blocks || pool.holder == NONE || pool.holder == top {
            self.pools[index].going = false;
            return (top, u64::MAX);
        }
        self.going_on(index, top)
    }

    /// Among the ready tasks of the group of rank `first`: the begun one, else the earliest arrival, else the first.
    #[inline]
    fn first_of_group(&self, pool: &Pool, first: u32) -> u32 {
        let task = pool.tasks[first as usize];
        let end = self.tasks[task as usize].fixed.group.1;
        if end == first + 1 {
            return task;
        }
        let ready = (first..end).filter(|&rank| pool.is_ready(rank)).map(|rank| pool.tasks[rank as usize]);
        ready.min_by_key(|&task| self.among_equals(task)).unwrap_or(task)
    }

    fn among_equals(&self, task: u32) -> (bool, u64, u32) {
        let state = &self.tasks[task as usize];
        (!state.begun, state.job.arrival, task)
    }

    fn due(&self, task: u32) -> (u64, (bool, u64, u32)) {
        let state = &self.tasks[task as usize];
        (state.job.arrival.saturating_add(state.fixed.deadline), self.among_equals(task))
    }

    #[inline(never)]
    fn earliest_due(&self, pool: &Pool) -> u32 {
        let ready = pool.ready_ranks().map(|rank| pool.tasks[rank as usize]);
        ready.min_by_key(|&task| self.due(task)).unwrap_or(NONE)
    }

    /// The holder, where it goes on before the more urgent `top`, or `top`.
    #[inline(never)]
    fn going_on(&mut self, index: usize, top: u32) -> (u32, u64) {
        let pool = &self.pools[index];
        let holder = pool.holder;
        let (mine, its) = (self.tasks[top as usize].fixed, self.tasks[holder as usize].fixed);
        let (from, to) = match pool.order {
            // By deadlines any two tasks may stand either way: one allowance for the whole busy stretch of the pool.
            Order::Deadline => (0, pool.tasks.len() as u32),
            Order::Fixed | Order::Cooperative => (mine.group.0, its.group.0),
        };
        let left = |rank: u32| pool.blocking[rank as usize];
        let levels = match pool.order {
            Order::Deadline => left(mine.rank),
            Order::Fixed | Order::Cooperative => (from..to).map(left).min().unwrap_or(0),
        };
        let drawn = if pool.going { pool.going_left } else { self.tasks[holder as usize].may_go_on() };
        let most = drawn.min(levels);
        let pool = &mut self.pools[index];
        if most == 0 {
            pool.going = false;
            return (top, u64::MAX);
        }
        (pool.going, pool.going_left, pool.going_from, pool.going_to) = (true, drawn, from, to);
        (holder, most)
    }

    /// A holder went on for that long.
    pub(super) fn went_on(&mut self, pool: usize, elapsed: u64) {
        let pool = &mut self.pools[pool];
        pool.going_left = pool.going_left.saturating_sub(elapsed);
        for left in &mut pool.blocking[pool.going_from as usize..pool.going_to as usize] {
            *left = left.saturating_sub(elapsed);
        }
    }

    /// The ready tasks of a pool of several lanes, the most urgent first.
    pub(super) fn in_order(&self, index: usize, into: &mut Vec<u32>) {
        let pool = &self.pools[index];
        into.clear();
        into.extend(pool.ready_ranks().map(|rank| pool.tasks[rank as usize]));
        let group = |task: u32| self.tasks[task as usize].fixed.group.0;
        match pool.order {
            Order::Deadline => into.sort_by_key(|&task| self.due(task)),
            Order::Fixed => into.sort_by_key(|&task| (group(task), self.among_equals(task))),
            Order::Cooperative => {
                into.sort_by_key(|&task| (!self.tasks[task as usize].begun, group(task), self.among_equals(task)))
            }
        }
    }
}
