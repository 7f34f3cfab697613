//! Banks of a memory: an address map by hand, ranges page by page with code of their own, and what closes their channel.

mod common;

use claim::Status::{self, NotAnalysed, NotShown, Shown, Violated};
use common::{HEAD, partition, placement, plan, said, verdicts, whole, window};
use model::System;
use plan::{ColourGrant, Coloured};
use proptest::prelude::*;
use quantity::{Bytes, CacheId, MemoryId, PartitionId};
use std::collections::BTreeSet;

/// Eight banks, each bit of the number the exclusive-or of two address bits, as memory controllers choose them (common practice).
const BITS: &str = "bank_bits = [[13, 17], [14, 18], [15, 19]]\n";

/// Two partitions on cores of their own, each with 1 MiB of RAM.
fn board(bits: &str, more: &str) -> System {
    let head = HEAD.replace("placeable = true\n", &format!("placeable = true\n{bits}"));
    whole(&(head + &partition("A", "", "") + &partition("B", "", "") + more))
}

fn grant(who: &str, banks: &str) -> String {
    format!("[[memory_banks]]\nmemory = \"RAM\"\npartition = \"{who}\"\nbanks = \"{banks}\"\n")
}

/// `A` at 2 GiB + 256 MiB on core 0 and `B` 256 MiB above it on core 1, each in a range of 2 MiB.
fn places() -> String {
    let (a, b) = ("partition = \"A\"", "partition = \"B\"");
    placement(a, 0x9000_0000, "2 MiB") + &placement(b, 0xa000_0000, "2 MiB") + &window(0, "A", 0) + &window(1, "B", 0)
}

fn judged(system: &System, text: &str) -> (Status, String) {
    said(&verdicts(system, &plan(system, text)), "memory/banks/RAM")
}

/// By hand: address bits 13, 14 and 15 make banks 1, 2 and 4, and so do 17, 18 and 19; two of a pair together undo each other.
#[test]
fn the_bank_of_an_address_by_hand() {
    let system = board(BITS, "");
    let memory = &system.board.memories[0];
    let by_hand = [
        (0x0, 0),
        (0x1000, 0),
        (0x2000, 1),
        (0x4000, 2),
        (0x8000, 4),
        (0xe000, 7),
        (0x1_0000, 0),
        (0x2_0000, 1),
        (0x2_2000, 0),
        (0x2_4000, 3),
        (0xe_0000, 7),
        (0xe_e000, 0),
        (0x9000_8fff, 4),
        (0xffff_ffff_fff0_0000, 0),
    ];
    for (address, bank) in by_hand {
        assert_eq!(memory.bank_of(address), bank, "{address:#x}");
    }
    assert_eq!(memory.banks(), 8);
}

#[test]
fn banks_are_apart_known_and_enough() {
    let system = board(BITS, "");
    let judged = |a: &str, b: &str| judged(&system, &(places() + &grant("A", a) + &grant("B", b)));
    let lost = "8 banks at pages of 4 KiB; `A` loses 1 MiB of its range to other banks; `B` loses 1 MiB of its range to other banks";
    assert_eq!(judged("0-3", "4-7"), (Shown, lost.to_owned()));
    assert_eq!(judged("0-4", "4-7"), (Violated, "`A` and `B` share 1 bank".to_owned()));
    assert_eq!(judged("0-3", "4-8"), (Violated, "`B` is given bank 8, and they count from 0 to 7".to_owned()));
    let few = "`B` asks for 1 MiB, and of its range of 2 MiB only 768 KiB are of its banks";
    assert_eq!(judged("0-3", "4-6"), (Violated, few.to_owned()));
}

#[test]
fn partitions_without_banks_or_in_another_memory_are_told() {
    let system = board(BITS, "");
    let without = judged(&system, &(places() + &grant("A", "0-3")));
    assert_eq!(without, (Violated, "`B` lies in the memory and has no banks".to_owned()));
    let other = "[[board.memory]]\nname = \"FAST\"\nbase = \"0x1000_0000\"\nsize = \"64 MiB\"\nplaceable = true\n";
    let elsewhere = board(BITS, other);
    let text = places().replace("0xa0000000", "0x10000000") + &grant("A", "0-3") + &grant("B", "4-7");
    assert_eq!(judged(&elsewhere, &text), (Violated, "`B` is given banks and lies in another memory".to_owned()));
    let alone = places().replace("0xa0000000", "0x10000000") + &grant("A", "0-3");
    assert_eq!(judged(&elsewhere, &alone).0, Shown, "B lies in no bank of RAM");
}

#[test]
fn what_is_not_known_of_banks_is_not_analysed() {
    let none = judged(&board("", ""), &(places() + &grant("A", "0-3")));
    assert_eq!(none, (NotAnalysed, "no `bank_bits` of `RAM` say which address lies in which bank".to_owned()));
    let asked = board(&format!("{BITS}coloured = true\n"), "");
    assert_eq!(judged(&asked, &places()), (NotAnalysed, "the plan gives none of its banks".to_owned()));
    let unplaced = judged(&asked, &grant("A", "0-3"));
    assert_eq!(unplaced, (NotAnalysed, "the plan places nothing for `A`".to_owned()));
    let high = board("bank_bits = [[13, 32]]\n", "");
    let (status, why) = judged(&high, &(places() + &grant("A", "0") + &grant("B", "1")));
    assert!(status == NotAnalysed && why.contains("too many to count"), "{status:?}: {why}");
    let all = verdicts(&board(BITS, ""), &plan(&board(BITS, ""), &places()));
    assert!(!all.contains_key("memory/banks/RAM"), "nobody asks for banks of one's own");
}

/// A cache of 16 colours above both cores.
const CACHE: &str =
    "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"1 MiB\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\n";

/// The bank of an address by the definition, bit by bit.
fn bank_by_hand(masks: &[Vec<u32>], address: u64) -> u64 {
    let bit = |bits: &Vec<u32>| bits.iter().filter(|bit| address >> **bit & 1 == 1).count() as u64 % 2;
    masks.iter().enumerate().map(|(place, bits)| bit(bits) << place).sum()
}

/// What somebody is given: banks, and colours where there are any.
type Given = (BTreeSet<u32>, Option<BTreeSet<u32>>);

fn given() -> impl Strategy<Value = Given> {
    let colours = prop::option::of(prop::collection::btree_set(0u32..16, 1..16));
    (prop::collection::btree_set(0u32..8, 1..8), colours)
}

fn grants(who: usize, (banks, colours): &Given) -> Vec<ColourGrant> {
    let grant = |of, colours: &BTreeSet<u32>| ColourGrant {
        of,
        partition: PartitionId::new(who),
        colours: colours.iter().copied().collect(),
        span: None,
    };
    let of_cache = colours.iter().map(|colours| grant(Coloured::Cache(CacheId::new(0)), colours));
    of_cache.chain([grant(Coloured::Banks(MemoryId::new(0)), banks)]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Each page is asked for its bank and its colour by itself, over the ranges and over everything that the bits tell apart.
    #[test]
    fn pages_of_banks_and_colours_are_counted_where_the_ranges_lie(
        masks in prop::collection::vec(prop::collection::btree_set(12u32..21, 1..4), 3),
        mut all in [given(), given()],
        are_apart in any::<bool>(),
        starts in [0u64..600, 0u64..600],
        lengths in [1u64..600, 1u64..600],
        asked in 0u64..300,
    ) {
        let masks: Vec<Vec<u32>> = masks.into_iter().map(|bits| bits.into_iter().collect()).collect();
        if are_apart {
            let first = all[0].0.clone();
            all[1].0.retain(|bank| !first.contains(bank));
        }
        let mut system = board(BITS, CACHE);
        let mask = |bits: &Vec<u32>| bits.iter().map(|bit| 1u64 << bit).sum();
        system.board.memories[0].bank_masks = masks.iter().map(mask).collect();
        system.partitions.iter_mut().for_each(|one| one.ram.as_mut().expect("given").value = Bytes::new(asked << 12));
        let text = window(0, "A", 0) + &window(1, "B", 0);
        let mut plan = plan(&system, &text);
        let bases = [0x9000_0000 + (starts[0] << 12), 0xa000_0000 + (starts[1] << 12)];
        for who in 0..2 {
            let name = ["A", "B"][who];
            let place = placement(&format!("partition = \"{name}\""), bases[who], &format!("{} KiB", lengths[who] * 4));
            plan.memory.extend(common::plan(&system, &place).memory);
            plan.colours.extend(grants(who, &all[who]));
        }
        let is_own = |who: usize, page: u64| {
            let (banks, colours) = &all[who];
            let bank = bank_by_hand(&masks, page << 12);
            banks.contains(&(bank as u32)) && colours.as_ref().is_none_or(|own| own.contains(&((page % 16) as u32)))
        };
        let usable = |who: usize| (bases[who] >> 12..(bases[who] >> 12) + lengths[who]).filter(|page| is_own(who, *page)).count() as u64;
        let held = |who: usize| (0..1u64 << 10).filter(|page| is_own(who, *page)).map(|page| bank_by_hand(&masks, page << 12)).collect::<BTreeSet<_>>();
        let (one, other) = (held(0), held(1));
        let shared = one.intersection(&other).count();
        let sound = shared == 0 && (0..2).all(|who| !held(who).is_empty() && usable(who) >= asked);
        let verdicts = verdicts(&system, &plan);
        let (status, why) = said(&verdicts, "memory/banks/RAM");
        prop_assert_eq!(status, if sound { Shown } else { Violated }, "{}", why);
        let words = format!("share {shared} bank");
        prop_assert_eq!(why.contains("share "), shared > 0, "{}", &why);
        prop_assert!(shared == 0 || why.contains(&words), "{} and {}", shared, why);
        for (who, name) in ["A", "B"].into_iter().enumerate().filter(|_| sound) {
            let lost = Bytes::new((lengths[who] - usable(who)) << 12);
            let words = format!("`{name}` loses {lost} of its range");
            prop_assert_eq!(why.contains(&words), lost.get() > 0, "{}", &why);
        }
    }
}

const PATH: &str = r#"
[board.interconnect]
line = "64 B"
guaranteed = "1280 MB/s"
arbitration = "round-robin"
master = [{ name = "core0", core = "0" }, { name = "core1", core = "1" }]
"#;

/// The channel of the banks beside more tables, with `A` and `B` in these banks.
fn channel(more: &str, places: &str, banks: [&str; 2]) -> (Status, String) {
    // Whatever moves memory by itself is a master.
    let path = if more.contains("dma_stream") { PATH.replace("}]", "}, { name = \"DMA\" }]") } else { PATH.to_owned() };
    let system = board(BITS, &(path + more));
    let text = places.to_owned() + &grant("A", banks[0]) + &grant("B", banks[1]);
    said(&verdicts(&system, &plan(&system, &text)), "channel/banks/RAM")
}

#[test]
fn banks_of_ones_own_close_their_channel_and_not_that_of_the_bus() {
    let closed = "mitigated: those who may run at once have banks of their own; the bus that all banks share is the channel memory/RAM";
    assert_eq!(channel("", &places(), ["0-3", "4-7"]), (Shown, closed.to_owned()));
    assert_eq!(channel("", &places(), ["0-4", "4-7"]), (NotShown, "open: `A` and `B` share 1 bank".to_owned()));
    let word = "[[board.shared]]\nname = \"RAM\"\nkind = \"banks\"\narbiter = \"x\"\nstatus = \"mitigated\"\nby = \"y\"\nsource = \"z\"\n";
    let kept = channel(word, &places(), ["0-4", "4-7"]);
    assert_eq!(kept.0, NotShown, "no word closes what a datum shows to be open: {}", kept.1);
    let system = board(BITS, PATH);
    let all = verdicts(&system, &plan(&system, &(places() + &grant("A", "0-3") + &grant("B", "4-7"))));
    assert_eq!(all["channel/memory/RAM"].status, Shown);
    let none = said(&verdicts(&system, &plan(&system, &places())), "channel/banks/RAM");
    let words = "open: the plan gives none of its banks, and no [[board.shared]] speaks of it";
    assert_eq!(none, (NotAnalysed, words.to_owned()));
}

#[test]
fn who_else_asks_for_banks_keeps_their_channel_open() {
    let device = |keys: &str| format!("[[board.device]]\nname = \"D\"\ndma_stream = \"s\"\n{keys}\n");
    let open = |more: &str| channel(more, &places(), ["0-3", "4-7"]);
    let told = |more: &str, why: &str| {
        let words = format!("open: {why}, and no [[board.shared]] speaks of it");
        assert_eq!(open(more), (NotAnalysed, words));
    };
    assert_eq!(open(&device("owner = \"A\"\nreaches = [\"A\"]")).0, Shown, "it stays in banks of its owner");
    told(&device("owner = \"A\"\nmemory = \"RAM\""), "the stream of device `D` reaches the memory whole");
    told(&device("owner = \"A\""), "what the stream of device `D` reaches is not declared");
    told(&device("owner = \"A\"\nreaches = [\"B\"]"), "device `D` moves memory of `B`, which does not own it");
    let region = "[[region]]\nname = \"R\"\nsize = \"1 MiB\"\nowner = \"hypervisor\"\n";
    let with_region = places() + &placement("region = \"R\"", 0x8000_0000, "1 MiB");
    let why = "open: region `R` lies in any banks, and no [[board.shared]] speaks of it";
    assert_eq!(channel(region, &with_region, ["0-3", "4-7"]), (NotAnalysed, why.to_owned()));

    // On one core they take turns, and a device does not.
    let turns = places().replace(
        "core = \"1\"\npartition = \"B\"\nstart = \"0 ms\"",
        "core = \"0\"\npartition = \"B\"\nstart = \"5 ms\"",
    );
    assert_eq!(channel("", &turns, ["0-4", "4-7"]).0, Shown);
    let why = "open: device `D` moves memory of `A` in banks of `B` too, and no [[board.shared]] speaks of it";
    let own = device("owner = \"A\"\nreaches = [\"A\"]");
    assert_eq!(channel(&own, &turns, ["0-4", "4-7"]), (NotAnalysed, why.to_owned()));

    let gpu = |masters: &str, more: &str| {
        let system = board(BITS, &(PATH.replace("}]", masters) + more));
        let text = places() + &grant("A", "0-3") + &grant("B", "4-7");
        said(&verdicts(&system, &plan(&system, &text)), "channel/banks/RAM")
    };
    let why = "open: what master `GPU` reaches is not declared, and no [[board.shared]] speaks of it".to_owned();
    assert_eq!(gpu("}, { name = \"GPU\" }]", ""), (NotAnalysed, why.clone()));
    assert_eq!(gpu("}, { name = \"D\" }, { name = \"GPU\" }]", &own), (NotAnalysed, why));
}
