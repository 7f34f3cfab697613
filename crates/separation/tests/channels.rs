//! Interference channels: hand-made boards, and who is reached by what against a general-purpose graph library.

mod common;

use claim::{Status, Verdict};
use common::{HEAD, plan, system, verdicts, whole};
use petgraph::graph::{NodeIndex, UnGraph};
use proptest::prelude::*;
use separation::channels::{State, list};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// A partition of one task on a core of its own.
fn partition(name: &str, core: &str) -> String {
    let head = format!("[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\ncores = [\"{core}\"]\n");
    let task =
        "[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"\nline_requests = 10\n";
    head + task
}

const CACHE: &str = r#"
[[board.cache]]
name = "L2"
level = 2
size = "1 MiB"
ways = 16
line = "64 B"
cores = ["0", "1"]
partitionable = true
"#;

const PATH: &str = r#"
[board.interconnect]
line = "64 B"
guaranteed = "1280 MB/s"
arbitration = "round-robin"
master = [{ name = "core0", core = "0" }, { name = "core1", core = "1" }, { name = "DMA" }]
"#;

const DEVICES: &str = r#"
[[board.device]]
name = "ETH0"
owner = "A"
dma_stream = "eth0"
reaches = ["A"]
[[board.device]]
name = "ETH1"
owner = "B"
shared_with = ["A"]
dma_stream = "eth1"
reaches = ["B"]
"#;

const WAYS: &str = r#"
[[cache_ways]]
cache = "L2"
core = "0"
ways = "0-7"
[[cache_ways]]
cache = "L2"
core = "1"
ways = "8-15"
"#;

fn shared(name: &str, kind: &str, more: &str) -> String {
    let head = format!("[[board.shared]]\nname = \"{name}\"\nkind = \"{kind}\"\narbiter = \"round-robin\"\n");
    format!("{head}status = \"mitigated\"\nby = \"a fence\"\nsource = \"manual, 3\"\n{more}\n")
}

fn all_declared() -> String {
    let named = [("RAM", "banks"), ("IOMMU", "translation"), ("snoops", "coherency"), ("heat", "power and heat")];
    named.map(|(name, kind)| shared(name, kind, "")).concat()
}

/// The parts of a board whose channels the test declares beside.
fn board(declared: &str) -> String {
    [CACHE, PATH, DEVICES, declared, &partition("A", "0"), &partition("B", "1")].concat()
}

fn statuses(verdicts: &BTreeMap<String, Verdict>) -> BTreeMap<&str, Status> {
    let channels = verdicts.iter().filter_map(|(id, verdict)| Some((id.strip_prefix("channel/")?, verdict.status)));
    channels.collect()
}

#[test]
fn what_no_datum_tells_is_open_and_not_analysed() {
    let system = system(&board(""));
    let verdicts = verdicts(&system, &plan(&system, WAYS));
    let found = statuses(&verdicts);
    let shown = ["cache/L2", "interconnect", "memory/RAM"].map(|id| (id, Status::Shown));
    let open = ["banks/RAM", "coherency", "device/ETH1", "power", "translation"].map(|id| (id, Status::NotAnalysed));
    let complete = [("complete", Status::NotAnalysed)];
    assert_eq!(found, shown.into_iter().chain(open).chain(complete).collect());
    let wait = verdicts["channel/interconnect"].reason.as_deref().expect("by what it is bounded");
    assert!(wait.starts_with("bounded: ") && wait.contains("of every other master, 2 in all, 100 ns"), "{wait}");
}

#[test]
fn the_integrators_word_closes_what_no_datum_tells_and_is_told_as_a_word() {
    let service = shared("ETH1", "device", "");
    let system = system(&board(&(all_declared() + &service)));
    let verdicts = verdicts(&system, &plan(&system, WAYS));
    assert!(statuses(&verdicts).values().all(|status| *status == Status::Shown), "{:?}", statuses(&verdicts));
    let banks = &verdicts["channel/banks/RAM"];
    assert_eq!(banks.reason.as_deref(), Some("mitigated: declared by the integrator: a fence (manual, 3)"));
    assert_eq!(
        verdicts["channel/complete"].reason.as_deref(),
        Some("8 channels, none open, 5 states by the integrator's word")
    );
}

#[test]
fn one_channel_left_open_is_named_by_the_complete_verdict() {
    let declared = all_declared().replace(
        "status = \"mitigated\"\nby = \"a fence\"\nsource = \"manual, 3\"\n\n[[board.shared]]\nname = \"heat\"",
        "[[board.shared]]\nname = \"heat\"",
    );
    let system = system(&board(&(declared + &shared("ETH1", "device", ""))));
    let verdicts = verdicts(&system, &plan(&system, WAYS));
    let complete = &verdicts["channel/complete"];
    let told = (complete.status, complete.bound, complete.reason.as_deref());
    assert_eq!(told, (Status::NotShown, Some(1), Some("open: coherency")));
    assert_eq!(verdicts["channel/coherency"].status, Status::NotAnalysed);
}

/// Ways that overlap are a datum, and no word closes what a datum shows to be open.
#[test]
fn ways_that_overlap_open_the_cache_whatever_is_declared() {
    let declared = all_declared() + &shared("ETH1", "device", "") + &shared("L2", "cache", "");
    let system = system(&board(&declared));
    let overlapping = WAYS.replace("8-15", "7-15");
    let verdicts = verdicts(&system, &plan(&system, &overlapping));
    assert_eq!(verdicts["channel/cache/L2"].status, Status::NotShown);
    let why = verdicts["channel/cache/L2"].reason.as_deref().expect("why it is open");
    assert_eq!(why, "open: core 0 and core 1 share 1 way");
    assert_eq!(verdicts["channel/complete"].reason.as_deref(), Some("open: cache/L2"));
}

/// Page colours keep a cache apart as ways do, and overlap as ways do; a cache whose ways nobody can give apart needs no more.
#[test]
fn colours_close_the_cache_where_no_ways_are_given() {
    let parts = board(&all_declared()).replace("partitionable = true", "coloured = true");
    let system = system(&parts.replace("guest = ", "ram = \"64 KiB\"\nguest = "));
    let text = |b: &str| {
        let one = |(who, base, colours): (&str, &str, &str)| {
            format!(
                "[[placement]]\npartition = \"{who}\"\nbase = \"{base}\"\nsize = \"1 MiB\"\n\
                 [[cache_colours]]\ncache = \"L2\"\npartition = \"{who}\"\ncolours = \"{colours}\"\n"
            )
        };
        [("A", "0x8000_0000", "0-7"), ("B", "0x9000_0000", b)].map(one).concat()
    };
    let told = |text: &str| {
        let verdict = verdicts(&system, &plan(&system, text)).remove("channel/cache/L2").expect("a claim");
        (verdict.status, verdict.reason.unwrap_or_default())
    };
    let apart = "mitigated: those who may run at once have pages of colours of their own";
    assert_eq!(told(&text("8-15")), (Status::Shown, apart.to_owned()));
    assert_eq!(told(&text("7-15")), (Status::NotShown, "open: `A` and `B` share 1 colour".to_owned()));
    assert_eq!(told("").0, Status::NotAnalysed);
}

#[test]
fn requests_that_nobody_counts_leave_the_path_open() {
    let board = board(&all_declared()).replacen("line_requests = 10\n", "", 1);
    let system = system(&board);
    let verdicts = verdicts(&system, &plan(&system, WAYS));
    let path = &verdicts["channel/interconnect"];
    assert_eq!(path.status, Status::NotAnalysed);
    assert!(
        path.reason
            .as_deref()
            .is_some_and(|why| why.contains("neither `line_requests` nor `sensitivity` of `A.t` is given"))
    );
}

#[test]
fn a_critical_setting_without_a_guard_opens_what_depends_on_it() {
    let setting = "[[board.setting]]\nname = \"snoop filter\"\nvalue = \"off\"\ncritical = true\n";
    let guarded = format!("{setting}mitigation = \"locked at boot\"\nchecked = \"periodic\"\n");
    let declared = all_declared().replace(
        "\n[[board.shared]]\nname = \"heat\"",
        "settings = [\"snoop filter\"]\n[[board.shared]]\nname = \"heat\"",
    );
    let judged = |setting: &str| {
        let system = system(&board(&(declared.clone() + setting)));
        let verdicts = verdicts(&system, &plan(&system, WAYS));
        ["channel/coherency", "setting/snoop filter"].map(|id| verdicts[id].status)
    };
    assert_eq!(judged(&guarded), [Status::Shown; 2]);
    assert_eq!(judged(setting), [Status::NotShown, Status::Violated]);
}

#[test]
fn one_master_alone_shares_nothing() {
    let head = HEAD.replace("[[board.core]]\nname = \"1\"\n", "");
    let system = whole(&(head + &partition("A", "0") + &partition("B", "0")));
    assert_eq!(list(&system, &plan(&system, "")), []);
    assert!(statuses(&verdicts(&system, &plan(&system, ""))).is_empty());
}

/// Cores of each cache, and the core of each partition.
fn random_board() -> impl Strategy<Value = (Vec<BTreeSet<usize>>, Vec<usize>)> {
    let cores = prop::collection::btree_set(0..5usize, 1..5);
    (prop::collection::vec(cores, 1..4), prop::collection::vec(0..5usize, 1..7))
}

proptest! {
    /// A cache reaches exactly the partitions at distance two in the graph of caches, cores and partitions.
    #[test]
    fn a_cache_reaches_who_is_two_steps_away((caches, partitions) in random_board()) {
        let mut text = (2..5).fold(String::new(), |text, core| text + &format!("[[board.core]]\nname = \"{core}\"\n"));
        let mut graph = UnGraph::<(), ()>::new_undirected();
        let cores: Vec<NodeIndex> = (0..5).map(|_| graph.add_node(())).collect();
        let mut of_cache = Vec::new();
        for (index, of) in caches.iter().enumerate() {
            let names: Vec<String> = of.iter().map(|core| format!("\"{core}\"")).collect();
            let size = "level = 2\nsize = \"64 KiB\"\nways = 4\nline = \"64 B\"";
            let _ = writeln!(text, "[[board.cache]]\nname = \"C{index}\"\n{size}\ncores = [{}]", names.join(", "));
            let node = graph.add_node(());
            of.iter().for_each(|core| { graph.add_edge(node, cores[*core], ()); });
            of_cache.push(node);
        }
        let mut of_partition = Vec::new();
        for (index, core) in partitions.iter().enumerate() {
            let _ = writeln!(text, "[[partition]]\nname = \"P{index}\"\nguest = \"fixed priority\"\ncores = [\"{core}\"]");
            let _ = writeln!(text, "[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"");
            let node = graph.add_node(());
            graph.add_edge(node, cores[*core], ());
            of_partition.push(node);
        }
        let system = system(&text);
        let found = list(&system, &plan(&system, ""));
        for (index, node) in of_cache.iter().enumerate() {
            let steps = petgraph::algo::dijkstra(&graph, *node, None, |_| 1u32);
            let near = |partition: &usize| steps.get(&of_partition[*partition]) == Some(&2);
            let expected: Vec<usize> = (0..partitions.len()).filter(near).collect();
            let channel = found.iter().find(|channel| channel.subject == format!("cache/C{index}"));
            let is_shared = caches[index].len() > 1;
            prop_assert_eq!(channel.is_some(), is_shared);
            let reached = channel.map(|channel| channel.partitions.iter().map(|id| id.index()).collect::<Vec<_>>());
            prop_assert_eq!(reached, is_shared.then_some(expected));
            let is_open = channel.is_none_or(|channel| channel.state == State::Open { shown: false });
            prop_assert!(is_open);
        }
    }
}
