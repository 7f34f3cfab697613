//! The board's devicetree against file and plan, in trees made by hand.

mod common;

use claim::Status::{NotAnalysed, NotShown, Shown, Violated};
use claim::{Status, Verdict};
use common::{plan, system_with_tree};
use std::collections::BTreeMap;

/// The partitions and the region of every system here.
const PARTS: &str = r#"
[[partition]]
name = "CTRL"
guest = "opaque"
need = { budget = "1 ms", period = "20 ms" }
ram = "16 MiB"
[[partition]]
name = "B"
guest = "opaque"
need = { budget = "1 ms", period = "20 ms" }
ram = "16 MiB"
[[region]]
name = "Port buffers"
size = "4 MiB"
owner = "hypervisor"
"#;

const PLACED: &str = r#"
[[placement]]
partition = "CTRL"
base = "0x8000_0000"
size = "16 MiB"
[[placement]]
partition = "B"
base = "0x8200_0000"
size = "16 MiB"
[[placement]]
region = "Port buffers"
base = "0x8400_0000"
size = "4 MiB"
"#;

/// All of the board's 4 GiB from 2 GiB.
const WHOLE: &str = "memory@80000000 { device_type = \"memory\"; reg = <0 0x80000000 1 0>; };";

/// The verdicts about a tree with these nodes in its root and in `/reserved-memory`, under the keys of its table.
fn judged(keys: &str, parts: &str, nodes: &str, reserved: &str) -> BTreeMap<String, Verdict> {
    let cells = "#address-cells = <2>; #size-cells = <2>;";
    let reserved = format!("reserved-memory {{ {cells} ranges;\n{reserved}\n}};");
    let tree = format!("/dts-v1/;\n/ {{ {cells}\n{nodes}\n{reserved} }};\n");
    let system = system_with_tree(&format!("{parts}\n[board.devicetree]\nsource = \"board.dts\"\n{keys}"), &tree);
    let verdicts = separation::check(&system, &plan(&system, PLACED));
    verdicts.into_iter().filter(|v| v.id.starts_with("memory/tree/")).map(|v| (v.id.clone(), v)).collect()
}

fn said(verdicts: &BTreeMap<String, Verdict>, id: &str) -> (Status, String) {
    let verdict = verdicts.get(id).unwrap_or_else(|| panic!("no {id} in {:?}", verdicts.keys().collect::<Vec<_>>()));
    (verdict.status, verdict.reason.clone().unwrap_or_default())
}

#[test]
fn memory_is_on_both_sides_or_told() {
    let whole = judged("", PARTS, WHOLE, "");
    assert!(whole.values().all(|verdict| verdict.status == Shown), "{whole:#?}");
    assert_eq!(whole.keys().collect::<Vec<_>>(), ["memory/tree/board/RAM", "memory/tree/memory/memory@80000000"]);
    let short = judged("", PARTS, &WHOLE.replace("1 0>", "0 0xfffff000>"), "");
    let words = "the devicetree has no memory where `RAM` has 4 KiB from 0x1_7FFF_F000";
    assert_eq!(said(&short, "memory/tree/board/RAM"), (Violated, words.to_owned()));
    assert_eq!(said(&short, "memory/tree/memory/memory@80000000").0, Shown);
    let long = judged("", PARTS, &WHOLE.replace("0 0x80000000 1 0", "0 0x7ffff000 1 0x2000"), "");
    let (status, words) = said(&long, "memory/tree/memory/memory@80000000");
    assert_eq!(status, Violated);
    assert!(
        words.contains("4 KiB from 0x7FFF_F000 and 4 KiB from 0x1_8000_0000") && words.contains("(line 3 of the tree)"),
        "{words}"
    );
}

#[test]
fn what_is_reserved_is_where_its_owner_is_placed() {
    let reserved = |node: &str| judged("", PARTS, WHOLE, node);
    let at = |node: &str| {
        let verdicts = reserved(node);
        let id = verdicts.keys().find(|id| id.starts_with("memory/tree/reserved/")).expect("one").clone();
        said(&verdicts, &id)
    };
    assert_eq!(
        at("port-buffers@84000000 { reg = <0 0x84000000 0 0x400000>; no-map; };"),
        (Shown, "it is for `Port buffers`".to_owned())
    );
    assert_eq!(at("x: b { reg = <0 0x82000000 0 0x1000000>; };").0, Shown, "a node named as the partition");
    assert_eq!(at("port_buffers: pool { reg = <0 0x84000000 0 0x400000>; };").0, Shown, "a label named as the region");
    let moved = "port-buffers@84001000 { reg = <0 0x84001000 0 0x400000>; };";
    let words =
        "the tree (line 5) reserves 4 MiB from 0x8400_1000, the plan places `Port buffers` at 4 MiB from 0x8400_0000";
    assert_eq!(at(moved), (Violated, words.to_owned()));
    let reused = at("port-buffers { reg = <0 0x84000000 0 0x400000>; reusable; };");
    assert_eq!(reused.0, Violated);
    assert!(reused.1.starts_with("it is `reusable`"), "{}", reused.1);
    let foreign = at("firmware@82fff000 { reg = <0 0x82fff000 0 0x2000>; no-map; };");
    assert_eq!(
        foreign,
        (Violated, "4 KiB from 0x82FF_F000 of `B` are reserved and must not be mapped (line 5 of the tree)".to_owned())
    );
    assert_eq!(
        at("firmware@83000000 { reg = <0 0x83000000 0 0x1000>; };"),
        (Shown, "the plan places nothing there".to_owned())
    );
    let disabled = reserved("firmware@82000000 { status = \"disabled\"; reg = <0 0x82000000 0 0x1000>; };");
    assert_eq!(disabled.len(), 2, "what is disabled does not count");
}

#[test]
fn an_owner_may_be_named_by_node_or_label() {
    let parts = PARTS.replace("owner = \"hypervisor\"", "owner = \"hypervisor\"\nreserved_as = \"rsv\"");
    let node = "rsv: pool@84000000 { reg = <0 0x84000000 0 0x400000>; };";
    assert_eq!(said(&judged("", &parts, WHOLE, node), "memory/tree/reserved/pool@84000000").0, Shown);
    let by_node = parts.replace("\"rsv\"", "\"pool@84000000\"");
    assert_eq!(said(&judged("", &by_node, WHOLE, node), "memory/tree/reserved/pool@84000000").0, Shown);
    assert_eq!(
        said(&judged("", PARTS, WHOLE, node), "memory/tree/reserved/pool@84000000").0,
        Violated,
        "nobody says so"
    );
}

#[test]
fn two_nodes_do_not_reserve_the_same() {
    let nodes = "a@90000000 { reg = <0 0x90000000 0 0x2000>; }; c@90001000 { reg = <0 0x90001000 0 0x2000>; };";
    let verdicts = judged("", PARTS, WHOLE, nodes);
    let words = "`c@90001000` (line 5) reserves 4 KiB from 0x9000_1000 too";
    assert_eq!(said(&verdicts, "memory/tree/reserved/a@90000000"), (Violated, words.to_owned()));
    assert_eq!(said(&verdicts, "memory/tree/reserved/c@90001000").0, Violated);
}

/// For boot loaders that know no nodes, the head of the file may say the same again.
#[test]
fn a_reservation_that_repeats_a_node_is_for_its_owner() {
    let judged = |reservation: &str| {
        let cells = "#address-cells = <2>; #size-cells = <2>;";
        let node = "b@82000000 { reg = <0 0x82000000 0 0x1000000>; };";
        let tree = format!(
            "/dts-v1/;\n/memreserve/ {reservation};\n/ {{ {cells}\n{WHOLE}\nreserved-memory {{ {cells} ranges; {node} }}; }};\n"
        );
        let system = system_with_tree(&format!("{PARTS}\n[board.devicetree]\nsource = \"board.dts\"\n"), &tree);
        let verdicts = separation::check(&system, &plan(&system, PLACED));
        let found =
            verdicts.into_iter().find(|v| v.id.starts_with("memory/tree/reserved/memreserve")).expect("a claim");
        (found.status, found.reason.unwrap_or_default())
    };
    assert_eq!(judged("0x82000000 0x1000000"), (Shown, "it is for `B`".to_owned()));
    assert_eq!(judged("0x90000000 0x1000"), (Shown, "the plan places nothing there".to_owned()));
    let more = judged("0x82000000 0x2000000");
    assert_eq!(more.0, Violated, "it reserves more than the node does: {}", more.1);
}

#[test]
fn what_is_chosen_at_boot_is_clear_of_the_plan_or_not_shown() {
    let chosen =
        |keys: &str| said(&judged("", PARTS, WHOLE, &format!("cma {{ {keys} }};")), "memory/tree/reserved/cma");
    let (status, words) = chosen("size = <0 0x100000>;");
    assert_eq!(status, NotShown);
    assert!(words.contains("may lie over `CTRL`"), "{words}");
    assert_eq!(chosen("size = <0 0x100000>; alloc-ranges = <0 0xa0000000 0 0x1000000>;").0, Shown);
    assert_eq!(chosen("size = <0 0x100000>; alloc-ranges = <0 0x82ffff00 0 0x1000000>;").0, NotShown);
    assert_eq!(
        chosen("size = <0 0x2000000>; alloc-ranges = <0 0xa0000000 0 0x1000000>;").0,
        Violated,
        "it does not fit"
    );
    let kept = "cma { size = <0 0x1000>; alloc-ranges = <0 0x82000000 0 0x2000000>; }; b@82000000 { reg = <0 0x82000000 0 0x1000000>; };";
    assert_eq!(
        said(&judged("", PARTS, WHOLE, kept), "memory/tree/reserved/cma").0,
        Shown,
        "it avoids what is reserved"
    );
    let mine = "port-buffers { size = <0 0x400000>; };";
    assert_eq!(said(&judged("", PARTS, WHOLE, mine), "memory/tree/reserved/port-buffers").0, Violated);
}

#[test]
fn whoever_is_given_the_tree_takes_what_it_does_not_reserve() {
    let user = "user = \"CTRL\"\n";
    let b = "b@82000000 { reg = <0 0x82000000 0 0x1000000>; };";
    let verdicts = judged(user, PARTS, WHOLE, b);
    assert_eq!(said(&verdicts, "memory/tree/placed/B").0, Shown);
    let words = "`CTRL` is given the tree and uses 4 MiB from 0x8400_0000, which it does not reserve";
    assert_eq!(said(&verdicts, "memory/tree/placed/Port buffers"), (Violated, words.to_owned()));
    assert!(!verdicts.contains_key("memory/tree/placed/CTRL"));
    let reusable = judged(user, PARTS, WHOLE, &b.replace("0x1000000>;", "0x1000000>; reusable;"));
    assert_eq!(said(&reusable, "memory/tree/placed/B").0, Violated);
}

#[test]
fn an_owner_without_a_place_is_not_analysed() {
    let parts = format!("{PARTS}\n[[region]]\nname = \"late\"\nsize = \"4 KiB\"\nowner = \"hypervisor\"\n");
    let verdicts = judged("", &parts, WHOLE, "late@90000000 { reg = <0 0x90000000 0 0x1000>; };");
    assert_eq!(said(&verdicts, "memory/tree/reserved/late@90000000").0, NotAnalysed);
}
