//! Earliest deadline first and cooperative guests: two analyses of one question agree, one policy against another, and what
//! must hold of every system.

use proptest::prelude::*;
use timing::demand_bound::{UnderSupply, under_supply};
use timing::multiprocessor::worst_responses;
use timing::opaque::{delay_for_share, span_for_budget};
use timing::response::{Response, worst_in_any_phase};
use timing::sensitivity::{common_factor_ppm, largest_charged_ns};
use timing::supply::{Interval, Share, Supply};
use timing::witness::{Holder, Job, scenario};
use timing::{Policy, Release, Task, TaskSet};

const FRAME_NS: u64 = 60;

/// Windows from distinct cuts of the frame, taken in pairs; a server; or the whole core.
fn supply() -> impl Strategy<Value = Supply> {
    let cuts = prop::collection::btree_set(0..=FRAME_NS, 2..7).prop_map(|cuts| {
        let cuts: Vec<u64> = cuts.into_iter().collect();
        let interval = |pair: &[u64]| Interval { start_ns: pair[0], end_ns: pair[1] };
        Supply::new(FRAME_NS, &cuts.chunks_exact(2).map(interval).collect::<Vec<_>>()).expect("a table")
    });
    let boot = (1..FRAME_NS).prop_map(|until_ns| {
        let whole = [Interval { start_ns: 0, end_ns: FRAME_NS }];
        Supply::new(FRAME_NS, &whole).expect("a table").with_boot_until(until_ns)
    });
    let server = (1..20u64, 1..20u64, 0..20u64).prop_map(|(budget_ns, more_ns, slack_ns)| {
        let deadline_ns = (budget_ns + slack_ns).min(budget_ns + more_ns);
        Supply::budget_server(budget_ns, budget_ns + more_ns, deadline_ns).expect("a server")
    });
    prop_oneof![4 => cuts, 1 => boot, 2 => server, 1 => Just(Supply::dedicated())]
}

fn task() -> impl Strategy<Value = Task> {
    let periods = prop::sample::select(vec![10u64, 15, 20, 30, 60]);
    (periods, 1..4i64, 1..8u64, 0..12u64, 0..5u64, 1..8u64).prop_map(
        |(period_ns, priority, charged_ns, jitter_ns, blocking_ns, quarters)| Task {
            priority,
            period_ns,
            deadline_ns: (period_ns * quarters / 4).max(1),
            charged_ns,
            jitter_ns: jitter_ns / 4 * 3,
            blocking_ns: blocking_ns.saturating_sub(2),
            release: Release::FreeRunning,
        },
    )
}

fn tasks() -> impl Strategy<Value = Vec<Task>> {
    prop::collection::vec(task(), 1..5)
}

fn set(tasks: &[Task], policy: Policy) -> TaskSet {
    TaskSet::with_policy(tasks, policy).expect("well-formed tasks")
}

fn responses(supply: &Supply, tasks: &[Task], policy: Policy) -> Vec<Option<u64>> {
    let found = worst_in_any_phase(supply, &set(tasks, policy));
    found.iter().map(|found| found.bound().map(|bound| bound.response_ns)).collect()
}

fn all_meet(supply: &Supply, tasks: &[Task], policy: Policy) -> bool {
    let found = responses(supply, tasks, policy);
    tasks.iter().zip(found).all(|(task, found)| found.is_some_and(|found| found <= task.deadline_ns))
}

const POLICIES: [Policy; 3] = [Policy::FixedPriority, Policy::EarliestDeadline, Policy::Cooperative];

proptest! {
    #![proptest_config(ProptestConfig { cases: 3_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Spuri's responses and the demand test answer the same question by different ways.
    #[test]
    fn demand_is_borne_where_every_response_is_in_time(supply in supply(), tasks in tasks()) {
        let borne = under_supply(&supply, &set(&tasks, Policy::EarliestDeadline));
        prop_assert_ne!(&borne, &UnderSupply::GaveUp);
        let found = responses(&supply, &tasks, Policy::EarliestDeadline);
        prop_assert_eq!(borne == UnderSupply::Borne, all_meet(&supply, &tasks, Policy::EarliestDeadline), "{:?}", found);
    }

    /// Earliest deadline first is optimal on one core: Dertouzos 1974 (from memory); a supply changes nothing about it.
    #[test]
    fn what_fixed_priorities_meet_earliest_deadlines_meet(supply in supply(), tasks in tasks()) {
        let tasks: Vec<Task> = tasks.iter().map(|task| Task { blocking_ns: 0, ..*task }).collect();
        if all_meet(&supply, &tasks, Policy::FixedPriority) || all_meet(&supply, &tasks, Policy::Cooperative) {
            prop_assert!(all_meet(&supply, &tasks, Policy::EarliestDeadline));
        }
    }

    /// One task alone has nobody to be told apart from.
    #[test]
    fn alone_every_policy_is_the_same(supply in supply(), task in task()) {
        let [fixed, edf, cooperative] = POLICIES.map(|policy| responses(&supply, &[task], policy));
        prop_assert_eq!(&fixed, &edf);
        prop_assert_eq!(&fixed, &cooperative);
    }

    #[test]
    fn more_load_never_lowers_a_bound(supply in supply(), tasks in tasks(), which in any::<prop::sample::Index>()) {
        let which = which.index(tasks.len());
        let changes: [fn(&mut Task); 3] = [|task| task.charged_ns += 1, |task| task.jitter_ns += 2, |task| task.blocking_ns += 1];
        for (policy, change) in POLICIES.into_iter().flat_map(|policy| changes.map(|change| (policy, change))) {
            let mut loaded = tasks.clone();
            change(&mut loaded[which]);
            let pairs = responses(&supply, &tasks, policy).into_iter().zip(responses(&supply, &loaded, policy));
            for (less, more) in pairs {
                prop_assert!(more.unwrap_or(u64::MAX) >= less.unwrap_or(u64::MAX), "{policy:?} {loaded:?}");
            }
        }
    }

    /// The scenario that is named with an exact bound, run forward, ends where the bound says; the run checks that itself.
    #[test]
    fn exact_bounds_are_attained_by_their_scenarios(supply in supply(), tasks in tasks()) {
        for policy in POLICIES {
            let set = set(&tasks, policy);
            for (k, found) in worst_in_any_phase(&supply, &set).iter().enumerate() {
                let Some(bound) = found.bound().filter(|bound| bound.exactness.is_exact()) else { continue };
                let shown = scenario(&supply, &set, k, bound, true).expect("a short busy window");
                let own = shown.jobs.iter().rfind(|job| job.task == k).expect("the job itself");
                prop_assert_eq!(shown.completes_ns as i64 - own.arrival_ns, bound.response_ns as i64);
                prop_assert_eq!(shown.timeline.last().map(|last| last.holder), Some(Holder::Task(k)));
                let legal = |job: &Job| (0..=tasks[job.task].jitter_ns as i64).contains(&(job.release_ns - job.arrival_ns));
                prop_assert!(shown.jobs.iter().all(legal));
            }
        }
    }

    #[test]
    fn growth_ends_where_deadlines_do(supply in supply(), tasks in tasks()) {
        for policy in POLICIES {
            let set = set(&tasks, policy);
            for (k, largest_ns) in largest_charged_ns(&supply, &set).into_iter().enumerate() {
                let with = |charged_ns: u64| {
                    let mut changed = tasks.clone();
                    changed[k].charged_ns = charged_ns;
                    all_meet(&supply, &changed, policy)
                };
                prop_assert!(largest_ns == 0 || with(largest_ns), "{policy:?}");
                prop_assert!(!with(largest_ns + 1), "{policy:?}");
            }
            let factor_ppm = common_factor_ppm(&supply, &set);
            let grown: Vec<Task> = tasks
                .iter()
                .map(|task| Task { charged_ns: (task.charged_ns * factor_ppm / 1_000_000).max(1), ..*task })
                .collect();
            prop_assert!(factor_ppm == 0 || all_meet(&supply, &grown, policy), "{policy:?}");
        }
    }
}

/// Liu & Layland 1973: up to the whole core earliest deadline first meets every deadline, one ns more and no bound is left.
#[test]
fn a_whole_core_is_used_up_to_the_last_ns() {
    let task = |period_ns, charged_ns| Task {
        priority: 0,
        period_ns,
        deadline_ns: period_ns,
        charged_ns,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let full = [task(10, 5), task(20, 6), task(30, 6)];
    assert!(all_meet(&Supply::dedicated(), &full, Policy::EarliestDeadline));
    let over = [task(10, 5), task(20, 6), task(30, 7)];
    let found = worst_in_any_phase(&Supply::dedicated(), &set(&over, Policy::EarliestDeadline));
    assert!(found.iter().all(|found| matches!(found, Response::Unbounded(_))));
}

/// Davis, Burns, Bril & Lukkien 2007, the example against which the older analysis fails (from memory): three messages of
/// one unit, periods 2.5, 3.5 and 3.5, deadlines 2.5, 3.25 and 3.25. The third message's first job takes 3, its second 3.5.
/// In units of a thousandth, so that begun jobs hold back all but a ns of their time.
#[test]
fn a_second_job_can_be_later_than_the_first() {
    let task = |priority, period_ns, deadline_ns| Task {
        priority,
        period_ns,
        deadline_ns,
        charged_ns: 1_000,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let tasks = [task(3, 2_500, 2_500), task(2, 3_500, 3_250), task(1, 3_500, 3_250)];
    let found = worst_in_any_phase(&Supply::dedicated(), &set(&tasks, Policy::Cooperative));
    let of = |k: usize| found[k].bound().map(|bound| (bound.response_ns, bound.job));
    assert_eq!(of(0), Some((1_999, 0)));
    assert_eq!(of(1), Some((2_999, 0)));
    assert_eq!(of(2), Some((3_500, 1)));
}

/// The greatest and least numbers that are let in: no panic, no endless search.
#[test]
fn extreme_numbers_end() {
    let most = timing::supply::MAX_TIME_NS;
    let task = |period_ns, deadline_ns, charged_ns, jitter_ns, priority| Task {
        priority,
        period_ns,
        deadline_ns,
        charged_ns,
        jitter_ns,
        blocking_ns: most / 4,
        release: Release::FreeRunning,
    };
    let sets = [
        vec![task(most, most, most, most, 2), task(1, 1, 1, 0, 1)],
        vec![task(1, most, most, most, 2), task(most, 1, 1, 0, 1)],
        vec![task(2, 1, 1, 0, 2), task(most, most, most / 2, 0, 1)],
        vec![task(3, most, 1, most, 2), task(most - 2, most, most / 3, most, 1), task(most, 1, 1, 0, 0)],
        vec![task(3, 2, 1, 0, 2), task(most, most - 1, 1, 0, 1)],
    ];
    let share = Share::new(1, 1_000_000).expect("a share");
    let supplies = [
        Supply::dedicated(),
        Supply::budget_server(1, most, most).expect("a server"),
        Supply::budget_server(most / 2, most, most).expect("a server"),
        Supply::proportional_share(share, most).expect("a share"),
        Supply::new(most, &[Interval { start_ns: 0, end_ns: 1 }]).expect("a table"),
    ];
    for (supply, tasks) in supplies.iter().flat_map(|supply| sets.iter().map(move |tasks| (supply, tasks))) {
        for policy in POLICIES {
            let Ok(set) = TaskSet::with_policy(tasks, policy) else { continue };
            assert_eq!(worst_in_any_phase(supply, &set).len(), tasks.len());
            assert_eq!(worst_responses(&[supply.clone(), supply.clone()], &set).len(), tasks.len());
            let _ = under_supply(supply, &set);
        }
        let _ = (span_for_budget(supply, u64::MAX), delay_for_share(supply, 1), delay_for_share(supply, u64::MAX));
    }
}

/// What nothing interrupts is one stretch however long; where windows come too often to be shown, the bound stands alone.
#[test]
fn a_scenario_is_not_run_from_nanosecond_to_nanosecond() {
    const LONG_NS: u64 = 1_000_000_000_000;
    let tasks = [Task { charged_ns: LONG_NS, period_ns: 4 * LONG_NS, deadline_ns: 4 * LONG_NS, ..plain() }];
    let of = |supply: &Supply| {
        let set = set(&tasks, Policy::FixedPriority);
        let bound = worst_in_any_phase(supply, &set)[0].bound().copied().expect("half a core is enough");
        (bound.response_ns, scenario(supply, &set, 0, &bound, true))
    };
    let (response_ns, alone) = of(&Supply::dedicated());
    let timeline = alone.expect("one job is shown").timeline;
    assert_eq!((response_ns, timeline.len(), timeline[0].end_ns), (LONG_NS, 1, LONG_NS));
    let half = Supply::new(2, &[Interval { start_ns: 0, end_ns: 1 }]).expect("a table");
    // The first nanosecond passes without supply, and so does every second one after it.
    assert_eq!(of(&half), (2 * LONG_NS, None));
}

fn plain() -> Task {
    Task {
        priority: 1,
        period_ns: 1,
        deadline_ns: 1,
        charged_ns: 1,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    }
}
