//! Wrong trees: each is refused with its place and what to do.

mod common;

use common::{HEAD, memory_words, read};

/// The faults of what stands within a root of one cell each, at lines from 3.
fn within_root(body: &str) -> Vec<String> {
    read(&format!("{HEAD}{body}\n}};")).faults
}

#[test]
fn slips_of_the_grammar_have_their_places() {
    for (text, expected) in [
        ("", "E1201 1:1"),
        ("/ { };", "E1201 1:1"),
        ("/dts-v1/", "E1201 1:9"),
        ("/dts-v1/;", "E1201 1:10"),
        ("/dts-v1/; / { a = <1>", "E1201 1:22"),
        ("/dts-v1/; / { a = <1> };", "E1201 1:23"),
        ("/dts-v1/; / { a = ; };", "E1201 1:19"),
        ("/dts-v1/; / { a = <X>; };", "E1201 1:20"),
        ("/dts-v1/; / { a = <-1>; };", "E1201 1:20"),
        ("/dts-v1/; / { a = <1 2; };", "E1201 1:23"),
        ("/dts-v1/; / { a = \"open; };", "E1201 1:19"),
        ("/dts-v1/; / { a = [0]; };", "E1201 1:20"),
        ("/dts-v1/; / { a = [0g]; };", "E1201 1:20"),
        ("/dts-v1/; / { a { } };", "E1201 1:21"),
        ("/dts-v1/; / { a { };", "E1201 1:21"),
        ("/dts-v1/; / { /* open };", "E1201 1:15"),
        ("/dts-v1/; / { a@ { }; };", "E1201 1:15"),
        ("/dts-v1/; / { a@1@2 { }; };", "E1201 1:15"),
        ("/dts-v1/; / { b?c { }; };", "E1201 1:15"),
        ("/dts-v1/; / { n { }; p; };", "E1201 1:22"),
        ("/dts-v1/; / { a = <(1 + )>; };", "E1201 1:25"),
        ("/dts-v1/; / { a = <(1 + 2>; };", "E1201 1:27"),
        ("/dts-v1/; / { a = /bits/ 64 <&a>; };", "E1201 1:30"),
        ("/dts-v1/; / { }; nonsense", "E1201 1:18"),
        ("/dts-v1/; / { }; }", "E1201 1:18"),
        ("/dts-v1/; / { /omit-if-no-ref/ a { }; };", "E1201 1:15"),
        ("/dts-v1/; /plugin/; / { };", "E1201 1:11"),
        ("/dts-v1/; / { }; /delete-node/ &{/};", "E1201 1:32"),
        ("/dts-v1/;\n#include \"soc.dtsi\"\n/ { };", "E1202 2:1"),
        ("/dts-v1/;\n  # define A 1\n/ { };", "E1202 2:3"),
        ("# 1 \"board.dts\"\n/dts-v1/; / { };", "E1202 1:1"),
        ("/dts-v1/; /include/ \"a.dtsi\" / { };", "E1202 1:11"),
        ("/dts-v1/; / { a = /incbin/(\"x\"); };", "E1202 1:19"),
        ("/dts-v1/; / { a = <&b>; };", "E1203 1:20"),
        ("/dts-v1/; / { a = &{/b/c}; };", "E1203 1:19"),
        ("/dts-v1/; / { }; &b { };", "E1203 1:18"),
        ("/dts-v1/; / { l: a { }; l: b { }; };", "E1204 1:25"),
        ("/dts-v1/; / { p; p = <1>; };", "E1204 1:18"),
        ("/dts-v1/; / { a { }; a { }; };", "E1204 1:22"),
        ("/dts-v1/; / { a = <0x100000000>; };", "E1205 1:20"),
        ("/dts-v1/; / { a = <0x10000000000000000>; };", "E1205 1:20"),
        ("/dts-v1/; / { a = /bits/ 8 <256>; };", "E1205 1:29"),
        ("/dts-v1/; / { a = /bits/ 12 <1>; };", "E1205 1:26"),
        ("/dts-v1/; / { a = <(1 / 0)>; };", "E1205 1:23"),
        ("/dts-v1/; / { a = <(1 << 64)>; };", "E1205 1:23"),
        ("/dts-v1/; / { a { phandle = <0>; }; };", "E1205 1:29"),
    ] {
        let answer = read(text);
        assert_eq!(answer.faults, [expected], "{text}\n{}", answer.shown);
        assert!(answer.tree.is_none());
    }
}

#[test]
fn one_reading_finds_every_fault() {
    let text = "/dts-v1/;\n/ {\n a = <X>;\n d = \"fine\";\n b { c = ; };\n e { f { g = [1]; }; };\n};\n&nobody { };\n";
    assert_eq!(read(text).faults, ["E1201 3:7", "E1201 5:10", "E1201 6:15", "E1203 8:1"]);
}

#[test]
fn a_tree_too_deep_or_too_large_is_refused() {
    let nested = |depth: usize| format!("/dts-v1/; / {{ {} {} }};", "n { ".repeat(depth), "}; ".repeat(depth));
    assert!(read(&nested(devicetree::MOST_DEPTH - 1)).tree.is_some());
    let answer = read(&nested(devicetree::MOST_DEPTH));
    assert_eq!(answer.faults.len(), 1);
    assert!(answer.faults[0].starts_with("E0007"), "{}", answer.shown);
    assert!(read(&nested(200_000)).tree.is_none());
    let parentheses = |depth: usize| format!("/dts-v1/; / {{ a = <{}1{}>; }};", "(".repeat(depth), ")".repeat(depth));
    assert!(read(&parentheses(devicetree::MOST_DEPTH)).tree.is_some());
    assert!(read(&parentheses(200_000)).tree.is_none());
    assert!(read(&format!("/dts-v1/; / {{ a = <({}1)>; }};", "-".repeat(200_000))).tree.is_none());
    let many: String = (0..=devicetree::MOST_ELEMENTS).map(|index| format!("p{index};")).collect();
    assert!(read(&format!("/dts-v1/; / {{ {many} }};")).faults[0].starts_with("E0007"));
    // Each reference of three letters becomes a path of thousands.
    let path: String = (0..60).map(|_| format!("{} {{ ", "n".repeat(250))).collect();
    let references = vec!["&l"; 2000].join(",");
    let wide = format!("/dts-v1/; / {{ a = {references}; {path} l: end {{ }}; {} }};", "}; ".repeat(60));
    assert!(read(&wide).faults[0].starts_with("E0007"));
}

#[test]
fn memory_is_refused_where_it_is_not_told_whole() {
    let memory = |keys: &str| within_root(&format!("memory@0 {{ device_type = \"memory\"; {keys} }};"));
    assert_eq!(memory("reg = <0 0x1000>;"), [""; 0]);
    assert_eq!(memory(""), ["E1206 3:1"]);
    assert_eq!(memory("reg = <0>;"), ["E1206 3:42"]);
    assert_eq!(memory("reg;"), ["E1206 3:36"]);
    assert_eq!(memory("reg = \"ab\";"), ["E1206 3:42"]);
    let wide = "/dts-v1/; / { #address-cells = <2>; #size-cells = <2>; memory@0 { device_type = \"memory\"; reg = ";
    assert_eq!(read(&format!("{wide}<0xffffffff 0xfffff000 0 0x1000>; }}; }};")).faults, [""; 0], "it ends at 2^64");
    assert_eq!(read(&format!("{wide}<0xffffffff 0xfffff000 0 0x1001>; }}; }};")).faults, ["E1207 1:97"]);
    let three = "/dts-v1/; / { #address-cells = <3>; memory@0 { device_type = \"memory\"; reg = <0 0 0 1>; }; };";
    assert_eq!(read(three).faults, ["E1206 1:32"]);
    let absent = within_root("memory@0 { device_type = \"memory\"; status = \"disabled\"; };");
    assert_eq!(absent, [""; 0], "what is not there needs no place");
}

#[test]
fn cells_are_two_and_one_where_they_are_not_given_and_are_not_handed_down() {
    let text = "/dts-v1/; / { memory@0 { device_type = \"memory\"; reg = <0 0x1000 0x200>; }; };";
    assert_eq!(memory_words(&read(text).memory.expect("sound")), ["memory@0 1000+200"]);
    let below = "bus { ranges; memory@0 { device_type = \"memory\"; reg = <0 0x1000 0x200>; }; };";
    let answer = read(&format!("{HEAD}{below} }};"));
    assert_eq!(memory_words(&answer.memory.expect("sound")), ["bus/memory@0 1000+200"]);
}

#[test]
fn reserved_memory_that_contradicts_itself_is_refused() {
    let parent = |keys: &str, child: &str| within_root(&format!("reserved-memory {{ {keys}\n{child}\n}};"));
    let keys = "#address-cells = <1>; #size-cells = <1>; ranges;";
    let child = |keys_of_child: &str| parent(keys, &format!("r@1000 {{ {keys_of_child} }};"));
    assert_eq!(child("reg = <0x1000 0x1000>; no-map;"), [""; 0]);
    assert_eq!(child("reg = <0x1000 0x1000>; no-map; reusable;"), ["E1208 4:33"]);
    assert_eq!(child("no-map;"), ["E1208 4:1"]);
    assert_eq!(child("size = <0>;"), ["E1208 4:17"]);
    assert_eq!(child("size = <1 2>;"), ["E1208 4:17"]);
    assert_eq!(child("size = <0x1000>; alignment = <0>;"), ["E1208 4:39"]);
    assert_eq!(child("size = <0x1000>; alloc-ranges = <0>;"), ["E1206 4:42"]);
    assert_eq!(child("reg = <0x1000 0x1000 0x3000>;"), ["E1206 4:16"]);
    assert_eq!(child("status = \"disabled\";"), [""; 0], "what is not there is not looked at");
    let whole = "r@1000 { reg = <0x1000 0x1000>; };";
    assert_eq!(parent("#address-cells = <1>; #size-cells = <1>;", whole), ["E1207 3:1"]);
    assert_eq!(parent("#address-cells = <1>; ranges;", whole), ["E1206 3:1"]);
    assert_eq!(parent("#address-cells = <2>; #size-cells = <1>; ranges;", whole), ["E1206 3:1"]);
    let moved = "#address-cells = <1>; #size-cells = <1>; ranges = <0 0x80000000 0x10000>;";
    assert_eq!(parent(moved, whole), [""; 0]);
}

#[test]
fn a_reservation_at_the_head_of_the_file_counts() {
    let answer = read("/dts-v1/; /memreserve/ 0x1000 (4 * 1024); l: /memreserve/ 0x8000 0; / { };");
    assert_eq!(memory_words(&answer.memory.expect("sound")), ["memreserve@1000 1000+1000"]);
    assert_eq!(read("/dts-v1/; /memreserve/ 0xffffffffffffffff 2; / { };").faults, ["E1207 1:11"]);
}
