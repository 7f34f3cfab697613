//! Guards, contents, rights and page colours in tables made by hand; memory maps byte by byte and against a library for ranges.

mod common;

use claim::Status;
use claim::Status::{NotAnalysed, Shown, Violated};
use common::{HEAD, partition, placement, plan, said, system, verdicts, whole, window};
use plan::{Placed, Placement, Plan};
use proptest::prelude::*;
use quantity::{Address, Bytes, PartitionId};
use rangemap::RangeSet;

#[test]
fn a_guard_is_free_on_both_sides() {
    let judged = |guard: &str, other: u64| {
        let system = system(&[partition("A", guard, ""), partition("B", "", "")].concat());
        let text =
            placement("partition = \"A\"", 0x9000_0000, "1 MiB") + &placement("partition = \"B\"", other, "1 MiB");
        said(&verdicts(&system, &plan(&system, &text)), "memory/A")
    };
    let guard = "guard = \"64 KiB\"";
    assert_eq!(judged("", 0x9010_0000).0, Shown, "touching, and no guard asked for");
    assert_eq!(judged(guard, 0x9011_0000).0, Shown, "exactly the guard");
    assert_eq!(judged(guard, 0x8fef_0000).0, Shown, "exactly the guard before it");
    let words = "`B` has 4 KiB from 0x9010_F000 of the guard of 64 KiB behind it";
    assert_eq!(judged(guard, 0x9010_f000), (Violated, words.to_owned()));
    let words = "`B` has 64 KiB from 0x8FFF_0000 of the guard of 64 KiB before it";
    assert_eq!(judged(guard, 0x8ff0_0000), (Violated, words.to_owned()));
}

/// The memory of the board is 4 GiB from 2 GiB: it ends at 6 GiB, and 33 bits reach 8 GiB.
#[test]
fn what_no_address_reaches_is_told() {
    let judged = |bits: &str, base: u64, size: &str| {
        let head = HEAD.replace("name = \"board\"\n", &format!("name = \"board\"\n{bits}"));
        let system = whole(&(head + &partition("A", "", "")));
        said(&verdicts(&system, &plan(&system, &placement("partition = \"A\"", base, size))), "memory/A")
    };
    let bits = "address_bits = 33\n";
    assert_eq!(judged(bits, 0x1_7ff0_0000, "1 MiB").0, Shown, "the last of the memory");
    let told = |base, size| judged(bits, base, size).1;
    assert_eq!(told(0x1_7ff0_0000, "2 MiB"), "1 MiB lie outside `RAM`");
    assert_eq!(
        told(0x1_ffff_f000, "1 MiB"),
        "1 MiB lie outside `RAM`, 1020 KiB of them above what addresses of 33 bits reach"
    );
    assert_eq!(
        told(0x2_0000_0000, "1 MiB"),
        "1 MiB lie outside `RAM`, 1 MiB of them above what addresses of 33 bits reach"
    );
    assert_eq!(
        judged("", u64::MAX - 0x1f_ffff, "1 MiB"),
        (Violated, "1 MiB lie outside `RAM`".to_owned()),
        "64 bits reach all"
    );
}

#[test]
fn image_heap_and_stacks_fit_into_the_ram() {
    let judged = |keys: &str, stack: &str| {
        let system = system(&partition("A", keys, stack));
        verdicts(&system, &plan(&system, &placement("partition = \"A\"", 0x9000_0000, "1 MiB")))
    };
    let id = "memory/contents/A";
    let fits = judged("image = \"512 KiB\"\nheap = \"448 KiB\"", "stack = \"64 KiB\"");
    assert_eq!((fits[id].status, fits[id].bound, fits[id].limit), (Shown, Some(1 << 20), Some(1 << 20)));
    let (status, words) = said(&judged("image = \"512 KiB\"\nheap = \"448 KiB\"", "stack = \"65 KiB\""), id);
    assert_eq!(
        (status, words.as_str()),
        (Violated, "the image of 512 KiB, the heap of 448 KiB and stacks of 65 KiB take 1025 KiB of 1 MiB")
    );
    let left = judged("image = \"512 KiB\"\nheap = \"0 B\"\nram_margin = \"50 %\"", "stack = \"4 KiB\"");
    assert_eq!((left[id].status, left[id].limit), (Violated, Some(1 << 19)));
    assert!(!judged("image = \"512 KiB\"", "").contains_key(id), "nobody asks");
    let missing = |keys: &str, stack: &str| said(&judged(keys, stack), id);
    assert_eq!(missing("heap = \"4 KiB\"", "stack = \"4 KiB\""), (NotAnalysed, "`A` declares no `image`".to_owned()));
    assert_eq!(missing("image = \"4 KiB\"", "stack = \"4 KiB\""), (NotAnalysed, "`A` declares no `heap`".to_owned()));
    assert_eq!(
        missing("image = \"4 KiB\"\nheap = \"4 KiB\"", ""),
        (NotAnalysed, "`A.t` declares no `stack`".to_owned())
    );
}

#[test]
fn what_is_written_is_not_executed_and_has_one_writer() {
    let judged = |keys: &str| {
        let region = format!("[[region]]\nname = \"R\"\nsize = \"4 KiB\"\n{keys}\n");
        let system = system(&[partition("A", "", ""), partition("B", "", ""), region].concat());
        verdicts(&system, &plan(&system, ""))
    };
    let (rights, writers) = ("memory/rights/R", "memory/writers/R");
    let both = |a: &str, b: &str| {
        format!("access = [{{ partition = \"A\", rights = \"{a}\" }}, {{ partition = \"B\", rights = \"{b}\" }}]")
    };
    let fine = judged(&format!("owner = \"shared\"\n{}", both("rw", "r")));
    assert_eq!((fine[rights].status, fine[writers].status), (Shown, Shown));
    let alone = judged(&format!("owner = \"shared\"\n{}", both("rwx", "r")));
    assert_eq!(said(&alone, rights), (Violated, "`A` may both write and execute it".to_owned()));
    let other = judged(&format!("owner = \"shared\"\n{}", both("rw", "rx")));
    assert_eq!(said(&other, rights), (Violated, "`A` may write what `B` may execute".to_owned()));
    let excused = judged(&format!("owner = \"shared\"\n{}\nwritable_code = \"loader\"", both("rw", "rx")));
    assert_eq!(said(&excused, rights), (Shown, "`A` may write what `B` may execute: loader".to_owned()));
    let two = judged(&format!("owner = \"shared\"\n{}", both("rw", "rw")));
    assert_eq!(two[writers].status, Violated);
    let agreed = judged(&format!("owner = \"shared\"\n{}\nprotocol = \"one slot each\"", both("rw", "rw")));
    assert_eq!(said(&agreed, writers), (Shown, "`A` and `B` write it: one slot each".to_owned()));
    let a_writes = "access = [{ partition = \"A\", rights = \"w\" }]";
    assert_eq!(said(&judged(&format!("owner = \"B\"\n{a_writes}")), writers).0, Violated, "an owner may write");
    let read_only = judged(&format!("owner = \"B\"\nowner_rights = \"rx\"\n{a_writes}"));
    assert_eq!(said(&read_only, writers).0, Shown, "this owner may not");
    assert_eq!(said(&read_only, rights).0, Violated);
    assert!(!judged("owner = \"B\"").contains_key(rights), "nothing is declared");
}

#[test]
fn a_region_of_the_hypervisor_is_reached_by_nobody_undeclared() {
    let region = "[[region]]\nname = \"H\"\nsize = \"1 MiB\"\nowner = \"hypervisor\"\n";
    let judged = |access: &str, device: &str, base: u64| {
        let device = format!("[[board.device]]\nname = \"D\"\nowner = \"A\"\n{device}\n");
        let system = system(&[device, partition("A", "", ""), format!("{region}{access}\n")].concat());
        let text = placement("region = \"H\"", 0x9000_0000, "1 MiB") + &placement("partition = \"A\"", base, "1 MiB");
        said(&verdicts(&system, &plan(&system, &text)), "memory/reach/H")
    };
    assert_eq!(judged("", "", 0x9010_0000).0, Shown);
    assert_eq!(judged("", "", 0x900f_f000), (Violated, "`A` is placed over it".to_owned()));
    let whole = "dma_stream = \"s\"\nmemory = \"RAM\"";
    assert_eq!(judged("", whole, 0xa000_0000), (Violated, "the stream of device `D` reaches it".to_owned()));
    assert_eq!(judged("", "dma_stream = \"s\"\nreaches = [\"A\"]", 0xa000_0000).0, Shown);
    let declared = "access = [{ partition = \"A\", rights = \"rw\" }]";
    assert_eq!(judged(declared, whole, 0xa000_0000), (Shown, "declared to reach it: A".to_owned()));
    assert_eq!(judged("", "dma_stream = \"s\"", 0xa000_0000).0, NotAnalysed);
}

/// Published: 32 colours of 8 MiB in 16 ways and 4 slices (Kim, Kandhalu, Rajkumar, ECRTS 2013), 16 of 1 MiB in 16 ways (Mancuso and
/// others, RTAS 2013), pages of 4 KiB.
#[test]
fn the_published_numbers_of_colours() {
    let colours = |size: u64, slices: u32| separation::page_colours(Bytes::new(size), slices, 16, Bytes::new(4096));
    assert_eq!((colours(8 << 20, 4), colours(1 << 20, 1)), (32, 16));
    assert_eq!(
        separation::page_colours(Bytes::new(32 << 10), 1, 8, Bytes::new(4096)),
        1,
        "sets are chosen within a page"
    );
}

#[test]
fn colours_are_apart_known_and_enough() {
    let cache = |size: &str| {
        format!(
            "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"{size}\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\npartitionable = true\n"
        )
    };
    let judged_in = |cache: &str, keys: &str, grants: &[(&str, &str)]| {
        let system = system(&[cache.to_owned(), partition("A", keys, ""), partition("B", "", "")].concat());
        let grant = |(who, colours): &(&str, &str)| {
            format!("[[cache_colours]]\ncache = \"L2\"\npartition = \"{who}\"\ncolours = \"{colours}\"\n")
        };
        let places = placement("partition = \"A\"", 0x9000_0000, "2 MiB")
            + &placement("partition = \"B\"", 0xa000_0000, "2 MiB");
        let text = places + &window(0, "A", 0) + &window(1, "B", 0) + &grants.iter().map(grant).collect::<String>();
        let verdicts = verdicts(&system, &plan(&system, &text));
        assert_eq!(
            verdicts.contains_key("cache/L2"),
            grants.is_empty(),
            "ways are asked for where no colours are given"
        );
        (!grants.is_empty()).then(|| said(&verdicts, "cache/L2/colours"))
    };
    let judged = |keys: &str, grants: &[(&str, &str)]| judged_in(&cache("1 MiB"), keys, grants).expect("it is claimed");
    let lost = "16 colours at pages of 4 KiB; `A` loses 1 MiB of its range to other colours; `B` loses 1 MiB of its range to other colours";
    assert_eq!(judged("", &[("A", "0-7"), ("B", "8-15")]), (Shown, lost.to_owned()));
    assert_eq!(judged_in(&cache("1 MiB"), "", &[]), None);
    assert_eq!(judged("", &[("A", "0-8"), ("B", "8-15")]), (Violated, "`A` and `B` share 1 colour".to_owned()));
    let beyond = judged("", &[("A", "0-7"), ("B", "8-16")]);
    assert_eq!(beyond, (Violated, "`B` is given colour 16, and they count from 0 to 15".to_owned()));
    assert_eq!(
        judged("", &[("A", "0-7")]),
        (Violated, "`B` runs on a core of the cache and has no colours".to_owned())
    );
    let few = judged("", &[("A", "0-6"), ("B", "8-15")]);
    assert_eq!(
        few,
        (Violated, "`A` asks for 1 MiB, and of its range of 2 MiB only 896 KiB are of its colours".to_owned())
    );
    assert_eq!(judged("working_set = \"512 KiB\"", &[("A", "0-7"), ("B", "8-15")]).0, Shown);
    let set = judged("working_set = \"513 KiB\"", &[("A", "0-7"), ("B", "8-15")]);
    assert_eq!(set, (Violated, "the working set of `A`, 513 KiB, passes its colours, 512 KiB".to_owned()));
    let none = judged_in(&cache("64 KiB"), "", &[("A", "0"), ("B", "1")]).expect("it is claimed");
    assert_eq!(
        none,
        (Violated, "its sets are chosen within a page of 4 KiB: it has no colours to share out".to_owned())
    );
}

/// A range that begins between the turns of its colours has fewer pages of them than its size times their share.
#[test]
fn the_pages_of_a_colour_are_counted_where_the_range_lies() {
    let cache = "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"1 MiB\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\ncoloured = true\n";
    let mut parts = system(&[cache.to_owned(), partition("A", "", ""), partition("B", "", "")].concat());
    let none = verdicts(&parts, &plan(&parts, &placement("partition = \"A\"", 0x9000_0000, "2 MiB")));
    assert_eq!(said(&none, "cache/L2/colours"), (NotAnalysed, "the plan gives none of its colours".to_owned()));
    assert!(!none.contains_key("cache/L2"), "no ways are asked for");
    let grant = |who: &str, colours: &str| {
        format!("[[cache_colours]]\ncache = \"L2\"\npartition = \"{who}\"\ncolours = \"{colours}\"\n")
    };
    for (base, size) in (0..40).flat_map(|base| [1, 7, 8, 9, 24, 33].map(|size| (base, size))) {
        let pages = (0x90000 + base)..(0x90000 + base + size);
        let own = pages.filter(|page| [3, 4, 9].contains(&(page % 16))).count() as u64;
        let text = placement("partition = \"A\"", 0x9000_0000 + (base << 12), &format!("{} KiB", size * 4))
            + &placement("partition = \"B\"", 0xa000_0000, "2 MiB")
            + &window(0, "A", 0)
            + &window(1, "B", 0)
            + &grant("A", "3,4,9")
            + &grant("B", "10-15");
        for (asked, status) in [(own, Shown), (own + 1, Violated)] {
            parts.partitions[0].ram.as_mut().expect("given").value = Bytes::new(asked << 12);
            parts.partitions[1].ram.as_mut().expect("given").value = Bytes::new(1 << 16);
            let judged = said(&verdicts(&parts, &plan(&parts, &text)), "cache/L2/colours");
            assert_eq!(judged.0, status, "{base}, {size}: {own} pages; {}", judged.1);
        }
    }
}

/// Two caches above one partition: L2 has 16 colours and L3 has 64, each partition a core, and 1 MiB of RAM in 8 MiB.
fn two_levels(grants: &[(&str, &str, &str)], keys: &str) -> [(Status, String); 2] {
    let cache = |name: &str, size: &str| {
        format!(
            "[[board.cache]]\nname = \"{name}\"\nlevel = 2\nsize = \"{size}\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\ncoloured = true\n"
        )
    };
    let parts = [cache("L2", "1 MiB"), cache("L3", "4 MiB"), partition("A", keys, ""), partition("B", "", "")].concat();
    let system = system(&parts);
    let grant = |(who, cache, colours): &(&str, &str, &str)| {
        format!("[[cache_colours]]\ncache = \"{cache}\"\npartition = \"{who}\"\ncolours = \"{colours}\"\n")
    };
    let text = placement("partition = \"A\"", 0x9000_0000, "8 MiB")
        + &placement("partition = \"B\"", 0xa000_0000, "8 MiB")
        + &window(0, "A", 0)
        + &window(1, "B", 0)
        + &grants.iter().map(grant).collect::<String>();
    let verdicts = verdicts(&system, &plan(&system, &text));
    ["L2", "L3"].map(|cache| said(&verdicts, &format!("cache/{cache}/colours")))
}

/// The bits above the page choose the set of every cache: colour 17 of 64 is colour 1 of 16.
#[test]
fn pages_have_a_colour_in_every_cache() {
    let halves = [("A", "L2", "0-7"), ("B", "L2", "8-15"), ("A", "L3", "0-7,16-23"), ("B", "L3", "8-15,40-63")];
    let [second, third] = two_levels(&halves, "");
    let lost = "`A` loses 6 MiB of its range to other colours";
    assert_eq!(second.0, Shown);
    assert!(second.1.starts_with(&format!("16 colours at pages of 4 KiB; {lost}; ")), "{}", second.1);
    // Of 8-15 and 40-63 the numbers 8-15, 40-47 and 56-63 have a colour from 8 to 15 in the smaller cache.
    let told = "64 colours at pages of 4 KiB; `A` loses 6 MiB of its range to other colours; of the 32 colours of `B` its pages \
                have 24, beside its colours of L2; `B` loses 5 MiB of its range to other colours";
    assert_eq!(third, (Shown, told.to_owned()));

    // A share in one cache is no share in the other.
    let crossed = [("A", "L2", "0-7"), ("B", "L2", "0-7"), ("A", "L3", "0-31"), ("B", "L3", "32-63")];
    let [second, third] = two_levels(&crossed, "");
    assert_eq!(second, (Violated, "`A` and `B` share 8 colours".to_owned()));
    assert_eq!(third.0, Shown);

    // Colours of the larger cache alone keep the smaller one apart, as far as they differ in the bits that it looks at.
    let [second, third] = two_levels(&[("A", "L3", "0-7,16-23"), ("B", "L3", "8-15,24-31")], "");
    assert_eq!((second.0, third.0), (Shown, Shown));
    assert!(second.1.contains("`A` keeps to 8 colours by its colours of L3"), "{}", second.1);
    let [second, third] = two_levels(&[("A", "L3", "0-31"), ("B", "L3", "32-63")], "");
    assert_eq!((second, third.0), ((Violated, "`A` and `B` share 16 colours".to_owned()), Shown));
}

#[test]
fn colours_that_no_page_has_at_once_and_too_small_shares_are_told() {
    let none = [("A", "L2", "0-7"), ("B", "L2", "8-15"), ("A", "L3", "8-15"), ("B", "L3", "24-31")];
    let [second, third] = two_levels(&none, "");
    let words = "no page of `A` has its colours of L2 and colours of L3 at once";
    assert_eq!((second, third), ((Violated, words.to_owned()), (Violated, words.to_owned())));

    // Of 8 colours of L2, half a cache, two are left by those of L3: 128 KiB.
    let halves =
        [("A", "L2", "0-7"), ("B", "L2", "8-15"), ("A", "L3", "0,1,16,17,32,33,48,49"), ("B", "L3", "8-15,24-31")];
    let [second, third] = two_levels(&halves, "working_set = \"128 KiB\"");
    assert_eq!((second.0, third.0), (Shown, Shown), "{} {}", second.1, third.1);
    let [second, third] = two_levels(&halves, "working_set = \"129 KiB\"");
    assert_eq!(second, (Violated, "the working set of `A`, 129 KiB, passes its colours, 128 KiB".to_owned()));
    assert_eq!(third.0, Shown);
}

/// Three partitions anywhere near a memory, which need not hold them.
fn places() -> impl Strategy<Value = Vec<(u64, u64)>> {
    prop::collection::vec((0u64..64, 1u64..24), 3)
}

/// The system of three partitions under one guard, on a memory of `size` bytes from `base` with granules of `granule`.
fn small(guard: u64, granule: u64) -> model::System {
    let mut system = system(&["A", "B", "C"].map(|name| partition(name, "guard = \"1 B\"", "")).concat());
    let memory = &mut system.board.memories[0];
    memory.base.value = Address::new(8 * granule);
    memory.size.value = Bytes::new(48 * granule);
    memory.granule = Bytes::new(granule);
    for partition in &mut system.partitions {
        let at = partition.name.span;
        partition.ram = Some(diagnostic::Located::new(Bytes::new(4), at));
        partition.guard = Some(diagnostic::Located::new(Bytes::new(guard), at));
    }
    system
}

fn placed(ranges: &[(u64, u64)]) -> Plan {
    let place = |(index, (base, size)): (usize, &(u64, u64))| Placement {
        what: Placed::Partition(PartitionId::new(index)),
        base: Address::new(*base),
        size: Bytes::new(*size),
        pinned: false,
        span: None,
    };
    Plan { memory: ranges.iter().enumerate().map(place).collect(), ..Plan::default() }
}

/// The bytes in fault of one of the ranges, by asking every byte of the board.
fn byte_by_byte(ranges: &[(u64, u64)], index: usize, guard: u64) -> u64 {
    let holds = |(base, size): (u64, u64), byte: u64| base <= byte && byte < base + size;
    let (base, size) = ranges[index];
    let mut faults = 4u64.saturating_sub(size);
    for byte in 0..256 {
        let is_mine = holds((base, size), byte);
        faults += u64::from(is_mine && !holds((8, 48), byte));
        let in_guard = !is_mine && byte + guard >= base && byte < base + size + guard;
        let others =
            ranges.iter().enumerate().filter(|(other, range)| *other != index && holds(**range, byte)).count() as u64;
        faults += if is_mine || in_guard { others } else { 0 };
    }
    faults
}

fn one(range: std::ops::Range<u64>) -> RangeSet<u64> {
    let mut set = RangeSet::new();
    set.insert(range);
    set
}

/// The same by a library for ranges, on granules of any size, with what lies off the granule.
fn by_library(ranges: &[(u64, u64)], index: usize, guard: u64, granule: u64) -> u64 {
    let length = |set: &RangeSet<u64>| set.iter().map(|range| range.end - range.start).sum::<u64>();
    let (base, size) = ranges[index];
    let mut outside = one(base..base + size);
    outside.remove(8 * granule..56 * granule);
    let mut faults = 4u64.saturating_sub(size) + length(&outside) + base % granule + (base + size) % granule;
    for (_, (start, size_of_other)) in ranges.iter().enumerate().filter(|(other, _)| *other != index) {
        let mut around = one(base.saturating_sub(guard)..base + size + guard);
        let whole = length(&around);
        around.remove(*start..start + size_of_other);
        faults += whole - length(&around);
    }
    faults
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn small_boards_are_judged_as_byte_by_byte(ranges in places(), guard in 1u64..5) {
        let verdicts = verdicts(&small(guard, 1), &placed(&ranges));
        for (index, name) in ["A", "B", "C"].iter().enumerate() {
            let bound = verdicts[&format!("memory/{name}")].bound;
            prop_assert_eq!(bound, Some(byte_by_byte(&ranges, index, guard)), "{} of {:?}", name, &ranges);
        }
    }

    #[test]
    fn random_maps_are_judged_as_by_a_library_for_ranges(
        ranges in prop::collection::vec((0u64..1 << 19, 1u64..1 << 18), 3),
        guard in 1u64..1 << 16,
    ) {
        let verdicts = verdicts(&small(guard, 4096), &placed(&ranges));
        for (index, name) in ["A", "B", "C"].iter().enumerate() {
            let bound = verdicts[&format!("memory/{name}")].bound;
            prop_assert_eq!(bound, Some(by_library(&ranges, index, guard, 4096)), "{} of {:?}", name, &ranges);
        }
    }
}
