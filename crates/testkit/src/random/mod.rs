//! Seeded systems, larger than those that can be enumerated.

mod boards;

pub use boards::{random_chains, random_queues};

use crate::enumerate::ServerSystem;
use crate::oracle::{SmallServer, SmallSystem, SmallTask};

/// `count` systems drawn from `seed`: the same seed gives the same systems on every machine.
///
/// Frames of 4 to 12 ticks, one to three windows (some touch, some reach an end of the frame), two
/// or three tasks with periods of 3 to 16 ticks from a short list (so that a hyperperiod stays
/// small), jitter up to about half a period, blocking up to 3 ticks, now and then equal
/// priorities. Demand is drawn with the usable time in view: most systems are within it.
pub fn random_systems(seed: u64, count: usize) -> impl Iterator<Item = SmallSystem> {
    let mut draws = Draws { state: seed };
    (0..count).map(move |_| draws.system())
}

/// The same with no blocking, as guests other than those under preemptive fixed priority have none.
pub fn random_systems_without_blocking(seed: u64, count: usize) -> impl Iterator<Item = SmallSystem> {
    random_systems(seed, count).map(|mut system| {
        for task in &mut system.tasks {
            task.blocking = 0;
        }
        system
    })
}

/// The systems of [`random_systems`], each on a server with the budget of its windows in its frame, deadlines drawn
/// anew.
pub fn random_server_systems(seed: u64, count: usize) -> impl Iterator<Item = ServerSystem> {
    let mut draws = Draws { state: !seed };
    random_systems(seed, count).map(move |system| {
        let budget = system.windows.iter().map(|(start, end)| end - start).sum();
        let deadline = draws.within(budget, system.frame);
        ServerSystem { server: SmallServer { period: system.frame, budget, deadline }, tasks: system.tasks }
    })
}

/// The splitmix64 generator: Steele, Lea and Flood 2014, constants from memory.
struct Draws {
    state: u64,
}

impl Draws {
    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number in `[low, high]`. The remainder's slight bias does no harm here.
    fn within(&mut self, low: u32, high: u32) -> u32 {
        low + (self.next() % u64::from(high - low + 1)) as u32
    }

    fn one_in(&mut self, chances: u32) -> bool {
        self.within(1, chances) == 1
    }

    fn pick(&mut self, choices: &[u32]) -> u32 {
        choices[self.within(0, choices.len() as u32 - 1) as usize]
    }

    fn system(&mut self) -> SmallSystem {
        let frame = self.pick(&[4, 5, 6, 8, 10, 12]);
        let windows = self.windows(frame);
        let usable: u32 = windows.iter().map(|(start, end)| end - start).sum();
        let number = self.within(2, 3);
        let mut priority = number;
        let mut tasks = Vec::new();
        for index in 0..number {
            let lowest = index + 1 == number;
            tasks.push(self.task(frame, usable, number, priority, lowest));
            if !self.one_in(5) {
                priority -= 1;
            }
        }
        SmallSystem { frame, windows, tasks }
    }

    /// Up to three windows between cuts in ascending order; equal cuts make windows touch.
    fn windows(&mut self, frame: u32) -> Vec<(u32, u32)> {
        loop {
            let number = self.within(1, 3);
            let mut cuts: Vec<u32> = (0..2 * number).map(|_| self.within(0, frame)).collect();
            cuts.sort_unstable();
            let pairs = cuts.chunks_exact(2).map(|pair| (pair[0], pair[1]));
            let windows: Vec<(u32, u32)> = pairs.filter(|(start, end)| start < end).collect();
            let usable: u32 = windows.iter().map(|(start, end)| end - start).sum();
            // Little usable time makes nearly every set of tasks overloaded, which says little.
            if usable * 2 >= frame {
                return windows;
            }
        }
    }

    fn task(&mut self, frame: u32, usable: u32, number: u32, priority: u32, lowest: bool) -> SmallTask {
        let period = self.pick(&[3, 4, 5, 6, 8, 10, 12, 16]);
        let fair = (period * usable / (frame * number)).max(1);
        let greedy = u32::from(self.one_in(6));
        let wcet = self.within(1, fair + greedy);
        let jitter = if self.one_in(2) { 0 } else { self.within(1, period / 2 + 2) };
        let blocking = if lowest || self.one_in(2) { 0 } else { self.within(1, 3) };
        SmallTask {
            period,
            deadline: self.within(1, 2 * period),
            wcet,
            bcet: self.within(1, wcet),
            jitter,
            blocking,
            priority,
            offset: self.within(0, period - 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::random_systems;

    #[test]
    fn a_seed_gives_the_same_systems_again() {
        let once: Vec<_> = random_systems(7, 50).collect();
        let again: Vec<_> = random_systems(7, 50).collect();
        let other: Vec<_> = random_systems(8, 50).collect();
        assert_eq!(once, again);
        assert_ne!(once, other);
    }
}
