//! A plan that is written and read is the plan it was.

use crate::common;
use diagnostic::{Located, Sources, Span};
use model::System;
use plan::{
    BandwidthBudget, ColourGrant, Coloured, CoreTable, Placed, Placement, Plan, ScheduleTable, WayGrant, WayHolder,
    Window, read_plan, write_plan,
};
use proptest::prelude::*;
use quantity::{Address, Bytes, CacheId, CoreId, Duration, Instant, MemoryId, PartitionId, Rate, ScheduleId};
use std::collections::BTreeMap;
use std::collections::BTreeSet;

const FRAME_US: u64 = 40;

/// Two cores, three partitions of which one has two virtual cores, two schedules, and names that need care.
fn system() -> (System, Sources) {
    let text = r#"
[system]
name = "Two\tlines"
frame = "40 us"

[board]
name = "B"

[[board.core]]
name = "0"

[[board.core]]
name = "é #1"

[[board.cache]]
name = "L2"
level = 2
size = "512 KiB"
ways = 8
line = "64 B"
cores = ["0", "é #1"]
partitionable = true

[[board.memory]]
name = "RAM"
base = "0x0"
size = "1 GiB"
bank_bits = [[13, 17], [14]]

[board.interconnect]
line = "64 B"
guaranteed = "1 GB/s"
arbitration = "round-robin"

[[board.interconnect.master]]
name = "core 0"
core = "0"

[[board.interconnect.master]]
name = "DMA"

[[partition]]
name = "A"
guest = "fixed priority"
period = "40 us"
budget = "2 us"

[[partition]]
name = "B \\ b"
guest = "fixed priority"
period = "40 us"
budget = "2 us"
virtual_cores = 2
"#;
    let (mut system, sources) = common::read(BTreeMap::from([("system.toml".to_owned(), text.into())]));
    for name in ["Day", "Night"].into_iter().skip(system.schedules.len()) {
        let name = Located::new(name.to_owned(), Span::NOWHERE);
        system.schedules.push(model::system::ModuleSchedule { name, title: None, changes: vec![], may_follow: vec![] });
    }
    (system, sources)
}

fn window() -> impl Strategy<Value = Window> {
    (0..3u32, 0..FRAME_US, 1..4u64, any::<bool>()).prop_map(|(who, start, length, pinned)| Window {
        partition: PartitionId::new(usize::from(who > 0)),
        virtual_core: who.saturating_sub(1),
        start: Instant::from_ns(start * 1_000),
        length: Duration::from_us(length.min(FRAME_US - start)),
        pinned,
        span: None,
    })
}

/// Single windows and evenly repeated ones, by start; equal windows once.
fn core_windows() -> impl Strategy<Value = Vec<Window>> {
    prop::collection::vec((window(), prop::sample::select(vec![0u64, 5, 8, 10, 20])), 0..6).prop_map(|seeds| {
        let mut windows: Vec<Window> = seeds.into_iter().flat_map(|(first, every)| repeated(first, every)).collect();
        windows.sort_by_key(|w| w.start);
        let mut seen = Vec::new();
        windows.retain(|w| {
            let key = (w.partition, w.virtual_core, w.start, w.length);
            let new = !seen.contains(&key);
            seen.push(key);
            new
        });
        windows
    })
}

fn repeated(first: Window, every_us: u64) -> Vec<Window> {
    let start = first.start.ns() / 1_000;
    let starts: Vec<u64> =
        if every_us == 0 { vec![start] } else { (start..FRAME_US).step_by(every_us as usize).collect() };
    let at = |start: u64| Window {
        start: Instant::from_ns(start * 1_000),
        length: Duration::from_us((first.length.ns() / 1_000).min(FRAME_US - start)),
        ..first
    };
    starts.into_iter().map(at).collect()
}

fn plan() -> impl Strategy<Value = Plan> {
    let tables = prop::collection::vec(core_windows(), 4);
    let places = prop::collection::vec((0..2usize, any::<u32>(), 1u64..1 << 40, any::<bool>()), 0..4);
    let ways = prop::collection::vec(1u64..256, 0..3);
    let budgets = prop::collection::vec(0u64..1 << 40, 0..3);
    let colours = prop::collection::vec(prop::collection::btree_set(0u32..200, 1..20), 0..3);
    let parts = (tables, places, ways, colours, budgets, any::<bool>());
    parts.prop_map(|(tables, places, ways, colours, budgets, dated)| Plan {
        made_for: dated.then(|| Located::new(system().0.digest(), Span::NOWHERE)),
        schedules: schedules(tables),
        memory: places.into_iter().map(placement).collect(),
        cache: ways.into_iter().enumerate().map(grant).collect(),
        colours: colours.into_iter().enumerate().map(coloured).collect(),
        bandwidth: budgets.into_iter().take(2).enumerate().map(budget).collect(),
    })
}

fn schedules(tables: Vec<Vec<Window>>) -> Vec<ScheduleTable> {
    let core =
        |(index, windows): (usize, &Vec<Window>)| CoreTable { core: CoreId::new(index), windows: windows.clone() };
    let table = |(index, cores): (usize, &[Vec<Window>])| ScheduleTable {
        schedule: ScheduleId::new(index),
        cores: cores.iter().enumerate().map(core).filter(|core| !core.windows.is_empty()).collect(),
    };
    tables.chunks(2).enumerate().map(table).filter(|table| !table.cores.is_empty()).collect()
}

fn placement((who, base, size, pinned): (usize, u32, u64, bool)) -> Placement {
    let what = Placed::Partition(PartitionId::new(who));
    Placement { what, base: Address::new(u64::from(base) << 12), size: Bytes::new(size), pinned, span: None }
}

fn grant((index, mask): (usize, u64)) -> WayGrant {
    let holders =
        [WayHolder::Core(CoreId::new(0)), WayHolder::Core(CoreId::new(1)), WayHolder::Partition(PartitionId::new(1))];
    WayGrant { cache: CacheId::new(0), holder: holders[index], mask, span: None }
}

fn coloured((index, colours): (usize, BTreeSet<u32>)) -> ColourGrant {
    let of = [Coloured::Cache(CacheId::new(0)), Coloured::Banks(MemoryId::new(0))][index];
    ColourGrant { of, partition: PartitionId::new(1), colours: colours.into_iter().collect(), span: None }
}

fn budget((master, rate): (usize, u64)) -> BandwidthBudget {
    BandwidthBudget { master, budget: Rate::from_bytes_per_s(rate), span: None }
}

proptest! {
    #[test]
    fn writing_and_reading_gives_the_plan_again(plan in plan()) {
        let (system, mut sources) = system();
        let text = write_plan(&plan, &system);
        let (read, diagnostics) = read_plan("plan.toml", text.as_bytes(), &system, &mut sources);
        prop_assert_eq!(&diagnostics, &[], "{}", &text);
        let read = read.expect("no diagnostics, so a plan").without_places();
        prop_assert_eq!(&read, &plan, "{}", &text);
        prop_assert_eq!(write_plan(&read, &system), text);
    }
}
