//! The findings that the survey vessel was designed to show, each made by one edit and read from the program's answer.
//!
//! The expected figures come from the vessel's design arithmetic, made apart from this program, to its digits.

use crate::common::*;
use serde_json::Value;
use std::path::Path;

/// Checks a changed vessel and gives its answer.
fn after(name: &str, status: i32, change: impl Fn(&Path)) -> Value {
    let folder = with_vessel(&format!("seeded_{name}"));
    change(&folder.join("vessel"));
    call(&folder, &["check", "vessel", "--format", "json", "--allow-not-analysed"]).expect(status).json()
}

/// The claims of one kind that are not shown or violated, with their words.
fn open<'a>(answer: &'a Value, kind: &str) -> Vec<(&'a str, &'a str)> {
    let word = |v: &'a Value, key: &str| v[key].as_str().expect("a text");
    let all = verdicts(answer).iter().filter(|v| v["kind"] == kind);
    let named = all.map(|v| (word(v, "id"), word(v, "status")));
    named.filter(|(_, status)| ["not_shown", "violated"].contains(status)).collect()
}

/// A bound in the design's digits: tenths of a millisecond, rounded half up.
fn tenths_of_ms(answer: &Value, id: &str) -> u64 {
    (verdict(answer, id)["bound"].as_u64().unwrap_or_else(|| panic!("{id} has a bound")) + 50_000) / 100_000
}

fn reason<'a>(answer: &'a Value, id: &str) -> &'a str {
    verdict(answer, id)["reason"].as_str().expect("it has a reason")
}

#[test]
fn the_recorders_budget_in_two_windows_is_too_late_for_two_tasks() {
    let answer = after("recorder", 1, |vessel| {
        let old = "start = \"9 ms\"\nlength = \"4 ms\"\nevery = \"20 ms\"\n";
        let window = "start = \"9 ms\"\nlength = \"10 ms\"\n\n[[window]]\ncore = \"2\"\npartition = \"RECD\"\n";
        edit(&vessel.join("plan.toml"), old, &format!("{window}start = \"49 ms\"\nlength = \"10 ms\"\n"));
    });
    let late = [("response/RECD.index", "violated"), ("response/RECD.writer", "violated")];
    assert_eq!(open(&answer, "response"), late);
    assert_eq!(late.map(|(id, _)| tenths_of_ms(&answer, id)), [910, 545]);
    let queue = verdict(&answer, "queue_depth/CH13");
    assert_eq!((&queue["bound"], &queue["limit"], &queue["status"]), (&6.into(), &6.into(), &"shown".into()));
}

/// 64 B at this rate take 60 ns instead of 50.
#[test]
fn slower_lines_break_the_two_tight_partitions() {
    let answer = after("lines", 1, |vessel| {
        edit(&vessel.join("system.toml"), "guaranteed = \"1280 MB/s\"", "guaranteed = \"1066666667 B/s\"");
    });
    let late = ["response/OBJT.trk", "response/SONR.beam", "response/SONR.svp"];
    assert_eq!(open(&answer, "response"), late.map(|id| (id, "violated")));
    assert_eq!([late[0], late[1]].map(|id| tenths_of_ms(&answer, id)), [783, 350]);
    assert!(verdict(&answer, late[2])["bound"].is_null());
    assert!(reason(&answer, late[2]).contains("the demand passes the supply by 848 us in each frame"));
}

/// The design gives 35.3 ms for the first job of SONR.beam; no bound holds for the later ones.
#[test]
fn one_more_master_breaks_the_two_tight_partitions() {
    let answer = after("master", 1, |vessel| {
        let dma = "[[board.interconnect.master]]\nname = \"DMA\"\n";
        let more = format!("{dma}\n[[board.interconnect.master]]\nname = \"camera DMA\"\n");
        edit(&vessel.join("system.toml"), dma, &more);
    });
    let late = ["response/OBJT.trk", "response/SONR.beam", "response/SONR.svp"];
    assert_eq!(open(&answer, "response"), late.map(|id| (id, "violated")));
    assert_eq!(tenths_of_ms(&answer, late[0]), 788);
    assert!(late[1..].iter().all(|id| verdict(&answer, id)["bound"].is_null()));
    assert!(reason(&answer, late[2]).contains("the demand passes the supply by 1.863 ms in each frame"));
}

/// The design says that all deadlines and chains hold; beyond it, one sampled message can now be found stale.
#[test]
fn a_slower_refill_keeps_every_deadline() {
    let answer = after("refill", 1, |vessel| {
        edit(&vessel.join("system.toml"), "refill = \"25 us\"", "refill = \"60 us\"");
    });
    for kind in ["response", "reaction", "data_age", "queue_depth", "restart", "boot"] {
        assert_eq!(open(&answer, kind), [], "{kind}");
    }
    assert_eq!(open(&answer, "refresh"), [("refresh/CH04", "not_shown")]);
}

#[test]
fn the_supervisor_at_the_end_of_its_slot_costs_the_emergency_stop_a_millisecond() {
    let answer = after("supervisor", 0, |vessel| {
        let window = |start| format!("partition = \"STOP\"\nstart = \"{start} ms\"");
        edit(&vessel.join("plan.toml"), &window(0), &window(9));
    });
    let stop = verdict(&answer, "reaction/E1");
    assert_eq!((&stop["status"], &stop["bound"]), (&"shown".into(), &stop["table_aware"]));
    assert_eq!(tenths_of_ms(&answer, "reaction/E1"), 357);
}

/// The rule keeps 30 % of each core free: 5 ms more leave core 2 exactly that.
#[test]
fn a_listener_for_whales_fits_with_5_ms_and_not_with_6() {
    let margin = |length_ms: u64, status| {
        let answer = after(&format!("whales_{length_ms}"), status, |vessel| {
            let stop = "[[partition]]\nname = \"STOP\"\n";
            let keys = "level = \"none\"\nzone = \"Z-SURVEY\"\nguest = \"fixed priority\"\nperiod = \"100 ms\"\n";
            let whales = format!("[[partition]]\nname = \"WHAL\"\n{keys}budget = \"{length_ms} ms\"\n\n{stop}");
            edit(&vessel.join("system.toml"), stop, &whales);
            let plan = vessel.join("plan.toml");
            let window = "[[window]]\ncore = \"2\"\npartition = \"WHAL\"\nstart = \"13 ms\"\n";
            write(&plan, format!("{}\n{window}length = \"{length_ms} ms\"\n", read(&plan)));
        });
        ["status", "bound", "limit"].map(|key| verdict(&answer, "margin/core/2")[key].clone())
    };
    assert_eq!(margin(5, 0), ["shown".into(), Value::from(300_000), 300_000.into()]);
    assert_eq!(margin(6, 1), ["violated".into(), Value::from(290_000), 300_000.into()]);
}

#[test]
fn a_shorter_refresh_and_a_shallower_queue_are_found() {
    let refresh = after("refresh", 1, |vessel| {
        edit(&vessel.join("channels.csv"), "SONR.ping; MAIN.log,40 ms", "SONR.ping; MAIN.log,35 ms");
    });
    assert_eq!(open(&refresh, "refresh"), [("refresh/CH03", "not_shown")]);
    assert_eq!(tenths_of_ms(&refresh, "refresh/CH03"), 377);
    assert!(reason(&refresh, "refresh/CH03").starts_with("stale possible"));

    let queue = after("queue", 1, |vessel| {
        edit(&vessel.join("channels.csv"), "RECD.writer,,6,20 ms", "RECD.writer,,4,20 ms");
    });
    assert_eq!(open(&queue, "queue_depth"), [("queue_depth/CH13", "not_shown")]);
    let depth = verdict(&queue, "queue_depth/CH13");
    assert_eq!((&depth["bound"], &depth["limit"]), (&5.into(), &4.into()));
    // What the queue loses never reaches the end of its chain.
    assert_eq!(open(&queue, "reaction"), [("reaction/E6", "not_shown")]);
}

#[test]
fn a_stream_into_the_memory_of_another_is_found() {
    let answer = after("stream", 1, |vessel| {
        edit(
            &vessel.join("system.toml"),
            "dma_stream = \"ETH1\"\nreaches = [\"OBJT\"]",
            "dma_stream = \"ETH1\"\nreaches = [\"OBJT\", \"LINK\"]",
        );
    });
    assert_eq!(open(&answer, "device"), [("device/ETH1", "violated")]);
    assert_eq!(reason(&answer, "device/ETH1"), "its stream reaches `LINK`, which its owner `OBJT` may not write");
}

/// MAIN lies above 4 GiB, and OBJT below.
#[test]
fn a_master_of_32_bits_does_not_reach_memory_above_4_gib() {
    let of = |name: &str, stream: &str| {
        after(name, i32::from(stream == "USB0"), |vessel| {
            let stream = format!("dma_stream = \"{stream}\"\n");
            edit(&vessel.join("system.toml"), &stream, &format!("{stream}dma_address_bits = 32\n"));
        })
    };
    assert_eq!(open(&of("bits_above", "USB0"), "device"), [("device/USB0", "violated")]);
    assert_eq!(open(&of("bits_below", "ETH1"), "device"), []);
}

#[test]
fn a_channel_from_the_survey_side_to_the_autonomy_is_a_forbidden_flow() {
    let answer = after("flow", 1, |vessel| {
        let file = vessel.join("channels.csv");
        write(&file, format!("{}CH25,Quality,sampling,8 B,BATH.qc,TRAK.line,200 ms,,,,,range\n", read(&file)));
    });
    // The way goes on: what reaches TRAK reaches all of Z-AUTON, and by TRAK.guid Z-SAFE.
    let found = ["flow/BATH/TRAK", "flow/zone/Z-SURVEY/Z-AUTON", "flow/zone/Z-SURVEY/Z-SAFE"];
    assert_eq!(open(&answer, "flow"), found.map(|id| (id, "violated")));
    assert!(reason(&answer, found[0]).contains("channel CH25 flows from Z-SURVEY to Z-AUTON"));
    assert!(
        reason(&answer, found[2])
            .starts_with("what is in BATH gets by channel CH25 to TRAK, then by channel CH05 to PROP")
    );
}

/// The policy's own words: without them CH17 then CH09 or CH10 would be a way from Z-SURVEY to Z-AUTON and Z-SAFE.
#[test]
fn without_its_filters_the_shore_link_opens_ways_into_the_inside() {
    let answer = after("filters", 1, |vessel| {
        let file = vessel.join("system.toml");
        let text = read(&file);
        let (first, last) =
            (text.find("[[flow.filter]]").expect("filters"), text.find("[[boot.stage]]").expect("boot"));
        write(&file, format!("{}{}", &text[..first], &text[last..]));
    });
    // The first two are open by the other's channel: what CH10 brings to STOP goes on to TRAK, and from CH09 on to PROP.
    let ways = ["Z-EXT/Z-AUTON", "Z-EXT/Z-SAFE", "Z-EXT/Z-SURVEY", "Z-SURVEY/Z-AUTON", "Z-SURVEY/Z-SAFE"]
        .map(|pair| format!("flow/zone/{pair}"));
    assert_eq!(open(&answer, "flow"), ways.each_ref().map(|id| (id.as_str(), "violated")));
    let ends = ["by channel CH09 to TRAK", "by channel CH10 to STOP"];
    for (id, end) in ways[3..].iter().zip(ends) {
        let words = reason(&answer, id);
        assert!(
            words.starts_with("what is in BATH gets by channel CH17 to LINK, then") && words.contains(end),
            "{words}"
        );
    }
}

#[test]
fn a_demand_of_sil_2_through_a_partition_of_sil_1_is_found_with_two_mends() {
    let answer = after("demand", 0, |_| {});
    let found = ["criticality/chain/E2", "criticality/chain/E4"];
    assert_eq!(open(&answer, "criticality"), found.map(|id| (id, "violated")), "accepted, and violated all the same");
    let words = reason(&answer, found[0]);
    assert!(
        words.starts_with("what COLA.decide (SIL 2) sends passes through TRAK (SIL 1) on its way to PROP.arb (SIL 2)")
    );
    assert!(words.ends_with("raise TRAK to SIL 2, or carry it from COLA.decide to PROP.arb directly"), "{words}");

    let raised = after("raised", 0, |vessel| {
        let track = "function = \"Survey-line guidance, mode manager\"\nlevel = \"SIL";
        edit(&vessel.join("system.toml"), &format!("{track} 1\""), &format!("{track} 2\""));
    });
    assert_eq!(open(&raised, "criticality"), []);
}

#[test]
fn an_upward_flow_without_a_check_is_found() {
    let answer = after("unchecked", 1, |vessel| {
        edit(
            &vessel.join("channels.csv"),
            "PROP.alloc,40 ms,,,,state,limit clamped to the rated power",
            "PROP.alloc,40 ms,,,,state,",
        );
    });
    assert!(open(&answer, "criticality").contains(&("criticality/CH11", "violated")));
    let words = reason(&answer, "criticality/CH11");
    assert!(words.starts_with("channel CH11 goes from ENGM (SIL 1) to PROP (SIL 2) unchecked"), "{words}");
}

/// 90 ms hold no whole number of 20, 50 or 100 ms; 10 ms, the period of three partitions, are the exception.
#[test]
fn a_shorter_frame_is_refused_for_every_period_that_it_cuts() {
    let folder = with_vessel("seeded_frame");
    edit(&folder.join("vessel/system.toml"), "frame = \"100 ms\"", "frame = \"90 ms\"");
    let run = call(&folder, &["check", "vessel"]).expect(2);
    run.complains(&[
        "error[E0305]",
        "the frame, 90 ms, is no multiple",
        "a frame of 100 ms is a multiple of every period",
    ]);
    assert!(!run.err.contains("the period of partition `STOP`"), "{}", run.err);
}

/// The utilisation of what each partition is given, in the design's tenths of a percent.
#[test]
fn robust_time_tells_the_designs_demand_of_every_partition() {
    let demand = [
        ("STOP", 788),
        ("NAVF", 816),
        ("PROP", 835),
        ("ENGM", 842),
        ("TRAK", 807),
        ("OBJT", 805),
        ("COLA", 832),
        ("SONR", 928),
        ("RECD", 835),
        ("LINK", 725),
        ("BATH", 843),
        ("MAIN", 795),
    ];
    // With the two channels closed that the vessel leaves open, nothing but containment stands in the way.
    let answer = after("closed", 0, |vessel| close(vessel, &["IOMMU", "supply and heat"]));
    assert_eq!(verdict(&answer, "channel/complete")["status"], "shown");
    for (partition, tenths) in demand {
        let found = verdict(&answer, &format!("robust_time/{partition}"));
        assert_eq!(found["status"], "shown", "{partition}");
        assert_eq!((found["bound"].as_u64().expect("a share") + 500) / 1000, tenths, "{partition}");
        let resources = format!("robust_resources/{partition}");
        assert!(
            reason(&answer, &resources).ends_with(&format!("containment/{partition} is not analysed")),
            "{partition}"
        );
    }
}

#[test]
fn a_channel_left_open_is_named_by_the_complete_verdict_and_by_every_partition() {
    let answer = after("open_channel", 0, |vessel| close(vessel, &["IOMMU"]));
    let complete = verdict(&answer, "channel/complete");
    assert_eq!((&complete["status"], &complete["reason"]), (&"not_shown".into(), &"open: power".into()));
    let of_stop = verdict(&answer, "robust_time/STOP");
    assert_eq!(of_stop["status"], "not_analysed");
    assert!(reason(&answer, "robust_time/STOP").ends_with("channels: channel/power is not analysed"));
}

/// One more way for core 1 is one of core 0's.
#[test]
fn ways_that_overlap_open_the_cache_and_take_robust_time_away() {
    let answer = after("overlap", 1, |vessel| {
        close(vessel, &["IOMMU", "supply and heat"]);
        edit(&vessel.join("plan.toml"), "ways = \"4-8\"", "ways = \"3-8\"");
    });
    assert_eq!(verdict(&answer, "cache/L2")["status"], "violated");
    assert_eq!(reason(&answer, "channel/complete"), "open: cache/L2");
    assert_eq!(reason(&answer, "channel/cache/L2"), "open: core 0 and core 1 share 1 way");
    for partition in ["STOP", "MAIN"] {
        let found = verdict(&answer, &format!("robust_time/{partition}"));
        assert_eq!(found["status"], "not_shown");
        let why = found["reason"].as_str().expect("the failing resource");
        assert!(why.ends_with("channels: channel/cache/L2 is not shown"), "{why}");
        let resources = reason(&answer, &format!("robust_resources/{partition}")).to_owned();
        assert!(resources.contains("storage: cache/L2 is violated"), "{resources}");
    }
}

/// Who lies in every bank of a memory in which another has banks of its own keeps none of them apart.
#[test]
fn banks_that_are_shared_take_robust_resources_away() {
    let answer = after("banks", 1, |vessel| {
        edit(&vessel.join("system.toml"), "placeable = true", "placeable = true\nbank_bits = [[13], [14]]");
        let plan = std::fs::read_to_string(vessel.join("plan.toml")).expect("it is there");
        let banks = "[[memory_banks]]\nmemory = \"RAM\"\npartition = \"STOP\"\nbanks = \"0\"\n";
        std::fs::write(vessel.join("plan.toml"), format!("{plan}\n{banks}")).expect("it can be written");
    });
    assert_eq!(verdict(&answer, "memory/banks/RAM")["status"], "violated");
    let resources = reason(&answer, "robust_resources/MAIN");
    assert!(resources.contains("memory/banks/RAM is violated"), "{resources}");
}

#[test]
fn streams_without_a_master_are_refused() {
    let folder = with_vessel("seeded_no_master");
    let dma = "[[board.interconnect.master]]\nname = \"DMA\"\n";
    edit(&folder.join("vessel/system.toml"), dma, "");
    let answer = call(&folder, &["check", "vessel", "--format", "json"]).expect(2).json();
    assert!(codes(&answer).contains(&"E0216"), "{:?}", codes(&answer));
}

/// Closes shared resources of the vessel by a word.
fn close(vessel: &Path, names: &[&str]) {
    let system = vessel.join("system.toml");
    for name in names {
        let head = format!("[[board.shared]]\nname = \"{name}\"\n");
        let word = "status = \"bounded\"\nby = \"measured under stress\"\nsource = \"stress report 4\"\n";
        edit(&system, &head, &format!("{head}{word}"));
    }
}

/// The tree reserves the port buffers one MiB higher: into the emergency stop's RAM, which then is not all its own.
#[test]
fn a_region_that_the_devicetree_has_elsewhere_is_found() {
    let answer = after("tree", 1, |vessel| {
        let node = |base: &str| format!("port-buffers@{base} {{\n\t\t\treg = <0x0 0x{base} ");
        edit(&vessel.join("board.dts"), &node("82000000"), &node("82100000"));
    });
    let id = "memory/tree/reserved/port-buffers@82100000";
    assert_eq!(open(&answer, "memory"), [(id, "violated")]);
    let moved =
        "the tree (line 27) reserves 8 MiB from 0x8210_0000, the plan places `port buffers` at 8 MiB from 0x8200_0000";
    let taken = "1 MiB from 0x8280_0000 of `STOP` are reserved and must not be mapped (line 27 of the tree)";
    assert_eq!(reason(&answer, id), format!("{moved}; {taken}"));
    assert_eq!(verdict(&answer, id)["where"]["file"], "plan.toml");
}
