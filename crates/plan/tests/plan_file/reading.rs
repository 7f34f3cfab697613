//! What is wrong with a plan file, found in one run, and what is left to the checks.

use crate::common;
use plan::{Coloured, Plan, read_plan, write_plan};
use proptest::prelude::*;
use quantity::MemoryId;

/// The codes of a plan with the lines they are found on, and the plan where it can be read.
fn read(text: &str) -> (Vec<(&'static str, u32)>, Option<Plan>) {
    let (system, mut sources) = common::example();
    let (plan, diagnostics) = read_plan("plan.toml", text.as_bytes(), &system, &mut sources);
    (diagnostics.iter().map(|d| (d.code.id, sources.position(d.primary.span).line)).collect(), plan)
}

#[test]
fn every_mistake_is_found_in_one_run() {
    let text = r#"[[window]]
core = "1"
partition = "NAW"
schedule = "Night"
start = "25 ms"
length = "0 ms"
every = "0 ms"

[[window]]
core = "0"
partition = "NAV"
start = "1"
lenght = "2 ms"

[[placement]]
partition = "NAV"
region = "buffers"
base = "0x8000_0000"
size = "64 MB/s"

[[cache_ways]]
cache = "L3"
core = "0"
ways = "0-9"

[[bandwidth]]
master = "core0"
budget = 5
"#;
    let (found, plan) = read(text);
    let expected = [
        ("E0109", 2),
        ("E0109", 3),
        ("E0109", 4),
        ("E0502", 5),
        ("E0501", 6),
        ("E0503", 7),
        ("E0104", 12),
        ("E0101", 13),
        ("E0506", 17),
        ("E0104", 19),
        ("E0109", 22),
        ("E0109", 27),
        ("E0103", 28),
    ];
    assert_eq!(found, expected);
    assert_eq!(plan, None);
}

#[test]
fn the_nearest_name_is_named() {
    let (system, mut sources) = common::example();
    let text = "[[window]]\ncore = \"0\"\npartition = \"NAB\"\nstart = \"0 ms\"\nlength = \"1 ms\"\n";
    let (_, diagnostics) = read_plan("plan.toml", text.as_bytes(), &system, &mut sources);
    assert_eq!(diagnostics.len(), 1);
    assert_eq!(diagnostics[0].help.as_deref(), Some("did you mean `NAV`?"));
}

#[test]
fn overlaps_are_left_to_the_checks() {
    let text = r#"
[[window]]
core = "0"
partition = "NAV"
start = "0 ms"
length = "12 ms"
every = "10 ms"

[[placement]]
partition = "NAV"
base = "0x0"
size = "4 KiB"

[[placement]]
partition = "NAV"
base = "0x0"
size = "8 KiB"
"#;
    let (found, plan) = read(&text.replace("12 ms", "10 ms"));
    assert_eq!(found, []);
    assert_eq!(plan.map(|plan| plan.memory.len()), Some(2));
    // The second one would end at 22 ms.
    assert_eq!(read(text).0, [("E0502", 6)]);
}

/// Boundaries: a window may end with the frame, not one nanosecond later; it may start one nanosecond before the end.
#[test]
fn a_window_may_end_with_the_frame() {
    let window = |start: &str, length: &str| {
        read(&format!("[[window]]\ncore = \"0\"\npartition = \"NAV\"\nstart = \"{start}\"\nlength = \"{length}\"\n")).0
    };
    assert_eq!(window("0 ns", "20 ms"), []);
    assert_eq!(window("0 ns", "20000001 ns"), [("E0502", 5)]);
    assert_eq!(window("19999999 ns", "1 ns"), []);
    assert_eq!(window("20 ms", "1 ns"), [("E0502", 4)]);
    assert_eq!(window("0 ns", "9007199254740991 ns"), [("E0502", 5)]);
}

#[test]
fn an_empty_plan_is_refused_and_so_is_what_is_no_text() {
    for empty in ["", " \n", "\u{feff}", "# nothing yet\r\n\n  # nor here"] {
        assert_eq!(read(empty), (vec![("E0511", 1)], None), "{empty:?}");
    }
    assert_eq!(read("[plan]\n"), (vec![], Some(Plan::default())), "one without windows is judged as it is");
    let (system, mut sources) = common::example();
    let (plan, diagnostics) = read_plan("plan.toml", &[0xFF], &system, &mut sources);
    assert_eq!((plan, diagnostics[0].code.id), (None, "E0003"));
    let (plan, diagnostics) = read_plan("plan.toml", b"[[window", &system, &mut sources);
    assert_eq!((plan, diagnostics[0].code.id), (None, "E0004"));
}

/// A repetition that would fill the memory is refused, not tried.
#[test]
fn endless_repetition_is_refused() {
    let text = "[[window]]\ncore = \"0\"\npartition = \"NAV\"\nstart = \"0 ms\"\nlength = \"1 ns\"\nevery = \"1 ns\"\n";
    assert_eq!(read(text).0, [("E0503", 6)]);
}

/// Banks stand in the plan as colours do, and are told as banks.
#[test]
fn banks_are_read_and_their_mistakes_told() {
    let entry = |memory: &str, banks: &str| {
        format!("[[memory_banks]]\nmemory = \"{memory}\"\npartition = \"NAV\"\nbanks = \"{banks}\"\n")
    };
    let (found, plan) = read(&entry("RAM", "0-2,7"));
    assert_eq!(found, []);
    let [grant] = &plan.expect("a plan").colours[..] else { panic!("one grant") };
    assert_eq!((grant.of, &grant.colours[..]), (Coloured::Banks(MemoryId::new(0)), &[0, 1, 2, 7][..]));
    assert_eq!(read(&(entry("RAM", "0") + &entry("RAM", "1"))).0, [("E0509", 5)]);
    assert_eq!(read(&entry("ROM", "3-1")).0, [("E0109", 2), ("E0512", 4)]);
    assert_eq!(read(&entry("RAM", "65536")).0, [("E0512", 4)]);
}

/// What one may find on the pages of the codes, to be cut up.
const TEXT: &str = r#"
[plan]
made_for = "sha256:0000000000000000000000000000000000000000000000000000000000000000"
[[window]]
core = "0"
partition = "NAV"
virtual_core = 0
start = "0 ms"
length = "2 ms"
every = "10 ms"
pinned = true
[[placement]]
partition = "NAV"
base = "0x8000_0000"
size = "4 MiB"
[[cache_ways]]
cache = "L2"
core = "0"
ways = "0-3"
[[memory_banks]]
memory = "RAM"
partition = "NAV"
banks = "0-3"
"#;

proptest! {
    /// A plan is read, or there is an error: whatever the bytes are, and no panic in either.
    #[test]
    fn broken_texts_are_answered(cuts in prop::collection::vec((0..TEXT.len(), any::<u8>(), 0..20usize), 1..6)) {
        let mut bytes = TEXT.as_bytes().to_vec();
        for (at, byte, gone) in cuts {
            let at = at.min(bytes.len());
            let end = (at + gone).min(bytes.len());
            bytes.splice(at..end, [byte]);
        }
        let (system, mut sources) = common::example();
        let (plan, diagnostics) = read_plan("plan.toml", &bytes, &system, &mut sources);
        prop_assert_eq!(plan.is_none(), diagnostics.iter().any(|d| d.is_error()));
        if let Some(plan) = plan {
            prop_assert!(!write_plan(&plan, &system).is_empty());
        }
    }
}
