//! Budget servers, shares and cores of one's own: closed forms, every schedule that the promise allows, and responses.

use proptest::prelude::*;
use timing::response::worst_responses;
use timing::supply::{Interval, Share, Supply, SupplyError, SupplyKind};
use timing::{Release, Task, TaskSet};

fn server(budget: u64, period: u64, deadline: u64) -> Supply {
    Supply::budget_server(budget, period, deadline).expect("a server")
}

/// The lower curve of the explicit deadline periodic resource (Easwaran, Anand & Lee, RTSS 2007; from memory):
/// `y Q + max(0, t - (P + D - 2 Q) - y P)` with `y = floor((t - (D - Q)) / P)` for `t >= D - Q`, else 0.
fn closed_form(budget: u64, period: u64, deadline: u64, t: u64) -> u64 {
    let Some(after) = t.checked_sub(deadline - budget) else { return 0 };
    let whole = after / period;
    whole * budget + t.saturating_sub(period + deadline - 2 * budget + whole * period)
}

#[test]
fn the_curve_of_a_server_is_the_closed_form() {
    for period in 1..8 {
        for budget in 1..=period {
            for deadline in budget..=period {
                let server = server(budget, period, deadline);
                for t in 0..60 {
                    assert_eq!(server.least_supply_ns(t), closed_form(budget, period, deadline, t), "at {t}");
                }
                assert_eq!(server.blackout_ns(), Some(period + deadline - 2 * budget));
            }
        }
    }
}

/// With `D = P` the published values of the periodic resource (5, 3), Shin & Lee, RTSS 2003 (from memory).
#[test]
fn a_deadline_at_the_period_is_the_periodic_resource() {
    let published = [0, 0, 0, 0, 0, 1, 2, 3, 3, 3, 4, 5, 6, 6, 6, 7, 8, 9, 9, 9, 10];
    for (t, supplied) in published.into_iter().enumerate() {
        assert_eq!(server(3, 5, 5).least_supply_ns(t as u64), supplied, "at {t}");
    }
}

#[test]
fn what_is_no_server_and_no_share_is_refused() {
    assert_eq!(Supply::budget_server(0, 5, 5), Err(SupplyError::Nothing));
    assert_eq!(Supply::budget_server(6, 5, 9), Err(SupplyError::BudgetTooLong));
    assert_eq!(Supply::budget_server(4, 5, 3), Err(SupplyError::BudgetTooLong));
    assert_eq!(Supply::budget_server(1, 1, u64::MAX), Err(SupplyError::LeadTooLong));
    assert_eq!(Supply::budget_server(1, u64::MAX, 1), Err(SupplyError::FrameTooLong));
    assert_eq!(Share::new(0, 3), Err(SupplyError::Nothing));
    assert_eq!(Share::new(1, 0), Err(SupplyError::Nothing));
    assert_eq!(Share::new(1, u128::MAX), Err(SupplyError::Nothing), "less than a millionth");
    let share = Share::new(1, 3).expect("a share");
    assert_eq!(Supply::proportional_share(share, u64::MAX), Err(SupplyError::LeadTooLong));
}

#[test]
fn shares_are_exact_fractions_or_rounded_down_to_millionths() {
    let parts = |numerator, denominator| Share::new(numerator, denominator).map(|s| (s.numerator(), s.denominator()));
    assert_eq!(parts(2, 6), Ok((1, 3)));
    assert_eq!(parts(7, 6), Ok((1, 1)), "no more than the core");
    assert_eq!(parts(1, 3_000_000), Err(SupplyError::Nothing));
    assert_eq!(parts(2_000_001, 3_000_001), Ok((666_666, 1_000_000)));
    assert_eq!(parts(u128::MAX / 2, u128::MAX), Ok((499_999, 1_000_000)));
}

#[test]
fn a_dedicated_core_is_a_full_table() {
    let whole = Supply::new(1, &[Interval { start_ns: 0, end_ns: 1 }]).expect("a table");
    let own = Supply::dedicated();
    assert_eq!(own.kind(), SupplyKind::DedicatedCore);
    for t in 0..200 {
        assert_eq!(own.least_supply_ns(t), t);
        assert_eq!(own.span_for_ns(0, t), whole.span_for_ns(0, t));
    }
    assert_eq!(own.blackout_ns(), Some(0));
}

/// A task alone whose deadline it just meets; the response is the span that surely holds its time.
fn response(supply: &Supply, charged_ns: u64, period_ns: u64) -> Option<u64> {
    let task = Task {
        priority: 0,
        period_ns,
        deadline_ns: period_ns,
        charged_ns,
        jitter_ns: 0,
        blocking_ns: 0,
        release: Release::FreeRunning,
    };
    let found = worst_responses(supply, &TaskSet::new(&[task]).expect("a task"));
    assert!(found[0].bound().is_none_or(|bound| bound.exactness.is_exact() == supply.kind().is_exact()));
    found[0].bound().map(|bound| bound.response_ns)
}

#[test]
fn responses_wait_for_the_blackout_and_then_for_the_budget() {
    assert_eq!(response(&server(3, 5, 5), 3, 30), Some(4 + 3));
    assert_eq!(response(&server(3, 5, 4), 3, 30), Some(3 + 3));
    assert_eq!(response(&server(3, 5, 5), 4, 30), Some(4 + 5 + 1));
    assert_eq!(response(&server(3, 5, 5), 4, 6), None, "two thirds of a core are asked for");
    assert_eq!(response(&Supply::dedicated(), 4, 6), Some(4));
}

/// A server's schedule: in each period the budget lies somewhere between begin and deadline, in one ns at a time.
fn schedule(periods: usize) -> impl Strategy<Value = (u64, u64, u64, Vec<bool>)> {
    (1..6u64, 0..5u64, 0..5u64).prop_flat_map(move |(budget, more, slack)| {
        let period = budget + more;
        let deadline = (budget + slack).min(period);
        let one = prop::sample::subsequence((0..deadline).collect::<Vec<_>>(), budget as usize);
        prop::collection::vec(one, periods).prop_map(move |chosen| {
            let mut given = vec![false; periods * period as usize];
            for (k, slots) in chosen.iter().enumerate() {
                slots.iter().for_each(|&slot| given[k * period as usize + slot as usize] = true);
            }
            (budget, period, deadline, given)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_schedule_of_a_server_gives_less((budget, period, deadline, given) in schedule(6)) {
        let server = server(budget, period, deadline);
        for start in 0..given.len() {
            let mut supplied = 0;
            for (span, served) in given[start..].iter().enumerate() {
                prop_assert!(server.least_supply_ns(span as u64) <= supplied);
                supplied += u64::from(*served);
            }
        }
    }

    /// Bounded delay: never above the line, and less than a step and a ns behind it.
    #[test]
    fn a_share_keeps_to_its_line(numerator in 1..5_000u64, more in 0..2_000_000u64, delay in 0..3_000u64, t in 0..5_000_000u64) {
        let Ok(share) = Share::new(numerator.into(), (numerator + more).into()) else { return Ok(()) };
        let supply = Supply::proportional_share(share, delay).expect("a share");
        let on_line = |span: u64| share.of_ns(span.saturating_sub(delay));
        let step = share.denominator().div_ceil(timing::supply::MOST_STEPS);
        prop_assert!(supply.least_supply_ns(t) <= on_line(t));
        prop_assert!(supply.least_supply_ns(t + step + 1) >= on_line(t), "{share:?}");
        let work = supply.least_supply_ns(t);
        prop_assert!(supply.span_for_ns(0, work).is_some_and(|span| span <= t || work == 0));
    }

    /// One task on a server: all times k-fold, the response k-fold.
    #[test]
    fn scaling_all_times_scales_the_answer(
        budget in 1..9u64, more in 0..9u64, slack in 0..9u64, charged in 1..20u64, k in 2..1_000_000u64
    ) {
        let (period, deadline) = (budget + more, budget + slack.min(more));
        let of = |k: u64| response(&server(k * budget, k * period, k * deadline), k * charged, k * 40);
        prop_assert_eq!(of(1).map(|found| k * found), of(k));
    }
}
