//! What bounds are made of, what breaks first, and every other part of the report that shows claims by kind.

#![allow(clippy::disallowed_types, clippy::float_arithmetic, reason = "drawings are measured as a browser reads them")]

mod common;
mod read_page;

use claim::{FoundBy, Kind, Part, PartKind, Simulated, Verdict};
use common::*;
use evidence::{CAUTIONS, Dossier, Inputs};
use model::system::{
    AddressRange, Cache, Devicetree, ExchangeFault, FaultAnswer, Protection, ReservedMemory, ReservedPlace, Rights,
    TreeMemory,
};
use plan::ColourGrant;
use quantity::{Address, Bytes, CacheId, ChannelId, PartitionId};
use read_page::*;
use scraper::ElementRef;
use std::collections::BTreeSet;
use std::sync::Arc;

#[test]
fn every_kind_of_claim_has_its_place_in_the_report() {
    let dossier = whole_dossier();
    let kinds: BTreeSet<Kind> = dossier.verdicts().iter().map(|verdict| verdict.kind).collect();
    assert_eq!(kinds, Kind::ALL.into_iter().collect(), "the claims of this test leave out a kind");
    let page = page(&dossier);
    for verdict in dossier.verdicts() {
        let rows = all(&page, &format!("main tr[id='{}']", verdict.id));
        assert_eq!(rows.len(), 1, "{}", verdict.id);
        assert!(words(&rows[0]).contains(verdict.status.words()), "{}", verdict.id);
    }
}

#[test]
fn links_lead_somewhere_and_rows_have_the_columns_of_their_head() {
    let page = page(&whole_dossier());
    let ids: Vec<_> = all(&page, "[id]").iter().filter_map(|e| e.attr("id")).collect();
    let known: BTreeSet<_> = ids.iter().copied().collect();
    assert_eq!(known.len(), ids.len(), "an id stands twice");
    for link in all(&page, "a").iter().filter_map(|a| a.attr("href")) {
        assert!(link.strip_prefix('#').is_some_and(|target| known.contains(target)), "{link} leads nowhere");
    }
    let span = |cell: ElementRef<'_>| cell.attr("colspan").map_or(1, |span| span.parse().expect("a number"));
    let columns = |row: &ElementRef<'_>| -> u64 { row.children().filter_map(ElementRef::wrap).map(span).sum() };
    for table in all(&page, "table") {
        let head = columns(&within(&table, "thead tr")[0]);
        within(&table, "tbody tr").iter().for_each(|row| assert_eq!(columns(row), head, "{}", row.html()));
    }
}

#[test]
fn every_kind_of_part_has_a_pattern_and_those_that_are_there_an_entry_in_the_key() {
    let some: Vec<_> = all(&page(&whole_dossier()), "#part-chains .key li").iter().map(words).collect();
    let there = ["device", "waiting", "blackout", "delay", "executing", "port", "alignment"];
    assert_eq!(some.len(), there.len());
    assert!(some.iter().zip(there).all(|(entry, kind)| entry.contains(kind)), "{some:?}");
    let mut verdicts = claims();
    let parts = PartKind::ALL.into_iter().map(|kind| Part::new("SAFE.stop", kind, 1_000)).collect();
    verdicts.push(made_of("reaction/ALL", Kind::Reaction, 50, parts));
    let page = page(&Dossier::compose(Inputs { verdicts, ..inputs_of(whole_system()) }));
    let key: Vec<_> = all(&page, "#part-chains .key li").iter().map(words).collect();
    assert_eq!(key.len(), PartKind::ALL.len());
    let mut weaves = BTreeSet::new();
    for (kind, entry) in PartKind::ALL.into_iter().zip(&key) {
        assert!(entry.contains(kind.word()), "{entry}");
        let pattern = &all(&page, &format!("pattern#kind-{}", kind.word()))[0];
        weaves.insert(pattern.inner_html().replace(kind.word(), ""));
    }
    assert_eq!(weaves.len(), PartKind::ALL.len(), "two kinds look alike without colour");
}

#[test]
fn a_waterfall_is_to_scale_and_carries_need_and_bounds() {
    let dossier = whole_dossier();
    let verdict = dossier.verdicts().iter().find(|v| v.id == "reaction/E1").expect("it is there");
    let page = page(&dossier);
    let drawing = &all(&page, "#part-chains article svg.drawing")[0];
    let segments = within(drawing, "rect.segment");
    // Once in the bar of all, once in its owner's step.
    assert_eq!(segments.len(), 2 * verdict.parts.len());
    let whole: f64 = segments[..verdict.parts.len()].iter().map(|s| number(s, "width")).sum();
    for (segment, part) in segments.iter().zip(&verdict.parts) {
        let share = number(segment, "width") / whole * 34.7;
        assert!((share - part.ns as f64 / 1e6).abs() < 0.05, "{}: {share}", part.what);
    }
    let text = words(drawing);
    for flag in ["need 60 ms", "generic bound 67 ms", "table-aware bound 34.7 ms"] {
        assert!(text.contains(flag), "{flag} is missing from {text}");
    }
    let (start, need) = (number(&segments[0], "x"), number(&within(drawing, "line.limit")[0], "x1"));
    assert!(((need - start) / whole * 34.7 - 60.0).abs() < 0.05);
}

#[test]
fn the_table_beside_a_waterfall_adds_up_to_the_bound() {
    let page = page(&whole_dossier());
    let rows = within(&all(&page, "#part-chains article")[0], "tbody tr");
    let owners: Vec<_> = rows.iter().map(|row| words(&within(row, "th")[0])).collect();
    assert_eq!(owners, ["radar", "SAFE.stop", "CH01", "WORK.run", "thruster"]);
    assert!(words(&rows[1]).contains("waiting 10 ms, blackout 9.04 ms, executing 268 us"), "{}", words(&rows[1]));
    assert!(words(rows.last().expect("there are rows")).ends_with("34.7 ms"));
}

#[test]
fn chains_keep_their_columns_apart_and_their_caution_beside_them() {
    let page = page(&whole_dossier());
    let cells = |id: &str| -> Vec<String> {
        within(&all(&page, &format!("tr[id='{id}']"))[0], "td").iter().map(words).collect()
    };
    assert_eq!(
        cells("reaction/E1"),
        ["≤ 60 ms", "67 ms", "34.7 ms", "not simulated", "table-aware", "25.3 ms", "shown"]
    );
    assert_eq!(cells("data_age/E2"), ["≤ 30 ms", "34.7 ms", "–", "not simulated", "generic", "−4.7 ms", "not shown"]);
    let caution = words(&all(&page, "#part-chains p.caution")[0]);
    assert!(caution.contains("synchronised") && caution.ends_with(CAUTIONS[7].text), "{caution}");
}

#[test]
fn boot_and_restarts_have_a_lane_a_claim() {
    let page = page(&whole_dossier());
    let drawings = all(&page, "#part-recovery svg.drawing");
    let chart = |title: &str| drawings.iter().find(|d| words(d).starts_with(title)).expect("the chart is drawn");
    let boot = words(chart("Boot, counted from reset"));
    for part in ["boot stages", "authenticate and load", "SAFE", "WORK", "1.6656 s", "≤ 3.5 s"] {
        assert!(boot.contains(part), "{part} is missing from {boot}");
    }
    // Of the two outages of SAFE one need lies too far away and is pointed at.
    let safe = chart("Outages of SAFE");
    assert_eq!((within(safe, "line.limit").len(), within(safe, "path.arrow").len()), (1, 1));
    assert_eq!(within(chart("Outages of WORK"), "line.limit").len(), 1);
}

#[test]
fn a_claim_that_counts_from_the_first_frame_has_an_axis_of_its_own() {
    let parts = vec![Part::new("SAFE", PartKind::Blackout, 9), Part::new("SAFE", PartKind::Initialisation, 5)];
    let mut verdicts = claims();
    verdicts.push(made_of("boot/ZOOM", Kind::Boot, 1, parts));
    let page = page(&Dossier::compose(Inputs { verdicts, ..inputs_of(whole_system()) }));
    let titles: Vec<_> = all(&page, "#part-recovery svg.drawing > title").iter().map(words).collect();
    assert_eq!(titles[..2], ["Boot, counted from reset", "Boot, counted from the first frame"]);
}

#[test]
fn schedule_changes_stand_in_a_matrix() {
    let page = page(&whole_dossier());
    let rows = within(&all(&page, "#part-changes table")[0], "tbody tr");
    let cells: Vec<Vec<String>> = rows.iter().map(|row| within(row, "td").iter().map(words).collect()).collect();
    assert_eq!(cells[0], ["–", "shown, 120 ms", "no claim"]);
    assert_eq!(cells[1], ["must not follow", "–", "no claim"]);
    assert_eq!(cells[2], ["no claim", "no claim", "–"]);
}

#[test]
fn ports_network_and_core_sets_say_what_is_declared() {
    let page = page(&whole_dossier());
    // Every text apart from the next, as the cells of a row are.
    let text = |part: &str| -> String {
        let text = all(&page, &format!("#part-{part}"))[0].text().collect::<Vec<_>>().join(" ");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    // 6 messages of 64 bytes.
    for (part, said) in [
        ("ports", "4 6 384 B"),
        ("network", "Forwarded by WORK : 1 channel of 1 sender"),
        ("core-sets", "clock drifts by 20 ppm"),
        ("core-sets", "server 2 ms 10 ms 8 ms"),
        ("health", "warm start 3 60 s cold start 100 ms SAFE"),
        ("margins", "The largest new partition of each core"),
    ] {
        assert!(text(part).contains(said), "{said} is missing from {}", text(part));
    }
}

#[test]
fn what_breaks_first_is_ranked_by_room() {
    let dossier = whole_dossier();
    let ranked: Vec<_> = dossier.what_breaks_first().iter().map(|h| (h.verdict.id.clone(), h.ppm)).collect();
    // 1034088 - 1000000; (300 - 268) / 268; (227.2 - 25) / 25: all by hand.
    let by_hand =
        [("margin/partition/WORK", 34_088), ("response/SAFE.stop", 119_402), ("margin/overhead/refill", 8_088_000)];
    assert_eq!(ranked, by_hand.map(|(id, ppm)| (id.to_owned(), ppm)));
    let answer: serde_json::Value = serde_json::from_str(&evidence::json::render(&dossier)).expect("an object");
    let listed = answer["what_breaks_first"].as_array().expect("a list");
    for (entry, (id, ppm)) in listed.iter().zip(by_hand) {
        assert_eq!((&entry["id"], &entry["headroom_ppm"]), (&id.into(), &ppm.into()));
    }
    let rows = all(&page(&dossier), "#part-breaks-first tbody tr").len();
    assert_eq!((listed.len(), rows), (3, 3));
}

/// A text's box as it is at least: most letters are wider than half of their size.
fn text_box(text: &ElementRef<'_>) -> (f64, f64, f64, f64) {
    let class = text.attr("class").unwrap_or_default();
    let has = |name: &str| class.split(' ').any(|one| one == name);
    let size = if has("label") {
        12.0
    } else if has("tick") || has("name") || has("letter") {
        10.0
    } else {
        11.0
    };
    let width = words(text).chars().count() as f64 * size * 0.5;
    let (x, y) = (number(text, "x"), number(text, "y"));
    let left = if has("end") {
        x - width
    } else if has("middle") {
        x - width / 2.0
    } else {
        x
    };
    (left, y - size * 0.7, left + width, y)
}

#[test]
fn no_text_of_a_drawing_overlaps_another_or_is_cut_off() {
    let long = "A_PARTITION_WITH_A_VERY_LONG_NAME.and_a_task_of_it";
    let parts = |n: u64| {
        (0..n)
            .map(|k| Part::new(format!("{long}{k}"), PartKind::ALL[k as usize % PartKind::ALL.len()], 7_000 + k))
            .collect()
    };
    let mut verdicts = claims();
    for (id, kind) in [("reaction", Kind::Reaction), ("boot", Kind::Boot), ("restart", Kind::Restart)] {
        for (limit, n) in [(1, 3), (50, 24), (u64::MAX / 2000, 2)] {
            let verdict = made_of(&format!("{id}/{long}{n}/warm"), kind, limit, parts(n));
            verdicts.push(Verdict { generic: verdict.bound, table_aware: Some(1), ..verdict });
        }
    }
    let page = page(&Dossier::compose(Inputs { verdicts, ..inputs_of(whole_system()) }));
    let drawings = [all(&page, "#part-chains svg.drawing"), all(&page, "#part-recovery svg.drawing")].concat();
    assert!(drawings.len() >= 10, "{}", drawings.len());
    for drawing in drawings {
        let boxes: Vec<_> = within(&drawing, "text").iter().map(|text| (words(text), text_box(text))).collect();
        for (at, (one, a)) in boxes.iter().enumerate() {
            assert!(a.0 >= 0.0 && a.2 <= number(&drawing, "width"), "{one} is cut off: {a:?}");
            for (other, b) in &boxes[at + 1..] {
                let apart = a.2 <= b.0 || b.2 <= a.0 || a.3 <= b.1 || b.3 <= a.1;
                assert!(apart, "{one} {a:?} overlaps {other} {b:?}");
            }
        }
    }
}

#[test]
fn the_table_of_the_memory_map_tells_rights_and_guards() {
    let mut system = whole_system();
    let rights = |read, write, execute| Rights { read, write, execute };
    let region = &mut system.regions[0];
    region.owner_rights = Some(rights(true, true, false));
    region.access = vec![(at(PartitionId::new(1)), rights(true, false, false))];
    region.guard = Some(at(Bytes::from_mib(2)));
    let page = page(&Dossier::compose(inputs_of(system)));
    let rows = within(&all(&page, "#part-memory table")[0], "tbody tr");
    let told: Vec<Vec<String>> = rows.iter().map(|row| within(row, "th, td").iter().map(words).collect()).collect();
    let of = |name: &str| told.iter().find(|row| row[0] == name).map(|row| (row[2].as_str(), row[6].as_str()));
    assert_eq!(of("buffers"), Some(("rw, WORK r", "2 MiB")), "{told:?}");
    assert_eq!(of("SAFE"), Some(("all", "–")), "{told:?}");
}

/// A node that the plan knows nothing of, between the other placements.
fn firmware() -> Devicetree {
    let range = AddressRange { base: Address::new(0x8400_0000), size: Bytes::from_mib(2) };
    let node = |name: &str, range| ReservedMemory {
        name: at(name.into()),
        labels: vec![],
        line: 7,
        place: ReservedPlace::Fixed(vec![range]),
        no_map: true,
        reusable: false,
    };
    let buffers = AddressRange { base: Address::new(0x8000_0000), size: Bytes::from_mib(8) };
    let memory = AddressRange { base: Address::new(0x8000_0000), size: Bytes::from_mib(4096) };
    Devicetree {
        user: None,
        memories: vec![TreeMemory { name: at("memory".into()), line: 3, ranges: vec![memory] }],
        reserved: vec![node("secure@84000000", range), node("buffers@80000000", buffers)],
    }
}

/// By hand: what lies in the memory of these tests is cut where guards and reservations begin and end.
#[test]
fn the_memory_map_draws_guards_reservations_and_colours() {
    let mut system = whole_system();
    system.partitions[0].guard = Some(at(Bytes::from_mib(1)));
    system.board.devicetree = Some(firmware());
    let inputs = inputs_of(system);
    let mut plan = plan_for(None);
    let colours = vec![0, 1, 2, 7];
    plan.colours.push(ColourGrant { cache: CacheId::new(0), partition: PartitionId::new(1), colours, span: None });
    let page = page(&Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs }));
    let drawing = all(&page, "#part-memory svg.drawing")[0];
    let names: Vec<String> = within(&drawing, "text.name").iter().map(words).collect();
    let expected = [
        ("buffers", "8 MiB"),
        ("free", "31 MiB"),
        ("guard of SAFE", "1 MiB"),
        ("SAFE", "4 MiB"),
        ("guard of SAFE", "1 MiB"),
        ("free", "19 MiB"),
        ("reserved: secure@84000000", "2 MiB"),
        ("free", "30 MiB"),
        ("WORK, colours 0-2,7 of 32 in L2", "256 MiB"),
        ("free", "3744 MiB"),
    ];
    assert_eq!(names, expected.iter().flat_map(|(name, size)| [*name, *size]).collect::<Vec<_>>());
    assert_eq!(within(&drawing, ".band").len(), 2, "one in the bar and one in the box of the buffers");
    assert_eq!(within(&drawing, ".own-colours").len(), 2, "two runs of colours");
    let key: Vec<String> = all(&page, "#part-memory .key li").iter().map(words).collect();
    assert_eq!(key.len(), 5, "{key:?}");
    let told = words(&within(&drawing, "desc")[0]);
    assert!(told.contains("3 placed, 4 free, 2 kept free by guards, 1 reserved by the devicetree"), "{told}");
    let rows = all(&page, "#part-memory table").iter().map(words).collect::<String>();
    assert!(rows.contains("nobody in the plan") && rows.contains("2 MiB from 0x8400_0000"), "{rows}");
}

/// A bound without parts says why it has none, below its row; one with parts says these.
#[test]
fn why_a_bound_is_not_told_by_its_parts_is_a_sentence() {
    let with = |id: &str, parts: Vec<Part>, untold| Verdict {
        bound: Some(40_000_000),
        untold,
        ..made_of(id, Kind::Response, 60_000, parts)
    };
    let verdicts = vec![
        with("response/CLUSTER.t", Vec::new(), Some("jobs run on whichever virtual core is free")),
        with("response/OPAQUE", Vec::new(), Some("what an opaque guest executes is not declared job by job")),
        with("response/TOLD.t", vec![Part::new("own", PartKind::Executing, 40_000_000)], None),
    ];
    let page = page(&Dossier::compose(Inputs { verdicts, ..inputs_of(whole_system()) }));
    let below = |id: &str| {
        let rows: Vec<String> = all(&page, "#part-responses tbody tr").iter().map(words).collect();
        let at = rows.iter().position(|row| row.contains(id)).expect("a row");
        rows[at + 1].clone()
    };
    assert_eq!(below("response/CLUSTER.t"), "Not told by its parts: jobs run on whichever virtual core is free.");
    assert_eq!(
        below("response/OPAQUE"),
        "Not told by its parts: what an opaque guest executes is not declared job by job."
    );
    assert_eq!(below("response/TOLD.t"), "Parts: own (executing 40 ms).");
}

/// By hand: 30 of 50 ms are 60 %, 30 of 40 ms are 75 %, and of a bound of 31 ms alone 30 ms are 96.8 %, rounded up.
#[test]
fn runs_with_concurrent_requests_stand_beside_the_bounds_of_responses() {
    let seen = Simulated { largest: 30_000_000, found_by: FoundBy::Search, runs: 4 };
    let with = |id: &str, bound: u64, generic: Option<u64>| {
        let verdict = made_of(id, Kind::Response, 60, vec![Part::new("own", PartKind::Executing, bound)]);
        Verdict { generic, table_aware: generic.and(Some(bound)), concurrent: Some(seen), ..verdict }
    };
    let both = [with("response/A.t", 40_000_000, Some(50_000_000)), with("response/B.t", 31_000_000, None)];
    let page = page(&Dossier::compose(Inputs { verdicts: both.into(), ..inputs_of(whole_system()) }));
    let part = words(&all(&page, "#part-responses")[0]);
    for told in [
        "Runs with concurrent requests: at most 30 ms, 60.0 % of the request-driven bound, 75.0 % of that by what others can ask for.",
        "Runs with concurrent requests: at most 30 ms, 96.8 % of the bound.",
        "pass none of 2 response bounds; the closest come to B.t 96.8 %, A.t 75.0 % of theirs.",
    ] {
        assert!(part.contains(told), "{told} is missing from {part}");
    }
    assert!(!words(&all(&self::page(&whole_dossier()), "#part-responses")[0]).contains("concurrent"));
}

/// By hand: of L2's 32 colours WORK was given five; its pages have those only whose number is a colour of L3 too, of which there are 8.
#[test]
fn who_has_which_page_colours_is_drawn_for_every_cache() {
    let mut system = whole_system();
    let l3 =
        Cache { name: at("L3".into()), size: at(Bytes::from_mib(1)), ways: at(32), ..system.board.caches[0].clone() };
    system.board.caches.push(l3);
    let number = |cache: &Cache| separation::page_colours(cache.size.value, 1, cache.ways.value, Bytes::new(4096));
    assert_eq!(system.board.caches.iter().map(number).collect::<Vec<_>>(), [32, 8]);
    let mut plan = plan_for(None);
    for (cache, colours) in [(0, vec![0, 1, 2, 7, 30]), (1, vec![0, 1, 2, 3])] {
        let (cache, partition) = (CacheId::new(cache), PartitionId::new(1));
        plan.colours.push(ColourGrant { cache, partition, colours, span: None });
    }
    let page = page(&Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs_of(system) }));
    let figures: Vec<_> =
        all(&page, "#part-shared figure").into_iter().filter(|of| words(of).contains("page colours")).collect();
    let [second, third] = &figures[..] else { panic!("{} figures", figures.len()) };
    let drawn = |figure: &ElementRef<'_>, of: &str| within(figure, &format!("svg.drawing {of}")).len();
    assert_eq!((drawn(second, ".window"), drawn(second, ".head")), (1, 2), "0 to 2; and neither 7 nor 30");
    assert_eq!((drawn(third, ".window"), drawn(third, ".head")), (1, 1), "0 to 2; and not 3");
    let told = |figure: &ElementRef<'_>| within(figure, "text.name").iter().map(words).collect::<Vec<_>>();
    assert_eq!(told(second), ["3 of 32, 192 KiB, of 5 given"]);
    assert_eq!(told(third), ["3 of 8, 384 KiB, of 4 given"]);
    assert_eq!(within(second, ".key li").len(), 3);
}

#[test]
fn the_key_of_the_memory_map_names_only_what_is_drawn() {
    let key: Vec<String> = all(&page(&whole_dossier()), "#part-memory .key li").iter().map(words).collect();
    assert_eq!(key, ["free"]);
}

/// The matrix has a column for each kind of fault, and says in words what its letters stand for.
#[test]
fn faults_of_exchange_are_a_matrix_with_words() {
    let mut system = whole_system();
    let measures = FaultAnswer::Measures(vec!["CRC-32".into()]);
    let answers = vec![(ExchangeFault::Corruption, at(measures))];
    system.channels[0].measures = Some(at(Protection { name: None, answers }));
    system.channels[2].passes_on = Some(at(ChannelId::new(0)));
    let page = page(&Dossier::compose(inputs_of(system)));
    let tables = all(&page, "#part-exchange table");
    let row = |name: &str| {
        let rows = within(&tables[0], "tbody tr");
        let row = rows.iter().find(|row| words(row).starts_with(name)).expect("a row").to_owned();
        within(&row, "td").iter().map(words).collect::<String>()
    };
    // Its claim about the refresh period is not shown, so loss and delay are open; one partition reads it.
    assert_eq!(row("CH01"), "–––CCCMCCC");
    assert!(words(&tables[1]).contains("corruption: CRC-32"), "{}", words(&tables[1]));
    // It passes that on: whoever passes it on may do anything else to it, and the forwarder may keep somebody waiting.
    assert_eq!(row("CH03"), "––––––PCC–");
    assert!(words(&tables[1]).contains("corruption: CRC-32 (attached for CH01)"), "{}", words(&tables[1]));
}

/// Of two tasks of a partition the one counts of whose bound a master makes up more, and who is held up by nobody has no row.
#[test]
fn who_lengthens_whom_stands_in_page_text_and_json() {
    let held_up = |id: &str, ns: u64| {
        let parts = [
            ("SAFE.stop", PartKind::Executing, 900 - ns),
            ("DMA", PartKind::Interference, ns / 4),
            ("DMA", PartKind::Interference, ns - ns / 4),
        ];
        made_of(id, Kind::Response, 50, parts.map(|(what, kind, ns)| Part::new(what, kind, ns)).to_vec())
    };
    let mut verdicts = claims();
    verdicts.retain(|verdict| verdict.kind != Kind::Response);
    verdicts.push(held_up("response/SAFE.stop", 300));
    verdicts.push(made_of(
        "response/WORK.run",
        Kind::Response,
        50,
        vec![Part::new("WORK.run", PartKind::Executing, 5)],
    ));
    let dossier = Dossier::compose(Inputs { verdicts, ..inputs_of(whole_system()) });
    let json: serde_json::Value = serde_json::from_str(&evidence::json::render(&dossier)).expect("it is JSON");
    let row =
        serde_json::json!([{ "partition": "SAFE", "by": "DMA", "task": "SAFE.stop", "ns": 300, "permille": 334 }]);
    assert_eq!(json["who_lengthens_whom"], row);
    let text = evidence::text::render(&dossier, evidence::text::Detail::All, evidence::text::Style::default());
    assert!(text.contains("SAFE. DMA: 300 ns of SAFE.stop."), "{text}");
    let page = page(&dossier);
    let tables = all(&page, "#part-responses table");
    let table = tables.iter().map(words).find(|words| words.contains("Who lengthens whom")).expect("the matrix");
    assert!(table.contains("33.4 %") && table.contains("300 ns of SAFE.stop"), "{table}");
    assert!(!table.contains("WORK"), "{table}");
}
