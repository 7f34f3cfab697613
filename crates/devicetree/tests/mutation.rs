//! Whatever is done to a tree, reading it ends, with a tree or with an error that has its place, and never panics.

mod common;

use common::read;
use proptest::prelude::*;

const TREE: &str = r#"/dts-v1/;
/memreserve/ 0x80000000 0x1000;
/ {
	#address-cells = <2>;
	#size-cells = <(1 + 1)>;
	compatible = "acme,board", "acme";
	mac = [00 1f a0 42];
	memory@80000000 { device_type = "memory"; reg = <0 0x80000000 1 0>; };
	reserved-memory {
		#address-cells = <2>; #size-cells = <2>; ranges;
		/* a comment */
		hyp: hypervisor@80000000 { reg = <0 0x80000000 0 0x2000000>; no-map; };
		pool { size = <0 0x100000>; alignment = <0 0x1000>; alloc-ranges = <0 0xc0000000 0 0x1000000>; reusable; };
	};
	soc { #address-cells = <1>; #size-cells = <1>; ranges = <0 0 0xe0000000 0x100000>; // a bus
		uart0: serial@4600 { reg = <0x4600 0x100>; memory-region = <&hyp>; path = &uart0; }; };
};
&uart0 { status = "okay"; /delete-property/ path; };
"#;

/// Pieces that a hand or a broken tool may leave behind.
const TOKENS: &[&str] = &[
    "\"",
    "'",
    "<",
    ">",
    "[",
    "]",
    "{",
    "}",
    "};",
    ";",
    "(",
    ")",
    "&",
    "&{",
    "&{/soc}",
    "&hyp",
    "/",
    "//",
    "/*",
    "*/",
    "#",
    "#include",
    "\n#define A 1\n",
    "/bits/ 64",
    "/bits/",
    "/memreserve/",
    "/delete-node/",
    "/delete-property/ reg",
    "/include/ \"x\"",
    "/dts-v1/;",
    "= ;",
    "reg",
    "ranges",
    "reusable;",
    "size = <1>;",
    "#address-cells = <3>;",
    "#size-cells = <0>;",
    "device_type = \"memory\";",
    "0xffffffffffffffff",
    "-1",
    "~0",
    "1 / 0",
    "<<",
    "? 1 :",
    "\\x",
    "\\",
    "'a'",
    "l:",
    "@",
    "\0",
    "\r\n",
    "\u{feff}",
    "é",
    "phandle = <7>;",
];

#[derive(Debug, Clone)]
enum Edit {
    Delete(usize, usize),
    Insert(usize, &'static str),
    Repeat(usize, usize),
}

fn edit() -> impl Strategy<Value = Edit> {
    let (at, length) = (0..TREE.len(), 1..60usize);
    prop_oneof![
        (at.clone(), length.clone()).prop_map(|(at, length)| Edit::Delete(at, length)),
        (at.clone(), prop::sample::select(TOKENS)).prop_map(|(at, token)| Edit::Insert(at, token)),
        (at, length).prop_map(|(at, length)| Edit::Repeat(at, length)),
    ]
}

fn applied(edits: &[Edit]) -> String {
    let mut text = TREE.to_owned();
    for edit in edits {
        let (Edit::Delete(at, _) | Edit::Insert(at, _) | Edit::Repeat(at, _)) = edit;
        let at = text.floor_char_boundary((*at).min(text.len()));
        let end = |length: usize| text.floor_char_boundary((at + length).min(text.len()));
        match edit {
            Edit::Delete(_, length) => text.replace_range(at..end(*length), ""),
            Edit::Insert(_, token) => text.insert_str(at, token),
            Edit::Repeat(_, length) => {
                let again = text[at..end(*length)].to_owned();
                text.insert_str(at, &again);
            }
        }
    }
    text
}

#[test]
fn the_tree_itself_is_sound() {
    let answer = read(TREE);
    assert!(answer.faults.is_empty() && answer.memory.is_some(), "{}", answer.shown);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn reading_ends_with_a_tree_or_an_error(edits in prop::collection::vec(edit(), 1..6)) {
        let answer = read(&applied(&edits));
        let is_error = |fault: &String| fault.starts_with('E');
        prop_assert_eq!(answer.memory.is_none(), answer.faults.iter().any(is_error), "{}", answer.shown);
    }

    #[test]
    fn any_text_at_all_is_read_or_refused(text in "\\PC{0,200}") {
        let answer = read(&format!("/dts-v1/; / {{ {text}"));
        prop_assert!(answer.memory.is_some() || !answer.faults.is_empty());
    }
}
