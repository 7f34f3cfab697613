//! Devices, interrupts, cache ways, budgets and levels in tables made by hand.

mod common;

use claim::Status::{NotAnalysed, Shown, Violated};
use claim::{Status, Verdict};
use common::{plan, system, verdicts};
use std::collections::BTreeMap;

const TWO: &str = r#"
[[partition]]
name = "A"
guest = "fixed priority"
level = "low"
ram = "16 MiB"
[[partition.task]]
name = "t"
period = "20 ms"
priority = 1
wcet = "1 ms"
[[partition]]
name = "B"
guest = "fixed priority"
level = "high"
ram = "16 MiB"
[[partition.task]]
name = "t"
period = "20 ms"
priority = 1
wcet = "1 ms"
[[region]]
name = "pool"
size = "4 MiB"
owner = "B"
access = [{ partition = "A", rights = "r" }]
"#;

/// B's RAM ends one MiB above what 32 bits reach.
const PLACED: &str = r#"
[[placement]]
partition = "A"
base = "0x8000_0000"
size = "16 MiB"
[[placement]]
partition = "B"
base = "0xFF10_0000"
size = "16 MiB"
[[placement]]
region = "pool"
base = "0x8100_0000"
size = "4 MiB"
[[window]]
core = "0"
partition = "A"
start = "0 ms"
length = "5 ms"
[[window]]
core = "0"
partition = "B"
start = "5 ms"
length = "5 ms"
"#;

/// The status and the words of one verdict.
fn said(verdicts: &BTreeMap<String, Verdict>, id: &str) -> (Status, String) {
    let verdict = verdicts.get(id).unwrap_or_else(|| panic!("no {id} in {:?}", verdicts.keys().collect::<Vec<_>>()));
    (verdict.status, verdict.reason.clone().unwrap_or_default())
}

fn judged(device: &str) -> (claim::Status, String) {
    let system = system(&format!("[[board.device]]\nname = \"D\"\n{device}\n{TWO}"));
    said(&verdicts(&system, &plan(&system, PLACED)), "device/D")
}

#[test]
fn a_stream_reaches_what_its_owner_may_write_and_no_more() {
    let stream = |keys: &str| judged(&format!("dma_stream = \"s\"\n{keys}"));
    assert_eq!(stream("owner = \"A\"\nreaches = [\"A\"]\ndma_address_bits = 40").0, Shown);
    let (status, words) = stream("owner = \"A\"\nreaches = [\"A\", \"B\"]\ndma_address_bits = 40");
    assert_eq!((status, words.as_str()), (Violated, "its stream reaches `B`, which its owner `A` may not write"));
    assert_eq!(stream("owner = \"A\"\nreaches = [\"pool\"]").0, Violated, "reading is not writing");
    assert_eq!(stream("owner = \"B\"\nreaches = [\"pool\", \"B\"]").0, Shown);
    let (status, words) = stream("owner = \"A\"\nmemory = \"RAM\"");
    assert_eq!(status, Violated);
    assert!(
        words.contains("16 MiB of `B`") && words.contains("4 MiB of `pool`") && !words.contains("of `A`"),
        "{words}"
    );
    let (status, words) = stream("owner = \"A\"");
    assert_eq!(status, NotAnalysed, "{words}");
    assert_eq!(stream("reaches = [\"A\"]").0, NotAnalysed, "nobody owns it");
}

#[test]
fn memory_above_the_widest_address_cannot_be_reached() {
    let of_bits =
        |bits: u32| judged(&format!("owner = \"B\"\ndma_stream = \"s\"\nreaches = [\"B\"]\ndma_address_bits = {bits}"));
    let (status, words) = of_bits(32);
    assert_eq!(status, Violated);
    assert!(words.starts_with("1 MiB of `B` lie above what addresses of 32 bits reach"), "{words}");
    assert_eq!(of_bits(33).0, Shown);
    assert_eq!(of_bits(64).0, Shown);
}

#[test]
fn an_interrupt_that_is_not_kept_takes_time_from_others() {
    let line = |owner: &str, keys: &str| {
        let interrupt = format!("interrupt = [{{ line = \"7\"{keys} }}]");
        let system = system(&format!("[[board.device]]\nname = \"D\"\nowner = \"{owner}\"\n{interrupt}\n{TWO}"));
        said(&verdicts(&system, &plan(&system, PLACED)), "interrupt/7")
    };
    assert_eq!(line("A", ", core = \"0\", policy = \"pended\"").0, Shown);
    let (status, words) = line("A", ", core = \"1\", policy = \"pended\"");
    assert_eq!(status, Shown, "core 1 has no table that would say who runs there: {words}");
    let at_once = ", core = \"0\", policy = \"immediate\"";
    assert_eq!(line("A", at_once).0, NotAnalysed);
    // In 5 ms and the rest of one handler before: one each millisecond is six of 20 us.
    let (status, words) = line("A", &format!("{at_once}, min_interarrival = \"1 ms\", handler = \"20 us\""));
    assert_eq!((status, words.as_str()), (Shown, "it takes up to 120 us out of a window of 5 ms of `B`"));
    let (status, words) = line("A", &format!("{at_once}, min_interarrival = \"1 ms\", handler = \"1 ms\""));
    assert_eq!((status, words.as_str()), (Violated, "it takes up to 5 ms out of a window of 5 ms of `B`"));
    assert_eq!(line("A", ", core = \"0\"").0, NotAnalysed);
    assert_eq!(line("A", ", policy = \"pended\"").0, NotAnalysed);
}

#[test]
fn ways_are_apart_whole_and_enough() {
    let cache = "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"1 MiB\"\nways = 8\nline = \"64 B\"\ncores = [\"0\", \"1\"]\npartitionable = true\n";
    let judged = |keys: &str, grants: &[(&str, &str)]| {
        let system =
            system(&format!("{cache}{}", TWO.replacen("ram = \"16 MiB\"", &format!("ram = \"16 MiB\"\n{keys}"), 1)));
        let grant =
            |(holder, ways): &(&str, &str)| format!("[[cache_ways]]\ncache = \"L2\"\n{holder}\nways = \"{ways}\"\n");
        let text = format!("{PLACED}{}", grants.iter().map(grant).collect::<String>());
        said(&verdicts(&system, &plan(&system, &text)), "cache/L2")
    };
    let (zero, one) = ("core = \"0\"", "core = \"1\"");
    assert_eq!(judged("", &[(zero, "0-3"), (one, "4-7")]).0, Shown);
    assert_eq!(judged("", &[]).0, NotAnalysed);
    let (status, words) = judged("", &[(zero, "0-4"), (one, "4-7")]);
    assert_eq!((status, words.as_str()), (Violated, "core 0 and core 1 share 1 way"));
    assert_eq!(
        judged("", &[(zero, "0,2"), (one, "4-7")]),
        (Violated, "the ways of core 0 are not contiguous".to_owned())
    );
    assert_eq!(judged("", &[(zero, "0-3")]).0, Violated, "core 1 has none");
    let (a, b) = ("partition = \"A\"", "partition = \"B\"");
    assert_eq!(judged("", &[(a, "0-3"), (b, "4-7")]).0, Shown, "nobody runs on core 1");
    let (status, words) = judged("", &[(a, "0-3"), (one, "4-7")]);
    assert_eq!((status, words.as_str()), (Violated, "`B` uses the cache from core 0, and neither has ways"));
    // A way is 128 KiB.
    assert_eq!(judged("working_set = \"512 KiB\"", &[(zero, "0-3"), (one, "4-7")]).0, Shown);
    let (status, words) = judged("working_set = \"513 KiB\"", &[(zero, "0-3"), (one, "4-7")]);
    assert_eq!((status, words.as_str()), (Violated, "the working set of `A`, 513 KiB, passes its ways, 512 KiB"));
}

/// 100 ns a line, three masters.
#[test]
fn what_is_fetched_behind_a_switch_is_held_against_its_charge() {
    let parts = |useful: &str, evicting: &str| {
        let keyed = TWO.replacen("ram = \"16 MiB\"", &format!("ram = \"16 MiB\"\n{useful}"), 1);
        let end = keyed.rfind("ram = \"16 MiB\"").expect("that of B");
        let (a, b) = keyed.split_at(end);
        let masters = "[[board.interconnect.master]]\nname = \"0\"\ncore = \"0\"\n[[board.interconnect.master]]\nname = \"1\"\n\
                       core = \"1\"\n[[board.interconnect.master]]\nname = \"dma\"\n";
        let path = "[board.interconnect]\nline = \"64 B\"\nguaranteed = \"640 MB/s\"\narbitration = \"round-robin\"\n";
        let cache = "[[board.cache]]\nname = \"L1\"\nlevel = 1\nsize = \"32 KiB\"\nways = 4\nline = \"64 B\"\ncores = [\"0\"]\n";
        format!("{cache}{path}{masters}[platform]\nrefill = \"30 us\"\n{a}{evicting}\n{b}")
    };
    let judged = |useful: &str, evicting: &str| {
        let system = system(&parts(useful, evicting));
        verdicts(&system, &plan(&system, PLACED)).remove("cache/refill/A")
    };
    assert!(judged("", "").is_none(), "nobody asked");
    let found = judged("useful_lines = 100", "").expect("a claim");
    assert_eq!((found.status, found.bound), (Shown, Some(30_000)));
    let over = judged("useful_lines = 101", "").expect("a claim");
    assert_eq!((over.status, over.bound), (Status::NotShown, Some(30_300)));
    // Each of the others' lines can push out a set of four.
    let few = judged("useful_lines = 101", "evicting_lines = 20").expect("a claim");
    assert_eq!((few.status, few.bound), (Shown, Some(80 * 300)));
}

#[test]
fn what_rises_is_checked_where_it_is_read() {
    let channel = "[[channel]]\nname = \"C\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"A.t\"\nto = [\"B.t\"]\n";
    let judged = |parts: &str| {
        let system = system(parts);
        verdicts(&system, &plan(&system, ""))
    };
    let (status, words) = said(&judged(&format!("{TWO}{channel}")), "criticality/C");
    assert_eq!(status, Violated);
    assert!(words.starts_with("channel C goes from A (low) to B (high) unchecked"), "{words}");
    let checked = format!("{TWO}{channel}checks = \"range\"\n");
    assert_eq!(said(&judged(&checked), "criticality/C"), (Shown, "B.t checks: range".to_owned()));
    assert!(
        !judged(&format!("{TWO}{}", channel.replace("A.t", "X").replace("B.t", "A.t").replace('X', "B.t")))
            .contains_key("criticality/C")
    );
    let nobody = format!("{}{channel}", TWO.replacen("level = \"low\"\n", "", 1));
    assert_eq!(said(&judged(&nobody), "criticality/C"), (NotAnalysed, "`A` declares no level".to_owned()));
    let shared = TWO.replace("rights = \"r\"", "rights = \"rw\"");
    assert_eq!(said(&judged(&shared), "criticality/region/pool").0, Violated, "A may write what B reads");
}

#[test]
fn what_is_reserved_does_not_pass_what_the_memory_keeps_up() {
    let board = "[board.interconnect]\nline = \"64 B\"\nguaranteed = \"100 MB/s\"\narbitration = \"round-robin\"\n\
                 [[board.interconnect.master]]\nname = \"c0\"\ncore = \"0\"\n[[board.interconnect.master]]\nname = \"c1\"\ncore = \"1\"\n\
                 [[board.interconnect.master]]\nname = \"dma\"\n\
                 [[board.device]]\nname = \"D\"\nowner = \"A\"\ndma_stream = \"s\"\ndma_rate = \"20 MB/s\"\nreaches = [\"A\"]\n\
                 [platform.regulation]\nperiod = \"1 ms\"\ngranule = \"1 kB\"\n";
    let judged = |budgets: [&str; 3]| {
        let system = system(&format!("{board}{TWO}"));
        let names = ["c0", "c1", "dma"];
        let text = names.iter().zip(budgets).filter(|(_, budget)| !budget.is_empty());
        let text = text.map(|(name, budget)| format!("[[bandwidth]]\nmaster = \"{name}\"\nbudget = \"{budget}\"\n"));
        verdicts(&system, &plan(&system, &text.collect::<String>()))
    };
    let full = judged(["40 MB/s", "40 MB/s", "20 MB/s"]);
    assert_eq!((full["bandwidth/memory"].status, full["bandwidth/memory"].bound), (Shown, Some(1_000_000)));
    assert_eq!((full["bandwidth/dma"].status, full["bandwidth/dma"].bound), (Shown, Some(1_000_000)));
    let over = judged(["40 MB/s", "41 MB/s", "20 MB/s"]);
    assert_eq!((over["bandwidth/memory"].status, over["bandwidth/memory"].bound), (Violated, Some(1_010_000)));
    assert_eq!(judged(["40 MB/s", "40 MB/s", "19 MB/s"])["bandwidth/dma"].status, Violated);
    let odd = said(&judged(["40 MB/s", "39999500 B/s", "20 MB/s"]), "bandwidth/memory");
    assert_eq!(odd, (Violated, "the budget of `c1` is no whole number of steps in a regulation period".to_owned()));
    assert_eq!(judged(["40 MB/s", "", "20 MB/s"])["bandwidth/memory"].status, NotAnalysed);
}
