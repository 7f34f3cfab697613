//! Cores whose bandwidth budget runs out, against runs tick by tick that know windows, requests, budgets and priorities and
//! nothing else. A tick is one ns, and a line is asked for within the tick that executes it.

use claim::{Status, Verdict, sum_of_parts};
use model::{Reading, read_system};
use plan::read_plan;
use std::collections::BTreeMap;
use timing::claims::check;

const FRAME: u64 = 96;
const RUN: u64 = 10 * FRAME;
/// A regulation period.
const PERIOD: u64 = 8;

/// Windows of `A`, whose tasks are most urgent first, and of `B`, which asks for whatever it may.
#[derive(Clone, Copy)]
struct Case {
    windows: &'static [(u64, u64)],
    others: (u64, u64),
    /// Period, execution time and line requests.
    tasks: &'static [(u64, u64, u64)],
    /// Lines in a regulation period.
    budget: u64,
}

const CASES: [Case; 4] = [
    Case { windows: &[(0, 60)], others: (60, 96), tasks: &[(96, 3, 3), (192, 4, 2)], budget: 2 },
    Case { windows: &[(4, 40), (52, 92)], others: (40, 52), tasks: &[(96, 4, 4)], budget: 1 },
    Case { windows: &[(0, 70)], others: (80, 96), tasks: &[(96, 2, 1), (96, 5, 5)], budget: 3 },
    Case { windows: &[(10, 50), (60, 96)], others: (0, 10), tasks: &[(96, 2, 0), (192, 6, 3)], budget: 2 },
];

impl Case {
    fn system(&self, peak: &str) -> String {
        let mut text = format!(
            "[system]\nname = \"S\"\nframe = \"{FRAME} ns\"\n[board]\nname = \"B\"\n[[board.core]]\nname = \"0\"\n\
             [board.interconnect]\nline = \"64 B\"\nguaranteed = \"64000 MB/s\"\narbitration = \"round-robin\"\n\
             [[board.interconnect.master]]\nname = \"core\"\ncore = \"0\"\n\
             [platform]\nswitch = \"0 ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"0 ns\"\n\
             nonpreemptable = \"0 ns\"\n[platform.regulation]\nperiod = \"{PERIOD} ns\"\n\
             [[partition]]\nname = \"B\"\nguest = \"fixed priority\"\nuntrusted = true\n\
             [[partition]]\nname = \"A\"\nguest = \"fixed priority\"\n"
        );
        for (k, (period, wcet, requests)) in self.tasks.iter().enumerate() {
            let priority = self.tasks.len() - k;
            text += &format!(
                "[[partition.task]]\nname = \"t{k}\"\nperiod = \"{period} ns\"\npriority = {priority}\nwcet = \"{wcet} ns\"\n\
                 line_requests = {requests}\n{peak}"
            );
        }
        text
    }

    fn verdicts(&self, peak: &str) -> BTreeMap<String, Verdict> {
        let window = |partition: &str, (start, end): (u64, u64)| {
            let length = end - start;
            format!(
                "[[window]]\ncore = \"0\"\npartition = \"{partition}\"\nstart = \"{start} ns\"\nlength = \"{length} ns\"\n"
            )
        };
        let rate = self.budget * 64_000 / PERIOD;
        let mut plan: String = self.windows.iter().map(|&one| window("A", one)).collect();
        plan += &window("B", self.others);
        plan += &format!("[[bandwidth]]\nmaster = \"core\"\nbudget = \"{rate} MB/s\"\n");
        let mut files = BTreeMap::from([("system.toml".to_owned(), self.system(peak).into_bytes())]);
        let Reading { mut sources, system, diagnostics } = read_system("system.toml", &mut files);
        let system = system.unwrap_or_else(|| panic!("{diagnostics:?}"));
        let (plan, diagnostics) = read_plan("plan.toml", plan.as_bytes(), &system, &mut sources);
        let plan = plan.unwrap_or_else(|| panic!("{diagnostics:?}"));
        check(&system, &plan).into_iter().map(|verdict| (verdict.id.clone(), verdict)).collect()
    }

    /// The greatest response of each task; all arrive first at `phase`, regulation periods begin at `offset`, and jobs ask for
    /// their lines in their first or their last ticks.
    fn run(&self, phase: u64, offset: u64, first_ticks: bool) -> Vec<u64> {
        let mut left: Vec<Vec<(u64, u64)>> = vec![Vec::new(); self.tasks.len()];
        let mut worst = vec![0; self.tasks.len()];
        let mut used = 0;
        for tick in 0..RUN {
            if (tick + offset).is_multiple_of(PERIOD) {
                used = 0;
            }
            for (k, &(period, wcet, _)) in self.tasks.iter().enumerate() {
                if tick >= phase && (tick - phase).is_multiple_of(period) {
                    left[k].push((tick, wcet));
                }
            }
            let within = tick % FRAME;
            if (self.others.0..self.others.1).contains(&within) {
                used = self.budget;
            }
            let is_own = self.windows.iter().any(|&(start, end)| (start..end).contains(&within));
            let Some(k) = (0..left.len()).find(|&k| is_own && !left[k].is_empty()) else { continue };
            let (_, wcet, requests) = self.tasks[k];
            let executed = wcet - left[k][0].1;
            let asks = if first_ticks { executed < requests } else { left[k][0].1 <= requests };
            if asks && used >= self.budget {
                continue;
            }
            used += u64::from(asks);
            left[k][0].1 -= 1;
            if left[k][0].1 == 0 {
                let (arrival, _) = left[k].remove(0);
                worst[k] = worst[k].max(tick + 1 - arrival);
            }
        }
        worst
    }
}

/// All in one burst: no peak rate is declared.
#[test]
fn no_run_responds_later_beside_a_partition_that_asks_for_whatever_it_may() {
    for case in CASES {
        let verdicts = case.verdicts("");
        let mut seen = vec![0; case.tasks.len()];
        for (phase, offset) in (0..FRAME).flat_map(|phase| (0..PERIOD).map(move |offset| (phase, offset))) {
            for first_ticks in [false, true] {
                let found = case.run(phase, offset, first_ticks);
                seen.iter_mut().zip(found).for_each(|(seen, found)| *seen = found.max(*seen));
            }
        }
        for (k, &seen) in seen.iter().enumerate() {
            let verdict = &verdicts[&format!("response/A.t{k}")];
            let bound = verdict.bound.expect("a bound");
            assert_eq!((verdict.status, verdict.exact), (Status::Shown, false), "{verdict:#?}");
            assert_eq!(sum_of_parts(&verdict.parts), bound, "{:#?}", verdict.parts);
            let stalls = verdict.parts.iter().find(|part| part.what == "the core's bandwidth budget");
            // Whoever asks for lines is charged a regulation period for as many as the budget holds, or part of them.
            let charged = case.tasks[k].2.div_ceil(case.budget) * PERIOD;
            assert!(stalls.is_some_and(|part| part.ns.is_multiple_of(PERIOD) && part.ns >= charged), "{stalls:?}");
            // A stall that is charged for nothing may push the rest behind another window.
            assert!(seen <= bound && bound <= 2 * seen, "A.t{k}: seen {seen}, bound {bound}");
        }
        let core = &verdicts["bandwidth/throttling/0"];
        assert_eq!(core.status, Status::NotShown);
        assert!(core.reason.as_ref().is_some_and(|reason| reason.contains("`B` is untrusted")), "{core:#?}");
    }
}

/// With rates that fit, only the begin of a window is lost to the other partition.
#[test]
fn tasks_within_the_budget_lose_the_begin_of_each_window() {
    let case = Case { windows: &[(0, 60)], others: (60, 96), tasks: &[(96, 3, 1)], budget: 4 };
    let verdicts = case.verdicts("peak_rate = \"even\"\n");
    let own = &verdicts["response/A.t0"];
    // The window's end, 36 ticks without one, one regulation period, the job.
    assert_eq!((own.status, own.bound), (Status::Shown, Some(36 + PERIOD + 3)));
    assert!(own.reason.as_ref().is_some_and(|reason| reason.contains("budget may run out")), "{own:#?}");
    let core = &verdicts["bandwidth/throttling/0"];
    // One line in 3 ns is two thirds of four in eight.
    assert_eq!(core.bound, Some(666_667));
}

/// Windows that are all stall leave nothing to show; what is said is what holds without stalls, as *not shown*.
#[test]
fn where_stalls_leave_no_time_nothing_is_shown() {
    let case = Case { windows: &[(0, 8)], others: (60, 96), tasks: &[(96, 3, 1)], budget: 1 };
    let own = &case.verdicts("")["response/A.t0"];
    assert_eq!((own.status, own.bound, own.exact), (Status::NotShown, Some(88 + 3), false));
}
