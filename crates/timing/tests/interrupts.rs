//! Interrupts that are handled at once, against runs tick by tick that know windows, heads, handlers and priorities and
//! nothing else. A tick is one ns.

use claim::{Status, Verdict};
use diagnostic::Sources;
use model::{Reading, System, read_system};
use plan::{Plan, read_plan};
use std::collections::BTreeMap;
use timing::claims::check;

const FRAME: u64 = 24;
const RUN: u64 = 20 * FRAME;

/// A core with windows of `A`, whose tasks are most urgent first, and of `B`; and one line that is handled at once.
#[derive(Clone, Copy)]
struct Case {
    windows: &'static [(u64, u64)],
    head: u64,
    /// Period and execution time.
    tasks: &'static [(u64, u64)],
    /// Least gap and handler.
    line: (u64, u64),
}

const CASES: [Case; 5] = [
    Case { windows: &[(0, 8)], head: 1, tasks: &[(24, 2), (48, 3)], line: (10, 2) },
    Case { windows: &[(2, 7), (12, 19)], head: 0, tasks: &[(24, 3), (24, 2)], line: (6, 1) },
    Case { windows: &[(0, 4), (8, 12), (16, 20)], head: 1, tasks: &[(24, 2), (48, 2)], line: (16, 1) },
    Case { windows: &[(4, 16)], head: 2, tasks: &[(48, 4), (48, 3)], line: (8, 2) },
    Case { windows: &[(20, 30)], head: 1, tasks: &[(24, 3)], line: (12, 3) },
];

impl Case {
    fn system(&self, release: &str) -> String {
        let (gap, handler) = self.line;
        let keys = format!("policy = \"immediate\", min_interarrival = \"{gap} ns\", handler = \"{handler} ns\"");
        let head = self.head;
        let mut text = format!(
            "[system]\nname = \"S\"\nframe = \"{FRAME} ns\"\ndeadlines_hold_in = \"frame phase\"\n[board]\nname = \"B\"\n\
             [[board.core]]\nname = \"0\"\n[[board.device]]\nname = \"D\"\nowner = \"B\"\n\
             interrupt = [{{ line = \"7\", core = \"0\", {keys} }}]\n\
             [platform]\nswitch = \"{head} ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"0 ns\"\n\
             nonpreemptable = \"0 ns\"\nsynchronised = true\n\
             [[partition]]\nname = \"B\"\nguest = \"fixed priority\"\n[[partition]]\nname = \"A\"\nguest = \"fixed priority\"\n"
        );
        for (k, (period, wcet)) in self.tasks.iter().enumerate() {
            let priority = self.tasks.len() - k;
            text += &format!(
                "[[partition.task]]\nname = \"t{k}\"\nperiod = \"{period} ns\"\npriority = {priority}\nwcet = \"{wcet} ns\"\n\
                 line_requests = 0\nrelease = \"{release}\"\n"
            );
        }
        text
    }

    fn plan(&self) -> String {
        let window = |(start, end): &(u64, u64)| {
            let length = end - start;
            format!("[[window]]\ncore = \"0\"\npartition = \"A\"\nstart = \"{start} ns\"\nlength = \"{length} ns\"\n")
        };
        let folded = self.windows.iter().flat_map(|&(start, end)| match end > FRAME {
            true => vec![(start, FRAME), (0, end - FRAME)],
            false => vec![(start, end)],
        });
        folded.map(|part| window(&part)).collect()
    }

    fn verdicts(&self, release: &str) -> BTreeMap<String, Verdict> {
        let (system, plan) = read(&self.system(release), &self.plan());
        check(&system, &plan).into_iter().map(|verdict| (verdict.id.clone(), verdict)).collect()
    }

    /// Whether a tick lies in a window of `A` whose head is over, were there no interrupts. Windows that go on across the
    /// frame's begin have begun before the first tick.
    fn usable(&self, tick: u64) -> bool {
        let within = tick % FRAME;
        let inside = |&(start, end): &(u64, u64)| {
            let at = if within < start { within + FRAME } else { within };
            (start + self.head..end).contains(&at)
        };
        self.windows.iter().any(inside)
    }

    /// The greatest response of each task that arrives first at its instant, with interrupts at those ticks.
    fn run(&self, first: &[u64], interrupts: &[bool]) -> Vec<u64> {
        // Handlers that run into a head push it back.
        let mut head_left = 0;
        let own = |tick: u64, handled: bool| {
            let begins = self.windows.iter().any(|&(start, _)| tick % FRAME == start);
            if begins {
                head_left = self.head;
            }
            if handled {
                return false;
            }
            if head_left > 0 {
                head_left -= 1;
                return false;
            }
            begins || self.usable(tick)
        };
        responses(self.tasks, self.line.1, first, interrupts, own)
    }

    /// The system with `A` alone in a core set of that policy, and what `A` asks of it.
    fn system_in_set(&self, policy: &str, grant: &str) -> String {
        let set = format!("[[core_set]]\nname = \"all\"\ncores = [\"0\"]\n{policy}\n[platform]\n");
        let own = format!("name = \"A\"\nguest = \"fixed priority\"\ncore_set = \"all\"\n{grant}\n");
        self.system("free-running")
            .replace("[platform]\n", &set)
            .replace("owner = \"B\"", "owner = \"A\"")
            .replace("[[partition]]\nname = \"B\"\nguest = \"fixed priority\"\n", "")
            .replace("name = \"A\"\nguest = \"fixed priority\"\n", &own)
    }

    /// Interrupts as often as may be, from each tick; and such that a new one comes whenever `A` could execute.
    fn patterns(&self) -> Vec<Vec<bool>> {
        let gap = self.line.0;
        let mut patterns: Vec<Vec<bool>> = (0..gap)
            .map(|first| (0..RUN).map(|tick| tick >= first && (tick - first).is_multiple_of(gap)).collect())
            .collect();
        for skew in 0..FRAME {
            let mut since = gap;
            let pattern = (0..RUN).map(|tick| {
                let comes = since >= gap && self.usable(tick + skew);
                since = if comes { 1 } else { since + 1 };
                comes
            });
            patterns.push(pattern.collect());
        }
        patterns
    }
}

/// The greatest response of each task, most urgent first, that arrives first at its instant. `own` says of each tick, and of
/// whether a handler runs in it, whether tasks execute.
fn responses(
    tasks: &[(u64, u64)],
    handler_of_one: u64,
    first: &[u64],
    interrupts: &[bool],
    mut own: impl FnMut(u64, bool) -> bool,
) -> Vec<u64> {
    let mut left: Vec<Vec<(u64, u64)>> = vec![Vec::new(); tasks.len()];
    let mut worst = vec![0; tasks.len()];
    let mut handler = 0;
    for tick in 0..RUN {
        for (k, &(period, wcet)) in tasks.iter().enumerate() {
            if tick >= first[k] && (tick - first[k]).is_multiple_of(period) {
                left[k].push((tick, wcet));
            }
        }
        if interrupts[tick as usize] {
            handler += handler_of_one;
        }
        let handled = handler > 0;
        handler -= u64::from(handled);
        if !own(tick, handled) {
            continue;
        }
        let Some(k) = (0..left.len()).find(|&k| !left[k].is_empty()) else { continue };
        left[k][0].1 -= 1;
        if left[k][0].1 == 0 {
            let (arrival, _) = left[k].remove(0);
            worst[k] = worst[k].max(tick + 1 - arrival);
        }
    }
    worst
}

/// The verdicts of a system that needs no windows.
fn without_windows(system: &str) -> Vec<Verdict> {
    check(&read_only(system).0, &Plan::default())
}

fn read_only(system: &str) -> (System, Sources) {
    let mut files = BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]);
    let Reading { sources, system: found, diagnostics } = read_system("system.toml", &mut files);
    (found.unwrap_or_else(|| panic!("{diagnostics:?}\n{system}")), sources)
}

fn read(system: &str, plan: &str) -> (System, Plan) {
    let (found, mut sources) = read_only(system);
    let (plan, diagnostics) = read_plan("plan.toml", plan.as_bytes(), &found, &mut sources);
    (found, plan.unwrap_or_else(|| panic!("{diagnostics:?}")))
}

#[test]
fn no_run_responds_later_in_any_phase_and_some_nearly_as_late() {
    for case in CASES {
        let verdicts = case.verdicts("free-running");
        let mut seen = vec![0; case.tasks.len()];
        for pattern in case.patterns() {
            for phase in 0..FRAME {
                // The level's critical instant: all arrive together.
                let found = case.run(&vec![phase; case.tasks.len()], &pattern);
                seen.iter_mut().zip(found).for_each(|(seen, found)| *seen = found.max(*seen));
            }
        }
        for (k, &seen) in seen.iter().enumerate() {
            let verdict = &verdicts[&format!("response/A.t{k}")];
            let bound = verdict.bound.unwrap_or_else(|| panic!("{verdict:#?}"));
            assert!(seen <= bound, "A.t{k}: seen {seen}, bound {bound}, windows {:?}", case.windows);
            assert!(bound <= seen + FRAME, "A.t{k}: seen {seen}, bound {bound}, windows {:?}", case.windows);
            assert!(!verdict.exact, "when they come is not known");
        }
    }
}

#[test]
fn no_run_responds_later_in_the_frames_phase() {
    for case in CASES {
        let verdicts = case.verdicts("frame-aligned");
        for pattern in case.patterns() {
            let found = case.run(&vec![0; case.tasks.len()], &pattern);
            for (k, seen) in found.into_iter().enumerate() {
                let verdict = &verdicts[&format!("response/A.t{k}")];
                let bound = verdict.bound.unwrap_or_else(|| panic!("{verdict:#?}"));
                assert!(seen <= bound, "A.t{k}: seen {seen}, bound {bound}, windows {:?}", case.windows);
            }
        }
    }
}

/// A core that is given in another way than by windows: policy and grant in the system's words, and which ticks are the
/// partition's, in each way that is tried.
struct InSet {
    policy: &'static str,
    grant: &'static str,
    tasks: &'static [(u64, u64)],
    line: (u64, u64),
    own: &'static [fn(u64) -> bool],
    /// How much greater than what is seen the bound may be.
    slack: u64,
}

const IN_SETS: [InSet; 4] = [
    InSet {
        policy: "policy = \"dedicated\"",
        grant: "",
        tasks: &[(24, 5), (48, 7)],
        line: (10, 2),
        own: &[|_| true],
        slack: 5,
    },
    InSet {
        policy: "policy = \"dedicated\"",
        grant: "",
        tasks: &[(16, 3), (48, 9)],
        line: (8, 1),
        own: &[|_| true],
        slack: 5,
    },
    // A budget of 7 within 12: first at once and then as late as can be, always late, always at once.
    InSet {
        policy: "policy = \"budget server\"",
        grant: "[partition.server]\nbudget = \"7 ns\"\nperiod = \"12 ns\"",
        tasks: &[(24, 2), (48, 3)],
        line: (16, 1),
        own: &[|tick| if tick < 12 { tick < 7 } else { tick % 12 >= 5 }, |tick| tick % 12 >= 5, |tick| tick % 12 < 7],
        slack: 12,
    },
    // Half of the core in turns of 4, beginning with its own or with another's.
    InSet {
        policy: "policy = \"proportional share\"\nquantum = \"4 ns\"",
        grant: "[partition.share]\nshare = 1\nceiling = \"50 %\"",
        tasks: &[(48, 3), (96, 2)],
        line: (16, 1),
        own: &[|tick| tick % 8 < 4, |tick| tick % 8 >= 4],
        slack: 24,
    },
];

/// As above where there are no windows. On a server and in a share the handlers run on the partition's own time.
#[test]
fn no_run_responds_later_on_a_core_of_its_own_on_a_server_or_in_a_share() {
    for InSet { policy, grant, tasks, line, own, slack } in &IN_SETS {
        let case = Case { windows: &[(0, FRAME)], head: 0, tasks, line: *line };
        let verdicts = without_windows(&case.system_in_set(policy, grant));
        let mut seen = vec![0; tasks.len()];
        for (own, pattern) in own.iter().flat_map(|own| case.patterns().into_iter().map(move |pattern| (own, pattern)))
        {
            for phase in 0..FRAME {
                let first = vec![phase; tasks.len()];
                let found = responses(tasks, line.1, &first, &pattern, |tick, handled| !handled && own(tick));
                seen.iter_mut().zip(found).for_each(|(seen, found)| *seen = found.max(*seen));
            }
        }
        for (k, &seen) in seen.iter().enumerate() {
            let id = format!("response/A.t{k}");
            let verdict = verdicts.iter().find(|verdict| verdict.id == id).expect("a response");
            let bound = verdict.bound.unwrap_or_else(|| panic!("{policy}: {verdict:#?}"));
            assert!(seen <= bound, "{policy}: {id}: seen {seen}, bound {bound}");
            assert!(bound <= seen + slack, "{policy}: {id}: seen {seen}, bound {bound}");
            assert!(!verdict.exact, "when they come is not known");
        }
    }
}

/// A window that fills the frame is a core of one's own behind the first head.
#[test]
fn no_run_responds_later_in_a_window_that_never_ends() {
    for head in [0, 1, 3] {
        let case = Case { windows: &[(0, FRAME)], head, tasks: &[(24, 5), (48, 7)], line: (10, 2) };
        let verdicts = case.verdicts("free-running");
        for pattern in case.patterns() {
            let mut head_left = head;
            let own = |_: u64, handled: bool| {
                let runs = !handled && head_left == 0;
                head_left -= u64::from(!handled && head_left > 0);
                runs
            };
            for (k, seen) in responses(case.tasks, case.line.1, &[0, 0], &pattern, own).into_iter().enumerate() {
                let bound = verdicts[&format!("response/A.t{k}")].bound.expect("a bound");
                assert!(seen <= bound && bound <= seen + 9 + head, "A.t{k}: head {head}: seen {seen}, bound {bound}");
            }
        }
    }
}

/// What servers are promised is judged on what handlers leave of their core.
#[test]
fn servers_that_fit_without_interrupts_only_are_not_shown() {
    let promise = |budget: u64| {
        let case = Case { windows: &[], head: 0, tasks: &[(24, 2)], line: (16, 1) };
        let grant = format!("[partition.server]\nbudget = \"{budget} ns\"\nperiod = \"12 ns\"");
        let verdicts = without_windows(&case.system_in_set("policy = \"budget server\"", &grant));
        promise_in(&verdicts).clone()
    };
    // Of 12 ticks a line that comes each 16 takes up to 12/16 and one handler more.
    assert_promised_up_to(9, 12, promise);
}

/// The claim about what the one core set promises.
fn promise_in(verdicts: &[Verdict]) -> &Verdict {
    verdicts.iter().find(|verdict| verdict.id == "window/set/all").expect("a promise")
}

/// Asserts that one budget is surely given, and that more is not, for the handlers.
fn assert_promised_up_to(budget: u64, more: u64, promise: impl Fn(u64) -> Verdict) {
    assert_eq!(promise(budget).status, Status::Shown);
    let open = promise(more);
    assert_eq!(open.status, Status::NotShown);
    let reason = open.reason.expect("a reason");
    assert!(reason.contains("two heads in each period and interrupts handled at once included"), "{reason}");
}

/// Servers `(budget, period)` that are pinned to neither of two cores, each of which has a line `(gap, handler)`.
fn free_servers(servers: &[(u64, u64)], lines: [(u64, u64); 2]) -> Vec<Verdict> {
    let interrupt = |(core, (gap, handler)): (usize, &(u64, u64))| {
        format!(
            "{{ line = \"{core}\", core = \"{core}\", policy = \"immediate\", min_interarrival = \"{gap} ns\", \
             handler = \"{handler} ns\" }}"
        )
    };
    let interrupts: Vec<String> = lines.iter().enumerate().map(interrupt).collect();
    let mut text = format!(
        "[system]\nname = \"S\"\nframe = \"{FRAME} ns\"\n[board]\nname = \"B\"\n[[board.core]]\nname = \"0\"\n\
         [[board.core]]\nname = \"1\"\n[[board.device]]\nname = \"D\"\nowner = \"P0\"\ninterrupt = [{}]\n\
         [[core_set]]\nname = \"all\"\ncores = [\"0\", \"1\"]\npolicy = \"budget server\"\n\
         [platform]\nswitch = \"0 ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"0 ns\"\n\
         nonpreemptable = \"0 ns\"\n",
        interrupts.join(", ")
    );
    for (k, (budget, period)) in servers.iter().enumerate() {
        text += &format!(
            "[[partition]]\nname = \"P{k}\"\nguest = \"fixed priority\"\n[partition.server]\nbudget = \"{budget} ns\"\n\
             period = \"{period} ns\"\n[[partition.task]]\nname = \"t\"\nperiod = \"240 ns\"\npriority = 1\nwcet = \"2 ns\"\n\
             line_requests = 0\n"
        );
    }
    without_windows(&text)
}

/// The least that a server has got in a period by its end, where a handler's time counts as given or does not.
fn least_given(servers: &[(u64, u64)], lines: [(u64, u64); 2], first: [u64; 2], counts: bool) -> Vec<u64> {
    let mut left: Vec<u64> = vec![0; servers.len()];
    let mut given: Vec<u64> = vec![0; servers.len()];
    let mut least: Vec<u64> = vec![u64::MAX; servers.len()];
    let mut on: [Option<usize>; 2] = [None, None];
    let mut handler = [0; 2];
    for tick in 0..RUN {
        for (k, &(budget, _)) in servers.iter().enumerate().filter(|(_, server)| tick.is_multiple_of(server.1)) {
            if tick > 0 {
                least[k] = least[k].min(given[k]);
            }
            (left[k], given[k]) = (budget, 0);
        }
        for core in 0..2 {
            if tick >= first[core] && (tick - first[core]).is_multiple_of(lines[core].0) {
                handler[core] += lines[core].1;
            }
        }
        let mut due: Vec<usize> = (0..servers.len()).filter(|k| left[*k] > 0).collect();
        due.sort_by_key(|k| (tick / servers[*k].1 * servers[*k].1 + servers[*k].1, *k));
        due.truncate(2);
        on = on.map(|runs| runs.filter(|k| due.contains(k)));
        for k in due.into_iter().filter(|k| !on.contains(&Some(*k))).collect::<Vec<_>>() {
            // Where a handler runs, if there is a choice.
            let free =
                (0..2).filter(|core| on[*core].is_none()).max_by_key(|core| handler[*core]).expect("two at most");
            on[free] = Some(k);
        }
        for core in 0..2 {
            let handled = handler[core] > 0;
            handler[core] -= u64::from(handled);
            if let Some(k) = on[core] {
                left[k] -= u64::from(!handled || counts);
                given[k] += u64::from(!handled);
            }
        }
    }
    least
}

/// By hand: each of three servers of a period of 24 may lose two handlers of one tick on each core, so up to 8 of 24 fit, since
/// `3 (8 + 4) + (8 + 4) = 2 * 24`, and without interrupts 12.
#[test]
fn servers_pinned_to_no_core_are_charged_with_the_handlers_of_all() {
    assert_promised_up_to(8, 9, |budget| promise_in(&free_servers(&[(budget, 24); 3], [(16, 1); 2])).clone());
}

/// What the handlers of a line take from a span at the most, some of them begun before it.
fn taken((gap, handler): (u64, u64), span: u64) -> u64 {
    (0..handler).map(|before| (span + before).div_ceil(gap) * handler - before).max().unwrap_or(0)
}

#[test]
fn no_run_gives_less_to_servers_pinned_to_no_core() {
    let (mut shown, mut failed) = (0, 0);
    let budgets = [1u64, 3, 5, 8, 11];
    let all = budgets.iter().flat_map(|one| budgets.iter().map(move |other| (*one, *other)));
    let cases = all.flat_map(|(one, other)| {
        let servers = [(one, 12), (other, 24), (2 * other, 24)];
        [[(16, 1), (16, 1)], [(12, 1), (8, 1)], [(24, 3), (12, 2)]].map(|lines| (servers, lines))
    });
    for (servers, lines) in cases {
        let verdicts = free_servers(&servers, lines);
        let is_shown = promise_in(&verdicts).status == Status::Shown;
        let mut is_short = false;
        for first in (0..lines[0].0).flat_map(|one| (0..lines[1].0).map(move |other| [one, other])) {
            let whole = least_given(&servers, lines, first, false);
            is_short |= whole.iter().zip(servers).any(|(given, (budget, _))| *given < budget);
            let less = least_given(&servers, lines, first, true);
            for (given, (budget, period)) in less.into_iter().zip(servers).filter(|_| is_shown) {
                let taken: u64 = lines.iter().map(|line| taken(*line, period)).sum();
                assert!(given + taken >= budget, "{budget} in {period} gets {given} of {servers:?} beside {lines:?}");
            }
        }
        assert!(!is_shown || !is_short, "{servers:?} beside {lines:?} are shown and fail");
        shown += usize::from(is_shown);
        failed += usize::from(is_short);
    }
    assert!(shown > 10 && failed > 10, "{shown} shown, {failed} fail");
}

/// A deadline that only interrupts pass is not shown, since none need come; one that is passed without them is violated.
#[test]
fn interrupts_alone_violate_nothing() {
    let of = |wcet: u64, deadline: u64| {
        let case = Case { tasks: &[(48, 2)], ..CASES[0] };
        let wcet_key = format!("wcet = \"{wcet} ns\"\ndeadline = \"{deadline} ns\"");
        let (system, plan) = read(&case.system("free-running").replace("wcet = \"2 ns\"", &wcet_key), &case.plan());
        let verdicts = check(&system, &plan);
        let found = verdicts.iter().find(|verdict| verdict.id == "response/A.t0").expect("a response");
        (found.status, found.witness.is_some())
    };
    // From a window's end 17 ticks pass until the next one's head is over; handlers take up to 2 of each window.
    assert_eq!(of(2, 23), (Status::Shown, false));
    assert_eq!(of(2, 22), (Status::NotShown, false));
    assert_eq!(of(2, 19), (Status::NotShown, false));
    assert_eq!(of(2, 18), (Status::Violated, true));
}

#[test]
fn handlers_without_a_rate_or_a_pause_leave_no_bound() {
    let reason = |from: &str, to: &str| {
        let case = CASES[0];
        let (system, plan) = read(&case.system("free-running").replace(from, to), &case.plan());
        let verdicts = check(&system, &plan);
        let found = verdicts.iter().find(|verdict| verdict.id == "response/A.t0").expect("a response");
        assert_eq!(found.status, Status::NotAnalysed);
        found.reason.clone().unwrap_or_default()
    };
    assert_eq!(
        reason(", min_interarrival = \"10 ns\"", ""),
        "interrupt `7` is handled at once, and its `min_interarrival` is not given"
    );
    assert_eq!(reason(", handler = \"2 ns\"", ""), "interrupt `7` is handled at once, and its `handler` is not given");
    let full = reason("min_interarrival = \"10 ns\"", "min_interarrival = \"1 ns\"");
    assert_eq!(full, "the interrupts that are handled at once may keep core 0 for themselves");
}
