//! Covert channels: hand-made tables, and who is cut off from whom against a general-purpose graph library.

mod common;

use claim::{Assumption, Status, Unit};
use common::{plan, system, verdicts};
use petgraph::algo::has_path_connecting;
use petgraph::graph::{DiGraph, NodeIndex};
use proptest::prelude::*;
use quantity::BitRate;
use separation::covert::{Capacity, CovertPath, matrix};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Two partitions on one core in zones of which only one may influence the other.
fn two(more: &str, flow: &str) -> String {
    let partition = |name: &str, zone: &str| {
        let head = format!(
            "[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nzone = \"{zone}\"\ncores = [\"0\"]\n"
        );
        format!(
            "{head}[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"\nline_requests = 1\n"
        )
    };
    let zones = "[[zone]]\nname = \"HIGH\"\n[[zone]]\nname = \"LOW\"\n";
    let policy = format!("[flow]\n{flow}\n[[flow.allow]]\nfrom = \"LOW\"\nto = \"HIGH\"\n");
    [zones, &partition("H", "HIGH"), &partition("L", "LOW"), &policy, more].concat()
}

const WINDOWS: &str = r#"
[[window]]
core = "0"
partition = "H"
start = "0 ms"
length = "5 ms"
[[window]]
core = "0"
partition = "L"
start = "5 ms"
length = "5 ms"
"#;

const QUEUE: &str = r#"
[[channel]]
name = "Q"
kind = "queuing"
size = "8 B"
depth = 4
from = "L.t"
to = ["H.t"]
"#;

#[test]
fn fixed_windows_carry_nothing() {
    let system = system(&two("", "covert_limit = \"0 bit/s\""));
    let plan = plan(&system, WINDOWS);
    let found = matrix(&system, &plan);
    let starts = found.resources.iter().find(|row| row.name == "core 0: when windows begin").expect("a row");
    assert!(starts.access.iter().all(|access| access.read && !access.modify));
    assert_eq!(found.paths, []);
    let verdict = &verdicts(&system, &plan)["covert/H/L"];
    assert_eq!((verdict.status, verdict.bound, verdict.unit), (Status::Shown, Some(0), Unit::MillibitsPerSecond));
}

/// L begins where H ends, once in 20 ms, up to 3 ns later: four levels, 2 bits in 20 ms are 100 bit/s.
#[test]
fn a_slip_at_the_boundary_is_told_by_who_follows() {
    let slip = "[platform]\nboundary_slip = \"3 ns\"\n";
    let judged = |limit: &str| {
        let system = system(&two(slip, &format!("covert_limit = \"{limit}\"")));
        let plan = plan(&system, WINDOWS);
        let verdict = verdicts(&system, &plan).remove("covert/H/L").expect("the forbidden pair");
        (verdict.status, verdict.bound)
    };
    assert_eq!(judged("100 bit/s"), (Status::Shown, Some(100_000)));
    assert_eq!(judged("99.999 bit/s"), (Status::NotShown, Some(100_000)));
}

/// Between the end of H and the begin of L, 1 ms passes: no slip reaches over that.
#[test]
fn a_gap_that_no_slip_reaches_over_tells_nothing() {
    let system = system(&two("[platform]\nboundary_slip = \"3 ns\"\n", "covert_limit = \"0 bit/s\""));
    let plan = plan(&system, &WINDOWS.replace("start = \"5 ms\"", "start = \"6 ms\""));
    assert_eq!(verdicts(&system, &plan)["covert/H/L"].status, Status::Shown);
}

/// The sender is told once in each of its periods of 20 ms whether the queue has room: 50 bit/s against the flow.
#[test]
fn a_full_queue_tells_its_sender() {
    let system = system(&two(QUEUE, "covert_limit = \"49 bit/s\""));
    let plan = plan(&system, WINDOWS);
    let found = matrix(&system, &plan);
    let carried: Vec<Capacity> = found.paths.iter().map(|path| path.capacity).collect();
    assert_eq!(carried, [Capacity::AtMost(BitRate::from_millibits_per_s(50_000))]);
    let verdict = &verdicts(&system, &plan)["covert/H/L"];
    assert_eq!(verdict.reason.as_deref(), Some("up to 50 bit/s by port Q: whether the queue is full"));
}

#[test]
fn what_no_datum_bounds_is_not_zero() {
    let cache =
        "[[board.cache]]\nname = \"L1\"\nlevel = 1\nsize = \"32 KiB\"\nways = 4\nline = \"64 B\"\ncores = [\"0\"]\n";
    let system = system(&two(cache, "covert_limit = \"1 kbit/s\""));
    let plan = plan(&system, WINDOWS);
    let verdict = &verdicts(&system, &plan)["covert/H/L"];
    assert_eq!((verdict.status, verdict.bound), (Status::NotAnalysed, None));
    assert!(verdict.reason.as_deref().is_some_and(|why| why.ends_with("core 0: lines left in its caches")));
}

/// What an idle server gives away is seen by the others of its set.
#[test]
fn slack_that_is_donated_is_at_odds_with_no_channel_at_all() {
    let set = "[[core_set]]\nname = \"S\"\ncores = [\"0\"]\npolicy = \"budget server\"\n[[core_set]]\nname = \"R\"\ncores = [\"1\"]\npolicy = \"dedicated\"\n";
    let text = two(set, "covert_limit = \"0 bit/s\"").replace(
        "cores = [\"0\"]\n[[partition.task]]",
        "core_set = \"S\"\nserver = { budget = \"1 ms\", period = \"10 ms\" }\n[[partition.task]]",
    );
    let judged = |text: &str| {
        let system = system(text);
        verdicts(&system, &plan(&system, "")).remove("covert/H/L").expect("the forbidden pair")
    };
    let none = judged(&text);
    assert_eq!(none.status, Status::NotShown);
    assert!(
        none.reason.as_deref().is_some_and(|why| why.contains("core set S: when each is served")),
        "{:?}",
        none.reason
    );
    // One stretch in 10 ms, as both are due at once, at one of 10,000,001 ns: 23.253496808 bits (tables of logarithms).
    assert_eq!((none.bound, none.basis.assumptions.contains(&Assumption::ServersWait)), (Some(2_325_350), true));
    let limited = |limit: &str| judged(&text.replace("0 bit/s", limit)).status;
    assert_eq!((limited("2325.349 bit/s"), limited("2325.35 bit/s")), (Status::NotShown, Status::Shown));
    let shares = text
        .replace("budget server", "proportional share\"\nquantum = \"1 ms")
        .replace("server = { budget = \"1 ms\", period = \"10 ms\" }", "share = { share = 1 }");
    let share = judged(&shares.replace("0 bit/s", "5 bit/s"));
    assert_eq!((share.status, share.bound), (Status::NotAnalysed, None), "{:?}", share.reason);
}

/// A server that is pinned to another core is moved by nobody here, and a slower clock tells fewer instants apart.
#[test]
fn servers_of_other_cores_tell_nothing_and_a_slow_clock_less() {
    let system_of = |cores: [&str; 2], clock: &str| {
        let set = "[[core_set]]\nname = \"S\"\ncores = [\"0\", \"1\"]\npolicy = \"budget server\"\n";
        let server = "core_set = \"S\"\nserver = { budget = \"1 ms\", period = \"10 ms\" }\n[[partition.task]]";
        let mut text = two(set, "covert_limit = \"0 bit/s\"").replace("cores = [\"0\"]\n[[partition.task]]", server);
        for core in cores {
            text = text.replacen("\nserver =", &format!("\n{core}server  ="), 1);
        }
        let head = common::HEAD.replace("[[board.core]]\n", &format!("[[board.core]]\n{clock}"));
        common::whole(&(head + &text))
    };
    let told = |cores: [&str; 2], clock: &str| {
        let system = system_of(cores, clock);
        let matrix = matrix(&system, &plan(&system, ""));
        let is_set = |path: &&CovertPath| matrix.resources[path.resource].name == "core set S: when each is served";
        matrix.paths.iter().find(is_set).map(|path| path.capacity)
    };
    let at_most = |millibits| Some(Capacity::AtMost(BitRate::from_millibits_per_s(millibits)));
    let (first, second) = ("cores = [\"0\"]\n", "cores = [\"1\"]\n");
    assert_eq!(told([first, second], ""), None);
    assert_eq!(told([first, first], ""), at_most(2_325_350));
    assert_eq!(told(["", ""], ""), at_most(2_325_350), "what is pinned nowhere may come to any core");
    assert_eq!(told(["", second], ""), Some(Capacity::NotComputed), "what is pinned may make the other move");
    // At 1 MHz an instant is one of 10,001: 13.287856642 bits (tables of logarithms).
    assert_eq!(told([first, first], "clock_mhz = 1\n"), at_most(1_328_786));
}

#[test]
fn without_a_limit_the_matrix_is_all_that_is_said() {
    let system = system(&two("", ""));
    let plan = plan(&system, WINDOWS);
    assert!(verdicts(&system, &plan).keys().all(|id| !id.starts_with("covert/")));
    assert!(!matrix(&system, &plan).resources.is_empty());
}

proptest! {
    /// A pair is claimed exactly where no chain of rules leads from the zone of the first to that of the second.
    #[test]
    fn pairs_are_those_that_no_chain_of_rules_joins(
        zones in prop::collection::vec(0..4usize, 1..6),
        rules in prop::collection::btree_set((0..4usize, 0..4usize).prop_filter("two zones", |(a, b)| a != b), 0..6),
    ) {
        let mut graph = DiGraph::<(), ()>::new();
        let nodes: Vec<NodeIndex> = (0..4).map(|_| graph.add_node(())).collect();
        let mut text = (0..4).fold(String::new(), |text, zone| text + &format!("[[zone]]\nname = \"Z{zone}\"\n"));
        for (index, zone) in zones.iter().enumerate() {
            let _ = writeln!(text, "[[partition]]\nname = \"P{index}\"\nguest = \"fixed priority\"\nzone = \"Z{zone}\"");
            let _ = writeln!(text, "[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"");
        }
        text.push_str("[flow]\ncovert_limit = \"1 bit/s\"\n");
        for (from, to) in &rules {
            graph.add_edge(nodes[*from], nodes[*to], ());
            let _ = writeln!(text, "[[flow.allow]]\nfrom = \"Z{from}\"\nto = \"Z{to}\"");
        }
        let pairs = (0..zones.len()).flat_map(|from| (0..zones.len()).map(move |to| (from, to)));
        let cut_off = pairs.filter(|(from, to)| !has_path_connecting(&graph, nodes[zones[*from]], nodes[zones[*to]], None));
        let expected: BTreeSet<String> = cut_off.map(|(from, to)| format!("covert/P{from}/P{to}")).collect();
        let system = system(&text);
        let found = verdicts(&system, &plan(&system, ""));
        let found: BTreeSet<String> = found.into_keys().filter(|id| id.starts_with("covert/")).collect();
        prop_assert_eq!(found, expected);
    }
}
