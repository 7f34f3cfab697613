//! Many runs, on all threads of the machine; what they see does not depend on how many.

use crate::{interrupt, terminal};
use indicatif::ProgressBar;
use simulator::{Engine, Machine, Scenario, Seen};
use std::num::NonZero;
use std::sync::atomic::{AtomicU64, Ordering};

/// What runs saw, and how many of them were made: always the first ones.
pub struct Made {
    pub seen: Seen,
    pub runs: u64,
    pub interrupted: bool,
}

/// Makes `runs` runs from the scenario's own on, or as many as there are until Ctrl-C.
pub fn make(machine: &Machine, scenario: &Scenario, runs: u64) -> Made {
    let next = AtomicU64::new(0);
    let bar = terminal::progress("simulating", runs, "runs");
    let threads = std::thread::available_parallelism().map_or(1, NonZero::get);
    let seen = interrupt::watched(|| {
        std::thread::scope(|scope| {
            let workers: Vec<_> =
                (0..threads).map(|_| scope.spawn(|| work(machine, scenario, runs, &next, &bar))).collect();
            let mut all = Seen::nothing(machine);
            for worker in workers {
                match worker.join() {
                    Ok(seen) => all.join(&seen),
                    // A broken invariant of one thread is one of the program.
                    Err(panic) => std::panic::resume_unwind(panic),
                }
            }
            all
        })
    });
    bar.finish_and_clear();
    Made { runs: seen.runs, interrupted: seen.runs < runs, seen }
}

/// Takes one run after the other until none is left. A run that is taken is made, so those made are the first ones.
fn work(machine: &Machine, scenario: &Scenario, runs: u64, next: &AtomicU64, bar: &ProgressBar) -> Seen {
    let mut engine = Engine::new(machine);
    let mut seen = Seen::nothing(machine);
    let mut scenario = scenario.clone();
    let first = scenario.run;
    while !interrupt::requested() {
        let taken = next.fetch_add(1, Ordering::Relaxed);
        if taken >= runs {
            break;
        }
        scenario.run = first.wrapping_add(taken);
        engine.run_unrecorded(&scenario, &mut seen);
        bar.inc(1);
    }
    seen
}

/// The first of these runs for which it holds of what that run alone saw.
pub fn first(machine: &Machine, scenario: &Scenario, runs: u64, holds: impl Fn(&Seen) -> bool) -> Option<u64> {
    let mut engine = Engine::new(machine);
    let mut scenario = scenario.clone();
    let begin = scenario.run;
    (0..runs).map(|run| begin.wrapping_add(run)).find(|run| {
        let mut seen = Seen::nothing(machine);
        scenario.run = *run;
        engine.run_unrecorded(&scenario, &mut seen);
        holds(&seen)
    })
}
