//! The examples of the Devicetree Specification v0.4 by their sections. Numbers and names are the specification's, from memory.

mod common;

use common::{HEAD, memory_words, read, root_value, tree};

/// Section 2.3.6: two entries of one cell each for address and size.
#[test]
fn section_2_3_6_reg() {
    let text = format!(
        "{HEAD} soc {{ #address-cells = <1>; #size-cells = <1>; dev@3000 {{ reg = <0x3000 0x20 0xFE00 0x100>; }}; }}; }};"
    );
    let tree = tree(&text);
    let device = tree.ids().find(|id| tree.path(*id) == "/soc/dev@3000").expect("it is there");
    let bytes = &tree.node(device).property("reg").expect("it has one").bytes;
    assert_eq!(bytes[..], [0, 0, 0x30, 0, 0, 0, 0, 0x20, 0, 0, 0xfe, 0, 0, 0, 1, 0]);
}

/// Section 2.3.8: the serial device at 0x4600 of the bus is at 0xe0004600 of the processor. Memory stands in for the device, since
/// only memory is translated here.
#[test]
fn section_2_3_8_ranges() {
    let soc = |ranges: &str| {
        let device = "serial@4600 { device_type = \"memory\"; reg = <0x4600 0x100>; };";
        let soc = format!(
            "soc {{ compatible = \"simple-bus\"; #address-cells = <1>; #size-cells = <1>; {ranges} {device} }};"
        );
        read(&format!("{HEAD}{soc} }};"))
    };
    let translated = soc("ranges = <0x0 0xe0000000 0x00100000>;");
    assert_eq!(memory_words(&translated.memory.expect("sound")), ["soc/serial@4600 e0004600+100"]);
    assert_eq!(memory_words(&soc("ranges;").memory.expect("sound")), ["soc/serial@4600 4600+100"]);
    assert_eq!(soc("").faults, ["E1207 3:1"], "a bus without `ranges` has addresses of its own");
    assert_eq!(soc("ranges = <0x0 0xe0000000 0x4000>;").faults.len(), 1, "no entry holds it");
}

/// Section 3.4: RAM of 2 GiB from 0 and of 4 GiB from 4 GiB, in one node and in two.
#[test]
fn section_3_4_memory() {
    let head = "/dts-v1/; / { #address-cells = <2>; #size-cells = <2>;\n";
    let one = "memory@0 { device_type = \"memory\";
        reg = <0x000000000 0x00000000 0x00000000 0x80000000
               0x000000001 0x00000000 0x00000001 0x00000000>; }; };";
    let two = "memory@0 { device_type = \"memory\"; reg = <0x000000000 0x00000000 0x00000000 0x80000000>; };
        memory@100000000 { device_type = \"memory\"; reg = <0x000000001 0x00000000 0x00000001 0x00000000>; }; };";
    let words = |text: &str| memory_words(&read(&format!("{head}{text}")).memory.expect("sound"));
    assert_eq!(words(one), ["memory@0 0+80000000 100000000+100000000"]);
    assert_eq!(words(two), ["memory@0 0+80000000", "memory@100000000 100000000+100000000"]);
}

/// Section 3.5.4: three reserved regions. As printed its memory node has no device type, and two of its regions overlap.
#[test]
fn section_3_5_4_reserved_memory() {
    let text = r#"/dts-v1/;
/ {
    #address-cells = <1>;
    #size-cells = <1>;

    memory {
        reg = <0x40000000 0x40000000>;
    };

    reserved-memory {
        #address-cells = <1>;
        #size-cells = <1>;
        ranges;

        /* global autoconfigured region for contiguous allocations */
        linux,cma {
            compatible = "shared-dma-pool";
            reusable;
            size = <0x4000000>;
            alignment = <0x2000>;
            linux,cma-default;
        };

        display_reserved: framebuffer@78000000 {
            reg = <0x78000000 0x800000>;
        };

        multimedia_reserved: multimedia@77000000 {
            compatible = "acme,multimedia-memory";
            reg = <0x77000000 0x4000000>;
        };
    };

    fb0: video@12300000 {
        memory-region = <&display_reserved>;
        /* ... */
    };
};
"#;
    let answer = read(text);
    assert_eq!(answer.faults, ["W1201 6:5"], "{}", answer.shown);
    let expected = [
        "memory 40000000+40000000",
        "linux,cma 4000000 by 2000 in [] reusable",
        "framebuffer@78000000 78000000+800000",
        "multimedia@77000000 77000000+4000000",
    ];
    assert_eq!(memory_words(&answer.memory.expect("sound")), expected);
}

/// Section 6.3: the forms of values.
#[test]
fn section_6_3_values() {
    assert_eq!(root_value("interrupts = <17 0xc>;", "interrupts"), [0, 0, 0, 17, 0, 0, 0, 12]);
    assert_eq!(root_value("clock-frequency = <0x00000001 0x00000000>;", "clock-frequency"), [0, 0, 0, 1, 0, 0, 0, 0]);
    assert_eq!(root_value("compatible = \"simple-bus\";", "compatible"), b"simple-bus\0");
    let address = [0, 0, 0x12, 0x34, 0x56, 0x78];
    assert_eq!(root_value("local-mac-address = [000012345678];", "local-mac-address"), address);
    assert_eq!(root_value("local-mac-address = [00 00 12 34 56 78];", "local-mac-address"), address);
    assert_eq!(root_value("compatible = \"ns16550\", \"ns8250\";", "compatible"), b"ns16550\0ns8250\0");
    assert_eq!(
        root_value("example = <0xf00f0000 19>, \"a strange property format\";", "example")[8..],
        *b"a strange property format\0"
    );
    let labels = "reg = reglabel: <0 sizelabel: 0x1000000>; prop = [ab cd ef byte4: 00 ff fe]; str = start: \"string value\" end: ;";
    assert_eq!(root_value(labels, "prop"), [0xab, 0xcd, 0xef, 0, 0xff, 0xfe]);
    assert_eq!(
        root_value("reg = /bits/ 8 <0x11 0x22> , /bits/ 64 <0x11223344>;", "reg"),
        [0x11, 0x22, 0, 0, 0, 0, 0x11, 0x22, 0x33, 0x44]
    );
}

/// Section 6.3: operators are those of C, with its precedence. The values are C's, by hand.
#[test]
fn section_6_3_expressions() {
    let value =
        |text: &str| u32::from_be_bytes(root_value(&format!("v = <{text}>;"), "v").try_into().expect("one cell"));
    for (text, expected) in [
        ("(2 + 3 * 4)", 14),
        ("((2 + 3) * 4)", 20),
        ("(1 << 4 | 1)", 17),
        ("(0xff & ~0xf)", 0xf0),
        ("(7 - 2 - 1)", 4),
        ("(1 ? 2 : 3)", 2),
        ("(0 ? 1 : 0 ? 2 : 3)", 3),
        ("(1 || 0 && 0)", 1),
        ("(5 > 3 == 1)", 1),
        ("(6 & 3 == 3)", 0),
        ("(10 % 4 ^ 1)", 3),
        ("(-1)", u32::MAX),
        ("(!0 + !5)", 1),
        ("(8 >> 2 != 2)", 0),
        ("('a' + 1)", 98),
        ("010", 8),
        ("0x10UL", 16),
        ("'\\n'", 10),
        ("'\\x7f'", 127),
    ] {
        assert_eq!(value(text), expected, "{text}");
    }
}

/// Sections 6.1 and 6.2: nodes come in pieces, by name and by label, and are deleted again.
#[test]
fn section_6_1_pieces_and_deletions() {
    let text = "/dts-v1/;
        / { a: one { x = <1>; y = <2>; }; two { deep { z; }; }; three { }; };
        / { one { x = <3>; inner { }; }; /delete-node/ three; };
        &a { /delete-property/ y; };
        &{/two/deep} { w; };
        /delete-node/ &{/one/inner};";
    let tree = tree(text);
    let paths: Vec<_> = tree.ids().map(|id| tree.path(id)).collect();
    assert_eq!(paths, ["/", "/one", "/two", "/two/deep"]);
    let names = |path: &str| {
        let id = tree.ids().find(|id| tree.path(*id) == path).expect("it is there");
        tree.node(id).properties.iter().map(|p| format!("{}{:?}", p.name.value, p.bytes)).collect::<Vec<_>>()
    };
    assert_eq!(names("/one"), ["x[0, 0, 0, 3]"]);
    assert_eq!(names("/two/deep"), ["z[]", "w[]"]);
}

/// Section 2.3.3: nodes that are referred to have phandles; ours are the least that no node has taken.
#[test]
fn section_2_3_3_phandles() {
    let text = "/dts-v1/; / { x = <&b &a &c>; a: a { }; b: b { phandle = <1>; }; c: c { }; path = &c; };";
    let fault = read(text).faults;
    assert_eq!(fault, ["E1201 1:76"], "properties stand before nodes");
    let tree = tree("/dts-v1/; / { x = <&b &a &c>; path = &c; a: a { }; b: b { phandle = <1>; }; c: c { }; };");
    let root = tree.node(tree.root());
    assert_eq!(root.property("x").expect("given").bytes, [0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 3]);
    assert_eq!(root.property("path").and_then(devicetree::Property::text), Some("/c"));
}
