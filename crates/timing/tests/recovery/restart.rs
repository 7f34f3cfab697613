//! How long partitions are out.

use super::system::{Draw, find, judge, preamble, reason, task, usable, window};
use claim::{PartKind, Status, Verdict, sum_of_parts};

/// A task: period, execution, whether its release keeps to the frame. The first one of a list is the most urgent.
type Small = (u64, u64, bool);

struct Case {
    frame: u64,
    head: u64,
    windows: Vec<(u64, u64)>,
    tasks: Vec<Small>,
    /// Detection, action, initialisation.
    times: [u64; 3],
    /// Whose first output ends the outage.
    last: usize,
}

impl Case {
    fn drawn(seed: u64) -> Self {
        let mut draw = Draw::new(seed);
        let (frame, head) = (8 + 4 * draw.below(3), draw.below(3));
        let mut windows = draw.windows(frame, head);
        if draw.below(4) == 0 {
            windows = vec![(0, head + 1), (frame - 2, frame)];
        }
        let periods = [frame, frame * 2, frame / 2];
        let count = 1 + draw.below(2);
        let tasks = (0..count).map(|_| (periods[draw.below(3) as usize], 1 + draw.below(2), draw.below(2) == 0));
        let tasks = tasks.collect();
        Self {
            frame,
            head,
            windows,
            tasks,
            times: [draw.below(9), draw.below(4), draw.below(12)],
            last: draw.below(count) as usize,
        }
    }

    fn texts(&self, needs: &str) -> (String, String) {
        let [detection, action, init] = self.times;
        let system = preamble(self.frame, self.head, 1)
            + &format!(
                "\n[[partition]]\nname = \"P\"\nguest = \"fixed priority\"\nperiod = \"{} ns\"\n\n[partition.restart]\n\
                 warm_init = \"{init} ns\"\ndetection = \"{detection} ns\"\naction = \"{action} ns\"\nends_with = \"P.t{}\"\n{needs}",
                self.frame, self.last
            );
        let word = |aligned| if aligned { "frame-aligned" } else { "free-running" };
        let tasks = self.tasks.iter().zip(0..);
        let tasks =
            tasks.map(|(&(period, wcet, aligned), k)| task(&format!("t{k}"), period, 9 - k, wcet, word(aligned)));
        (system + &tasks.collect::<String>(), self.windows.iter().map(|&own| window(0, "P", own)).collect())
    }

    fn judged(&self, needs: &str) -> Verdict {
        let (system, plan) = self.texts(needs);
        find(&judge(&system, &plan), "restart/P/warm").clone()
    }

    /// From a fault at `fault` to the end of initialisation and to the first output, where the other free-running task
    /// arrives `phase` after the former.
    fn run(&self, usable: &[bool], fault: u64, phase: u64) -> (u64, u64) {
        let [detection, action, mut init] = self.times;
        let mut tick = fault + detection + action;
        while init > 0 {
            init -= u64::from(usable[tick as usize]);
            tick += 1;
        }
        let up = tick;
        let first = |k: usize| match self.tasks[k] {
            (period, _, true) => up.next_multiple_of(period),
            _ if k == self.last => up,
            _ => up + phase,
        };
        let mut left = vec![0; self.tasks.len()];
        loop {
            for (k, &(period, wcet, _)) in self.tasks.iter().enumerate() {
                if tick >= first(k) && (tick - first(k)).is_multiple_of(period) {
                    left[k] += wcet;
                }
            }
            if let Some(k) = (0..left.len()).find(|&k| usable[tick as usize] && left[k] > 0) {
                left[k] -= 1;
                if k == self.last && (left[k] == 0 || tick >= first(k) + self.tasks[k].0) {
                    return (up - fault, tick + 1 - fault);
                }
            }
            tick += 1;
        }
    }

    /// The longest of all faults and phases, from the third frame on.
    fn longest(&self) -> (u64, u64) {
        let usable = usable(self.frame, self.head, &self.windows, 400 * self.frame);
        let faults = 2 * self.frame..6 * self.frame;
        let runs = faults.flat_map(|fault| (0..2 * self.frame).map(move |phase| (fault, phase)));
        runs.map(|(fault, phase)| self.run(&usable, fault, phase))
            .fold((0, 0), |worst, seen| (worst.0.max(seen.0), worst.1.max(seen.1)))
    }
}

#[test]
fn no_run_is_out_longer() {
    let mut bounded = 0;
    for seed in 0..120 {
        let case = Case::drawn(seed);
        let verdict = case.judged("");
        let Some(bound) = verdict.bound else { continue };
        let (up, out) = case.longest();
        assert!(out <= bound, "{out} above {bound} with seed {seed}: {verdict:?}");
        let until_up = [PartKind::Detection, PartKind::Action, PartKind::Blackout, PartKind::Initialisation];
        let parts = verdict.parts.iter().filter(|part| until_up.contains(&part.kind));
        assert_eq!(up, parts.map(|part| part.ns).sum::<u64>(), "the worst phase is attained, seed {seed}");
        assert_eq!(sum_of_parts(&verdict.parts), bound);
        bounded += 1;
    }
    assert!(bounded > 60, "{bounded} cases had a bound");
}

/// Usable `[3, 6)` of every 10, worked out by hand: a fault is noticed 2 later, the action takes 1, and 3 ticks from
/// the worst phase, 6, take 10; the task responds within 8 from there.
fn by_hand(init: u64, aligned: bool) -> Case {
    let tasks = vec![(10, 1, aligned)];
    Case { frame: 10, head: 1, windows: vec![(2, 6)], tasks, times: [2, 1, init], last: 0 }
}

#[test]
fn a_need_is_met_by_the_tick() {
    for (init, aligned, bound) in [(3, false, 21), (3, true, 31), (0, false, 11), (4, false, 29), (6, false, 31)] {
        let case = by_hand(init, aligned);
        let shown = case.judged(&format!("warm_need = \"{bound} ns\"\n"));
        assert_eq!((shown.status, shown.bound, shown.exact), (Status::Shown, Some(bound), false), "{init}");
        let not = case.judged(&format!("warm_need = \"{} ns\"\n", bound - 1));
        assert_eq!((not.status, not.bound), (Status::NotShown, Some(bound)), "{init}");
        assert!(reason(&not).contains("passes the need by 1 ns"), "{not:?}");
    }
}

/// The output comes at least a tick after initialisation.
#[test]
fn a_need_that_initialisation_uses_up_is_violated() {
    let verdict = |within: u64| by_hand(3, true).judged(&format!("warm_need = \"{within} ns\"\n"));
    assert_eq!(verdict(14).status, Status::NotShown);
    let violated = verdict(13);
    assert_eq!((violated.status, violated.bound), (Status::Violated, Some(31)));
    assert!(violated.witness.is_some() && reason(&violated).contains("at 6 ns of the frame ends 13 ns after"));
}

#[test]
fn what_is_missing_is_named() {
    let (system, plan) = by_hand(3, true).texts("warm_need = \"50 ns\"\n");
    for (given, key) in [
        ("warm_init = \"3 ns\"\n", "warm_init"),
        ("detection = \"2 ns\"\n", "detection"),
        ("action = \"1 ns\"\n", "action"),
        ("ends_with = \"P.t0\"\n", "ends_with"),
    ] {
        let verdicts = judge(&system.replace(given, ""), &plan);
        let verdict = find(&verdicts, "restart/P/warm");
        assert_eq!((verdict.status, verdict.bound, verdict.limit), (Status::NotAnalysed, None, Some(50)));
        assert!(reason(verdict).contains(&format!("`{key}` of `P` is not given")), "{verdict:?}");
    }
    let sporadic = judge(&system.replace("release = \"frame-aligned\"", "sporadic = true"), &plan);
    assert!(reason(find(&sporadic, "restart/P/warm")).contains("sporadic"));
    let silent = system.replace("warm_need = \"50 ns\"\n", "").replace("detection = \"2 ns\"\n", "");
    assert!(judge(&silent, &plan).iter().all(|verdict| !verdict.id.starts_with("restart/")), "nothing is asked");
}
