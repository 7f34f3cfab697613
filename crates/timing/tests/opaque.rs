//! What an opaque guest is surely given, tick by tick.

use proptest::prelude::*;
use timing::opaque::{delay_for_share, span_for_budget};
use timing::supply::{Interval, Supply};

const FRAME_NS: u64 = 20;

/// A table, one whose first frame is short of some supply, or a server.
fn supply() -> impl Strategy<Value = Supply> {
    let table = (prop::collection::btree_set(0..=FRAME_NS, 2..7), 0..FRAME_NS).prop_map(|(cuts, boot_ns)| {
        let cuts: Vec<u64> = cuts.into_iter().collect();
        let interval = |pair: &[u64]| Interval { start_ns: pair[0], end_ns: pair[1] };
        let windows: Vec<_> = cuts.chunks_exact(2).map(interval).collect();
        let boot_ns = if windows[0].start_ns == 0 { boot_ns.min(windows[0].end_ns) } else { 0 };
        Supply::new(FRAME_NS, &windows).expect("a table").with_boot_until(boot_ns)
    });
    let server = (1..8u64, 0..8u64, 0..8u64).prop_map(|(budget_ns, more_ns, slack_ns)| {
        let deadline_ns = budget_ns + slack_ns.min(more_ns);
        Supply::budget_server(budget_ns, budget_ns + more_ns, deadline_ns).expect("a server")
    });
    prop_oneof![2 => table, 1 => server]
}

/// The least supply in a span, wherever it begins, the first frame among them.
fn least(supply: &Supply, span: u64) -> u64 {
    let boot_ns = supply.boot_ns();
    let from = |start: u64| {
        let until_boot = boot_ns.saturating_sub(start).min(span);
        supply.supply_ns(start + until_boot, span - until_boot)
    };
    let first_frame = (0..boot_ns).map(from).min().unwrap_or(u64::MAX);
    supply.least_supply_ns(span).min(first_frame)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_budget_is_there_after_its_span_and_no_sooner(supply in supply(), budget in 1..60u64) {
        let found = span_for_budget(&supply, budget).map(|found| found.span_ns);
        prop_assert_eq!(found, (0..4_000).find(|&span| least(&supply, span) >= budget));
    }

    #[test]
    fn a_share_comes_after_its_delay_and_no_sooner(supply in supply(), share_ppm in 1..1_000_000u64) {
        let keeps = |delay: u64| {
            (0..200u64).all(|span| least(&supply, span) * 1_000_000 >= share_ppm * span.saturating_sub(delay))
        };
        match delay_for_share(&supply, share_ppm) {
            Some(found) => {
                prop_assert!(keeps(found.span_ns));
                prop_assert!(found.span_ns == 0 || !keeps(found.span_ns - 1));
            }
            None => prop_assert!(supply.per_frame_ns() * 1_000_000 < share_ppm * supply.frame_ns()),
        }
    }
}
