//! Places off what a devicetree reserves, against every place that there is; page colours, page by page.

use crate::checker;
use crate::common::{partition, plan, system, system_of_memory, system_with_tree};
use diagnostic::{Located, Span};
use model::System;
use model::system::{AddressRange, Devicetree, Placed, ReservedMemory, ReservedPlace, TreeMemory};
use plan::{ColourGrant, Coloured, Placement, Plan};
use planner::{Answer, Outcome};
use proptest::prelude::*;
use quantity::{Address, Bytes, PartitionId};

const BASE: u64 = 0x8000_0000;
const GRANULE: u64 = 4096;

fn found(outcome: &Outcome) -> &Plan {
    match &outcome.answer {
        Answer::Optimal(plan) | Answer::Feasible(plan) => plan,
        other => panic!("{}: {outcome:?}", other.words()),
    }
}

fn reasons(outcome: &Outcome) -> (&'static str, String) {
    match &outcome.answer {
        Answer::Impossible(reasons) | Answer::GaveUp { reasons, .. } => (outcome.answer.words(), reasons.join("\n")),
        other => panic!("{}: {outcome:?}", other.words()),
    }
}

/// A board of 64 MiB whose tree reserves these nodes, with the keys of its table.
fn board(keys: &str, parts: &str, nodes: &str) -> System {
    let tree = format!(
        "/dts-v1/;\n/ {{ #address-cells = <1>; #size-cells = <1>; memory@80000000 {{ device_type = \"memory\"; reg = <0x80000000 0x4000000>; }};\n\
         reserved-memory {{ #address-cells = <1>; #size-cells = <1>; ranges;\n{nodes}\n}}; }};"
    );
    system_with_tree("10 ms", 1, &format!("{parts}\n[board.devicetree]\nsource = \"board.dts\"\n{keys}"), &tree)
}

fn ram(name: &str, size: &str) -> String {
    partition(name, "10 ms", "2 ms", &format!("ram = \"{size}\"\n"))
}

fn places(plan: &Plan) -> Vec<(u64, u64)> {
    plan.memory.iter().map(|place| (place.base.get(), place.size.get() >> 20)).collect()
}

/// By hand: the firmware's 2 MiB bar the lowest place, and the tree says where `B` is.
#[test]
fn what_is_reserved_is_kept_for_its_owner() {
    let nodes =
        "firmware@80000000 { reg = <0x80000000 0x200000>; no-map; };\nb@81000000 { reg = <0x81000000 0x400000>; };";
    let system = board("", &(ram("A", "4 MiB") + &ram("B", "4 MiB")), nodes);
    let outcome = plan(&system);
    let found = found(&outcome);
    checker::assert_memory(&system, found);
    assert_eq!(places(found), [(0x8020_0000, 4), (0x8100_0000, 4)]);
}

#[test]
fn what_the_tree_makes_impossible_is_told_with_its_numbers() {
    let told = |keys: &str, parts: &str, nodes: &str| {
        let (word, reason) = reasons(&plan(&board(keys, parts, nodes)));
        assert_eq!(word, "impossible", "{reason}");
        reason
    };
    let (a, b) = (ram("A", "24 MiB"), ram("B", "8 MiB"));
    assert_eq!(
        told("", &a, "firmware@81000000 { reg = <0x81000000 0x1900000>; };"),
        "A (24 MiB) has no room together in what is free of pinned and reserved memory, 16 MiB from 0x8000_0000 and 23 MiB from \
         0x8290_0000, with the guards and limits of each"
    );
    assert_eq!(
        told("", &a, "a@81000000 { reg = <0x81000000 0x1000000>; };"),
        "A asks for 24 MiB, and the devicetree reserves 16 MiB from 0x8100_0000 for it (line 4)"
    );
    assert_eq!(
        told("", &a, "a { size = <0x2000000>; };"),
        "A has no place: the devicetree (line 4) lets its place be chosen at boot"
    );
    assert_eq!(
        told("", &a, "a@80000000 { reg = <0x80000000 0x1000000>, <0x82000000 0x1000000>; };"),
        "A has no place: the devicetree (line 4) reserves more than one range for it, and a plan places it in one piece"
    );
    assert_eq!(
        told("user = \"A\"", &(a.clone() + &b), ""),
        "B (8 MiB) has no room together in what is free of pinned and reserved memory, nothing, with the guards and limits of each"
    );
}

/// Where a place is chosen at boot, nothing of ours lies in what it may be chosen from.
#[test]
fn what_may_be_chosen_at_boot_is_left_free() {
    let nodes = "pool { size = <0x100000>; alloc-ranges = <0x80000000 0x1000000>; };";
    assert_eq!(places(found(&plan(&board("", &ram("A", "4 MiB"), nodes)))), [(0x8100_0000, 4)]);
}

/// First fit alone would put the small one first and leave no hole for the large one.
#[test]
fn every_order_is_tried_before_memory_counts_as_full() {
    let nodes = "firmware@81800000 { reg = <0x81800000 0x800000>; };";
    let system =
        board("", &(ram("A", "8 MiB") + &ram("B", "12 MiB") + &ram("C", "24 MiB") + &ram("D", "12 MiB")), nodes);
    let outcome = plan(&system);
    checker::assert_memory(&system, found(&outcome));
}

/// A small board: all in granules.
#[derive(Debug, Clone)]
struct Small {
    memory: u64,
    /// Size and guard of three partitions, then of a region.
    items: Vec<(u64, u64)>,
    /// Disjoint ranges that are reserved: first granule, size, and for which item.
    reserved: Vec<(u64, u64, Option<usize>)>,
    /// Where the place of something else is chosen at boot.
    chosen: Option<(u64, u64)>,
    /// The partition that is given the tree.
    user: Option<usize>,
}

fn small() -> impl Strategy<Value = Small> {
    let items = prop::collection::vec((1u64..5, prop::sample::select(vec![0u64, 0, 0, 1, 2])), 4);
    let owners = prop::sample::select(vec![None, None, Some(0), Some(1), Some(3)]);
    let reserved = prop::collection::vec((prop::sample::select(vec![0u64, 0, 1, 2, 3]), 1u64..5, owners), 0..4);
    let chosen = prop::option::weighted(0.2, (0u64..8, 1u64..4));
    let user = prop::option::weighted(0.15, 0..3usize);
    (9u64..15, items, reserved, chosen, user).prop_map(|(memory, items, gaps, chosen, user)| {
        let mut next = 0;
        let mut reserved: Vec<(u64, u64, Option<usize>)> = Vec::new();
        for (gap, size, owner) in gaps {
            let is_new = owner.is_none() || reserved.iter().all(|other| other.2 != owner);
            if next + gap + size <= memory && is_new {
                reserved.push((next + gap, size, owner));
                next += gap + size;
            }
        }
        Small { memory, items, reserved, chosen, user }
    })
}

fn at<T>(value: T) -> Located<T> {
    Located::new(value, Span::NOWHERE)
}

fn granules(first: u64, size: u64) -> AddressRange {
    AddressRange { base: Address::new(BASE + first * GRANULE), size: Bytes::new(size * GRANULE) }
}

/// What item an index means: three partitions, then the region.
fn item(index: usize) -> Placed {
    if index < 3 { Placed::Partition(PartitionId::new(index)) } else { Placed::Region(0) }
}

impl Small {
    fn system(&self) -> System {
        let region = "[[region]]\nname = \"R\"\nsize = \"4 KiB\"\nowner = \"hypervisor\"\n".to_owned();
        let mut system = system("10 ms", 1, &(ram("A", "4 KiB") + &ram("B", "4 KiB") + &ram("C", "4 KiB") + &region));
        system.board.memories[0].size.value = Bytes::new(self.memory * GRANULE);
        let named = |index: usize| self.reserved.iter().position(|(_, _, owner)| *owner == Some(index)).map(at);
        for (index, (size, guard)) in self.items.iter().enumerate() {
            let (size, guard) = (at(Bytes::new(size * GRANULE)), Some(at(Bytes::new(guard * GRANULE))));
            match item(index) {
                Placed::Partition(id) => {
                    let partition = &mut system.partitions[id.index()];
                    (partition.ram, partition.guard, partition.reserved_as) = (Some(size), guard, named(index));
                }
                Placed::Region(region) => {
                    let region = &mut system.regions[region];
                    (region.size, region.guard, region.reserved_as) = (size, guard, named(index));
                }
            }
        }
        system.board.devicetree = Some(self.tree());
        system
    }

    fn tree(&self) -> Devicetree {
        let node = |name: &str, place| ReservedMemory {
            name: at(name.to_owned()),
            labels: Vec::new(),
            line: 1,
            place,
            no_map: false,
            reusable: false,
        };
        let fixed = |(first, size, _): &(u64, u64, Option<usize>)| {
            node("kept", ReservedPlace::Fixed(vec![granules(*first, *size)]))
        };
        let chosen = |(first, size)| ReservedPlace::Chosen { size: Bytes::new(1), within: vec![granules(first, size)] };
        let memory = TreeMemory { name: at("memory".to_owned()), line: 1, ranges: vec![granules(0, self.memory)] };
        Devicetree {
            user: self.user.map(|user| at(PartitionId::new(user))),
            memories: vec![memory],
            reserved: self
                .reserved
                .iter()
                .map(fixed)
                .chain(self.chosen.map(|within| node("pool", chosen(within))))
                .collect(),
        }
    }

    /// Whether an item may have a granule, by what the tree says of that granule.
    fn may_have(&self, index: usize, granule: u64) -> bool {
        let holds = |first: u64, size: u64| (first..first + size).contains(&granule);
        match self.reserved.iter().find(|(first, size, _)| holds(*first, *size)) {
            Some((_, _, owner)) => *owner == Some(index),
            None => {
                let is_chosen_from = self.chosen.is_some_and(|(first, size)| holds(first, size));
                !is_chosen_from && self.user.is_none_or(|user| user == index)
            }
        }
    }

    /// Every place of an item as its first granule and its size.
    fn places_of(&self, index: usize) -> Vec<(u64, u64)> {
        let (size, guard) = self.items[index];
        let nobodys = |granule| {
            self.reserved.iter().any(|(at, kept, owner)| owner.is_none() && (*at..at + kept).contains(&granule))
        };
        let is_guarded = |(first, size): &(u64, u64)| !(first.saturating_sub(guard)..first + size + guard).any(nobodys);
        let places: Vec<(u64, u64)> = match self.reserved.iter().find(|(_, _, owner)| *owner == Some(index)) {
            Some((first, kept, _)) => [(*first, *kept)].into_iter().filter(|_| *kept >= size).collect(),
            None => {
                let firsts = 0..(self.memory + 1).saturating_sub(size);
                let all_allowed = |first: &u64| (*first..first + size).all(|granule| self.may_have(index, granule));
                firsts.filter(all_allowed).map(|first| (first, size)).collect()
            }
        };
        places.into_iter().filter(is_guarded).collect()
    }

    /// Whether two places keep apart, the guards of both free.
    fn are_apart(&self, (one, a): (usize, (u64, u64)), (other, b): (usize, (u64, u64))) -> bool {
        let free = self.items[one].1.max(self.items[other].1);
        a.0 + a.1 + free <= b.0 || b.0 + b.1 + free <= a.0
    }

    /// Whether any places of all items keep apart, by trying all.
    fn some_places(&self, chosen: &mut Vec<(u64, u64)>) -> bool {
        let index = chosen.len();
        if index == self.items.len() {
            return true;
        }
        self.places_of(index).into_iter().any(|place| {
            if !chosen.iter().enumerate().all(|(other, taken)| self.are_apart((index, place), (other, *taken))) {
                return false;
            }
            chosen.push(place);
            let fit = self.some_places(chosen);
            chosen.pop();
            fit
        })
    }

    /// Whether something is left of what the tree lets be chosen at boot; else no plan could mend it.
    fn has_choice(&self) -> bool {
        let is_kept = |granule| self.reserved.iter().any(|(first, size, _)| (*first..first + size).contains(&granule));
        self.chosen.is_none_or(|(first, size)| (first..first + size).any(|granule| !is_kept(granule)))
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn places_are_found_exactly_where_there_are_some(small in small()) {
        prop_assume!(small.has_choice());
        let outcome = plan(&small.system());
        let possible = small.some_places(&mut Vec::new());
        match &outcome.answer {
            Answer::Optimal(plan) | Answer::Feasible(plan) => {
                let places: Vec<(u64, u64)> = (0..4).map(|index| {
                    let of: Vec<&Placement> = plan.memory.iter().filter(|place| place.what == item(index)).collect();
                    ((of[0].base.get() - BASE) / GRANULE, of[0].size.get() / GRANULE)
                }).collect();
                for (index, place) in places.iter().enumerate() {
                    prop_assert!(small.places_of(index).contains(place), "{index} at {place:?}");
                    prop_assert!((0..index).all(|other| small.are_apart((index, *place), (other, places[other]))));
                }
            }
            Answer::Impossible(_) => prop_assert!(!possible, "{outcome:?}"),
            Answer::GaveUp { .. } => prop_assert!(false, "{outcome:?}"),
        }
    }
}

/// A cache of two cores with 16 pages of each way, so 16 colours, and partitions of this RAM and working set.
fn coloured(cache: &str, rams: &[(&str, &str)]) -> System {
    let cache = format!(
        "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"{cache}\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\n\
         partitionable = true\ncoloured = true\n"
    );
    let one = |(index, (ram, set)): (usize, &(&str, &str))| {
        let more = format!("ram = \"{ram}\"\nworking_set = \"{set}\"\n");
        partition(&format!("P{index}"), "10 ms", "4 ms", &more)
    };
    system("10 ms", 2, &(cache + &rams.iter().enumerate().map(one).collect::<String>()))
}

/// Asserts, page by page, that everybody has enough pages of colours that nobody on another core has.
fn assert_colours(system: &System, plan: &Plan, number: u64) {
    let core = |id: usize| checker::core_of(plan, PartitionId::new(id), 0).expect("windows");
    for one in &plan.colours {
        let place = plan.memory.iter().find(|place| place.what == Placed::Partition(one.partition)).expect("a place");
        let pages = (place.base.get() / GRANULE)..((place.base.get() + place.size.get()) / GRANULE);
        let usable = pages.filter(|page| one.colours.iter().any(|colour| u64::from(*colour) == page % number)).count();
        let asked = system.partition(one.partition).ram.expect("given").get();
        assert!(usable as u64 * GRANULE >= asked, "{one:?} has {usable} pages");
        for other in plan.colours.iter().filter(|other| core(other.partition.index()) != core(one.partition.index())) {
            assert!(one.colours.iter().all(|colour| !other.colours.contains(colour)), "{one:?} and {other:?}");
        }
    }
    assert_eq!(plan.colours.len(), system.partitions.len());
    assert_eq!(plan.cache, [], "a coloured cache is not given out in ways too");
}

#[test]
fn colours_are_apart_and_ranges_large_enough() {
    let sets = ["64 KiB", "200 KiB", "8 KiB", "300 KiB"];
    let rams = ["1 MiB", "100 KiB", "5 MiB", "4 KiB"];
    for count in 1..=4 {
        let asked: Vec<(&str, &str)> = rams.into_iter().zip(sets).take(count).collect();
        let system = coloured("1 MiB", &asked);
        let outcome = plan(&system);
        let found = found(&outcome);
        checker::assert_memory(&system, found);
        assert_colours(&system, found, 16);
        let verdicts = separation::check(&system, found);
        let colours = verdicts.iter().find(|verdict| verdict.id == "cache/L2/colours").expect("a claim");
        assert_eq!(colours.status, claim::Status::Shown, "{colours:?}");
    }
}

fn cache_of(grant: &ColourGrant) -> usize {
    match grant.of {
        Coloured::Cache(id) => id.index(),
        Coloured::Banks(_) => panic!("{grant:?} is of no cache"),
    }
}

/// Two levels above everybody, and one more that only core 0 has.
#[test]
fn colours_of_several_caches_are_given_out_together() {
    let level = |name: &str, size: &str, cores: &str| {
        format!(
            "[[board.cache]]\nname = \"{name}\"\nlevel = 3\nsize = \"{size}\"\nways = 16\nline = \"64 B\"\ncores = [{cores}]\n\
             coloured = true\n"
        )
    };
    let one = |(index, (ram, set)): (usize, &(&str, &str))| {
        partition(&format!("P{index}"), "10 ms", "4 ms", &format!("ram = \"{ram}\"\nworking_set = \"{set}\"\n"))
    };
    let asked = [("1 MiB", "64 KiB"), ("100 KiB", "30 KiB"), ("5 MiB", "200 KiB")];
    let parts: String = asked.iter().enumerate().map(one).collect();
    let sizes = [("L2", "1 MiB", "\"0\", \"1\""), ("L3", "4 MiB", "\"0\", \"1\""), ("own", "2 MiB", "\"0\"")];
    let caches: String = sizes.iter().map(|(name, size, cores)| level(name, size, cores)).collect();
    let on_board = |caches: &str| system("10 ms", 2, &(caches.to_owned() + &parts));
    let system = on_board(&caches);
    let outcome = plan(&system);
    let found = found(&outcome);
    checker::assert_memory(&system, found);
    let core = |id: PartitionId| checker::core_of(found, id, 0).expect("windows");
    // What each cache sees of a page, for everybody: the page has to have a colour of each grant, and none that another core's has.
    let numbers = [16, 64, 32];
    let colours = |id: PartitionId, page: u64| {
        let own = found.colours.iter().filter(|grant| grant.partition == id);
        let mut has = own.map(|grant| grant.colours.iter().any(|c| u64::from(*c) == page % numbers[cache_of(grant)]));
        has.all(|has| has)
    };
    for id in system.partition_ids() {
        let place = found.memory.iter().find(|place| place.what == Placed::Partition(id)).expect("a place");
        let pages = (place.base.get() / GRANULE)..((place.base.get() + place.size.get()) / GRANULE);
        let usable: Vec<u64> = pages.filter(|page| colours(id, *page)).collect();
        assert!(usable.len() as u64 * GRANULE >= system.partition(id).ram.expect("given").get(), "{id:?}");
        let others = system.partition_ids().filter(|other| core(*other) != core(id));
        for other in others {
            let theirs = (0..64).filter(|page| colours(other, *page));
            assert!(
                theirs.into_iter().all(|page| usable.iter().all(|own| own % 16 != page % 16)),
                "{id:?} and {other:?}"
            );
        }
        let caches = found.colours.iter().filter(|grant| grant.partition == id).count();
        assert_eq!(caches, if core(id) == 0 { 3 } else { 2 });
    }
    let verdicts = separation::check(&system, found);
    let status = |id: &str| verdicts.iter().find(|verdict| verdict.id == id).map(|verdict| verdict.status);
    for name in ["L2", "L3", "own"] {
        assert_eq!(status(&format!("cache/{name}/colours")), Some(claim::Status::Shown), "{name}");
    }

    let at_odds = level("L2", "1 MiB", "\"0\", \"1\"") + &level("L3", "1536 KiB", "\"0\", \"1\"");
    let (word, reason) = reasons(&plan(&on_board(&at_odds)));
    let words = "cache L3 has 24 page colours, not so many times the 16 of another one that its partitions have too: choose them by hand";
    assert_eq!((word, reason.lines().next()), ("gave up", Some(words)));
}

#[test]
fn why_colours_do_not_suffice_is_told() {
    let told = |cache: &str, rams: &[(&str, &str)]| reasons(&plan(&coloured(cache, rams)));
    assert_eq!(
        told("64 KiB", &[("4 KiB", "4 KiB")]),
        ("impossible", "cache L2 is to be shared out by page colours, and at pages of 4 KiB it has none".to_owned())
    );
    let each = ("1 MiB", "520 KiB");
    let (word, reason) = told("1 MiB", &[each, each, each]);
    assert_eq!(word, "gave up");
    assert!(
        reason.contains("the working sets of those who may run at once ask for 18 page colours of cache L2, it has 16"),
        "{reason}"
    );
    let (word, reason) = told("1 MiB", &[("30 MiB", "4 KiB"), ("30 MiB", "4 KiB"), ("1 MiB", "4 KiB")]);
    assert_eq!(word, "gave up");
    assert!(reason.contains("what is lost to other page colours or banks included, the board has 64 MiB"), "{reason}");
}

/// A memory whose banks these address bits choose, two cores, and partitions of these sizes.
fn banked(bits: &str, rams: &[&str], more: &str) -> System {
    let one = |(index, ram): (usize, &&str)| ram_on(&format!("P{index}"), ram);
    let parts: String = rams.iter().enumerate().map(one).collect();
    system_of_memory("10 ms", 2, &format!("coloured = true\nbank_bits = {bits}\n"), &(more.to_owned() + &parts))
}

/// So much work that two such partitions share a core and four need two.
fn ram_on(name: &str, size: &str) -> String {
    partition(name, "10 ms", "4 ms", &format!("ram = \"{size}\"\n"))
}

/// The bits of a bank by the definition, page by page: everybody has pages enough, and none in a bank of another core.
fn assert_banks(system: &System, plan: &Plan, bits: &[&[u32]]) {
    let bank = |page: u64| -> u32 {
        let parity = |of: &&[u32]| of.iter().filter(|bit| (page * GRANULE) >> **bit & 1 == 1).count() as u32 % 2;
        bits.iter().enumerate().map(|(place, of)| parity(of) << place).sum()
    };
    let core = |id: PartitionId| checker::core_of(plan, id, 0).expect("windows");
    for one in &plan.colours {
        let place = plan.memory.iter().find(|place| place.what == Placed::Partition(one.partition)).expect("a place");
        let pages = (place.base.get() / GRANULE)..((place.base.get() + place.size.get()) / GRANULE);
        let usable = pages.filter(|page| one.colours.contains(&bank(*page))).count();
        let asked = system.partition(one.partition).ram.expect("given").get();
        assert!(usable as u64 * GRANULE >= asked, "{one:?} has {usable} pages");
        for other in plan.colours.iter().filter(|other| core(other.partition) != core(one.partition)) {
            assert!(one.colours.iter().all(|colour| !other.colours.contains(colour)), "{one:?} and {other:?}");
        }
    }
    assert_eq!(plan.colours.len(), system.partitions.len());
}

#[test]
fn banks_are_apart_and_ranges_large_enough() {
    let maps: [(&str, &[&[u32]]); 4] = [
        ("[[12], [13]]", &[&[12], &[13]]),
        ("[[13, 17], [14, 18], [15, 19]]", &[&[13, 17], &[14, 18], &[15, 19]]),
        ("[[20], [14, 20]]", &[&[20], &[14, 20]]),
        ("[[12, 13], [13, 21]]", &[&[12, 13], &[13, 21]]),
    ];
    let rams = ["1 MiB", "100 KiB", "5 MiB", "4 KiB"];
    for (bits, by_hand) in maps {
        for count in 1..=4 {
            let system = banked(bits, &rams[..count], "");
            let outcome = plan(&system);
            let found = found(&outcome);
            checker::assert_memory(&system, found);
            assert_banks(&system, found, by_hand);
            let verdicts = separation::check(&system, found);
            let banks = verdicts.iter().find(|verdict| verdict.id == "memory/banks/RAM").expect("a claim");
            assert_eq!(banks.status, claim::Status::Shown, "{bits}: {banks:?}");
        }
    }
}

#[test]
fn why_banks_are_not_given_out_is_told() {
    let told = |bits: &str, more: &str| reasons(&plan(&banked(bits, &["1 MiB"; 4], more))).1;
    let cache = "[[board.cache]]\nname = \"L2\"\nlevel = 2\nsize = \"1 MiB\"\nways = 16\nline = \"64 B\"\ncores = [\"0\", \"1\"]\n";
    let both = told("[[14], [15]]", &format!("{cache}coloured = true\n"));
    let words =
        "both the banks of memory RAM and the page colours of cache L2 are to be given out: choose the banks by hand";
    assert!(both.contains(words), "{both}");
    let other = "[[board.memory]]\nname = \"FAST\"\nbase = \"0x1000_0000\"\nsize = \"64 MiB\"\nplaceable = true\n";
    let words = "banks of memory RAM are to be given out, and partitions may lie in others too: choose them by hand";
    assert!(told("[[14], [15]]", other).contains(words));
    // Each needs a core of its own, and so a part of the banks: half of them, or a third.
    let apart = |count: usize, ram: &str| {
        let one = |core: usize| partition(&format!("P{core}"), "10 ms", "6 ms", &format!("ram = \"{ram}\"\n"));
        let parts: String = (0..count).map(one).collect();
        reasons(&plan(&system_of_memory("10 ms", count, "coloured = true\nbank_bits = [[14]]\n", &parts))).1
    };
    let large = apart(2, "20 MiB");
    let words =
        "ask for 80 MiB of RAM (125 %), what is lost to other page colours or banks included, the board has 64 MiB";
    assert!(large.contains(words), "{large}");
    let few = apart(3, "1 MiB");
    let words = "those who may run at once ask for 3 banks of memory RAM, one each, it has 2";
    assert!(few.contains(words), "{few}");
}
