//! What the sections from regions to accepted claims say arrives in the system.

mod common;

use common::{Files, SMALLEST, found, read, rendered};
use model::{Reading, System, read_system};
use serde_json::{Value, json};

/// The smallest system with a second partition and some sections.
fn text(sections: &str) -> String {
    let partition =
        "\n[[partition]]\nname = \"LOG\"\nguest = \"fixed priority\"\nrole = \"forwarder\"\nperiod = \"50 ms\"\n";
    let task = |name: &str, priority: u8| {
        format!("[[partition.task]]\nname = \"{name}\"\nperiod = \"50 ms\"\npriority = {priority}\nwcet = \"2 ms\"\n")
    };
    [SMALLEST, partition, &task("store", 2), &task("plot", 1), sections].concat()
}

fn system(sections: &str) -> System {
    let reading = read(text(sections));
    assert_eq!(rendered(&reading), "");
    reading.system.expect("a system")
}

/// What a part of the system holds: times in nanoseconds, elements by position.
fn value(part: impl serde::Serialize) -> Value {
    serde_json::to_value(part).expect("JSON")
}

fn codes(sections: &str) -> Vec<String> {
    found(&read(text(sections))).iter().map(|found| found[..5].to_owned()).collect()
}

#[test]
fn regions() {
    let system = system(
        "[[region]]\nname = \"core\"\nsize = \"32 MiB\"\nowner = \"hypervisor\"\n\
         [[region]]\nname = \"chart\"\nsize = \"1 MiB\"\nowner = \"shared\"\n\
         access = [{ partition = \"NAV\", rights = \"wr\" }, { partition = \"LOG\", rights = \"x\" }]\n\
         [[region]]\nname = \"heap\"\nsize = \"4 KiB\"\nowner = \"LOG\"\n",
    );
    let rights = |read: bool, write: bool, execute: bool| json!({ "read": read, "write": write, "execute": execute });
    let expected = json!([
        { "name": "core", "size": 33_554_432, "owner": "Hypervisor", "access": [] },
        { "name": "chart", "size": 1_048_576, "owner": "Shared",
          "access": [[0, rights(true, true, false)], [1, rights(false, false, true)]] },
        { "name": "heap", "size": 4096, "owner": { "Partition": 1 }, "access": [] },
    ]);
    assert_eq!(value(&system.regions), expected);
}

/// A system with a region under some keys, and a devicetree under some.
fn with_tree(keys: &str, region: &str) -> Reading {
    let tree = "/dts-v1/;\n/ { #address-cells = <1>; #size-cells = <1>;\n\
                memory@0 { device_type = \"memory\"; reg = <0 0x1000>; };\n\
                reserved-memory { #address-cells = <1>; #size-cells = <1>; ranges;\n\
                r: pool@100 { reg = <0x100 0x10>; no-map; }; cma { size = <0x40>; reusable; }; }; };\n";
    let region = format!("[[region]]\nname = \"R\"\nsize = \"1 KiB\"\nowner = \"hypervisor\"\n{region}");
    let main = format!("{}\n{keys}", text(&region));
    let files = [("system.toml", main.as_str()), ("board.dts", tree)];
    read_system("system.toml", &mut Files::from(files.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()))))
}

#[test]
fn a_devicetree_beside_the_file() {
    const KEYS: &str = "[board.devicetree]\nsource = \"board.dts\"\n";
    let reading = with_tree(&format!("{KEYS}user = \"LOG\"\n"), "reserved_as = \"r\"\n");
    assert_eq!(rendered(&reading), "");
    let system = reading.system.expect("a system");
    let expected = json!({
        "user": 1,
        "memories": [{ "name": "memory@0", "ranges": [{ "base": "0x0000_0000", "size": 4096 }] }],
        "reserved": [
            { "name": "pool@100", "labels": ["r"], "place": { "Fixed": [{ "base": "0x0000_0100", "size": 16 }] },
              "no_map": true, "reusable": false },
            { "name": "cma", "labels": [], "place": { "Chosen": { "size": 64, "within": [] } },
              "no_map": false, "reusable": true },
        ],
    });
    assert_eq!(value(&system.board.devicetree), expected);
    assert_eq!(value(&system.regions)[0]["reserved_as"], 0);
    let by_node = with_tree(KEYS, "reserved_as = \"pool@100\"\n").system.expect("a system");
    assert_eq!(value(&by_node.regions)[0]["reserved_as"], 0);
    assert_ne!(by_node.digest(), system.digest(), "who uses the tree is part of what the system is");

    let codes = |reading: &Reading| found(reading).iter().map(|found| found[..5].to_owned()).collect::<Vec<_>>();
    assert_eq!(codes(&with_tree(KEYS, "reserved_as = \"pol@100\"\n")), ["E0109"]);
    assert_eq!(codes(&with_tree("", "reserved_as = \"r\"\n")), ["E0113"]);
    assert_eq!(codes(&with_tree("[board.devicetree]\nsource = \"other.dts\"\n", "")), ["E0001"]);
    let both = "reserved_as = \"r\"\n[[region]]\nname = \"S\"\nsize = \"1 KiB\"\nowner = \"hypervisor\"\nreserved_as = \"pool@100\"\n";
    assert_eq!(codes(&with_tree(KEYS, both)), ["E0111"]);
}

#[test]
fn channels_of_both_kinds() {
    let system = system(
        "[[channel]]\nname = \"A\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"NAV.fuse\"\nto = [\"LOG\"]\n\
         refresh = \"25 ms\"\nchecks = \"range\"\nforwarded = true\n\
         [[channel]]\nname = \"B\"\ntitle = \"Marks\"\nkind = \"queuing\"\nsize = \"1 KiB\"\nfrom = \"flash\"\n\
         to = [\"LOG.store\", \"LOG.plot\"]\ndepth = 8\nmin_interarrival = \"50 ms\"\nbatch = 2\nburst = 5\nread = 3\n\
         checks = [{ consumer = \"LOG.plot\", what = \"order\" }, { what = \"range\" }]\n\
         [[channel]]\nname = \"C\"\nkind = \"queuing\"\nsize = \"1 B\"\nfrom = \"LOG\"\nto = [\"NAV.fuse\"]\n\
         depth = 1\nread = \"all\"\n\
         [[board.device]]\nname = \"flash\"\n[network]\nforwarder = \"LOG\"\n",
    );
    let expected = json!([
        { "name": "A", "title": null, "kind": { "Sampling": { "refresh": 25_000_000 } }, "size": 8,
          "source": { "Task": 0 }, "destinations": [{ "Partition": 1 }],
          "checks": [{ "consumer": null, "what": "range" }], "forwarded": true },
        { "name": "B", "title": "Marks", "size": 1024, "source": { "Device": 0 },
          "kind": { "Queuing": { "depth": 8, "min_interarrival": 50_000_000, "batch": 2, "burst": 5,
            "read": { "AtMost": 3 } } },
          "destinations": [{ "Task": 1 }, { "Task": 2 }], "forwarded": false,
          "checks": [{ "consumer": { "Task": 2 }, "what": "order" }, { "consumer": null, "what": "range" }] },
        { "name": "C", "title": null, "size": 1, "source": { "Partition": 1 }, "destinations": [{ "Task": 0 }],
          "kind": { "Queuing": { "depth": 1, "min_interarrival": null, "batch": 1, "burst": null,
            "read": "All" } },
          "checks": [], "forwarded": false },
    ]);
    assert_eq!(value(&system.channels), expected);
}

const CHANNELS: &str = "[[channel]]\nname = \"A\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"NAV.fuse\"\nto = [\"LOG\"]\n\
    [[channel]]\nname = \"B\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"NAV\"\nto = [\"LOG.plot\"]\n";

fn chain(path: &str, needs: &str) -> String {
    format!("{CHANNELS}[[chain]]\nname = \"E\"\npath = {path}\n{needs}\n")
}

#[test]
fn chains_find_their_channels() {
    let steps = |path: &str| value(&system(&chain(path, "reaction = \"1 s\"")).chains[0].steps);
    let step = |task: u32, via: Value| json!({ "task": task, "via": via });
    let to_store = json!([step(0, json!(null)), step(1, json!(0)), step(2, json!(null))]);
    assert_eq!(steps(r#"["NAV.fuse", "LOG.store", "LOG.plot"]"#), to_store);
    assert_eq!(steps(r#"["NAV.fuse", "B", "LOG.plot"]"#), json!([step(0, json!(null)), step(2, json!(1))]));
    assert_eq!(steps(r#"["LOG.store"]"#), json!([step(1, json!(null))]));
    let aged = system(&chain("[\"LOG.store\"]", "data_age = \"9 ms\"\nbefore = \"1 ms\"\nafter = \"0 ms\""));
    let expected = json!({ "name": "E", "title": null, "steps": [step(1, json!(null))],
        "need": { "DataAge": 9_000_000 }, "before": 1_000_000, "after": 0 });
    assert_eq!(value(&aged.chains[0]), expected);
}

#[test]
fn paths_that_cannot_be_followed() {
    let path = |path: &str| codes(&chain(path, "reaction = \"1 s\""));
    assert_eq!(path(r#"["LOG.store", "NAV.fuse"]"#), ["E0701"]);
    assert_eq!(path(r#"["NAV.fuse", "LOG.plot"]"#), ["E0702"]);
    assert_eq!(path(r#"["NAV.fuse", "A", "LOG.store", "LOG.plot", "LOG.store"]"#), ["E0703"]);
    for lost in [r#"["A", "LOG.store"]"#, r#"["NAV.fuse", "A"]"#, r#"["NAV.fuse", "A", "B", "LOG.plot"]"#] {
        assert_eq!(path(lost), ["E0705"], "{lost}");
    }
    assert_eq!(path(r#"["NAV.fuse", "B", "LOG.store"]"#), ["E0705"]);
    assert_eq!(path(r#"["NAV.fuze", "LOG.store"]"#), ["E0109"]);
    assert_eq!(path("[]"), ["E0102"]);
}

#[test]
fn a_missing_channel_is_told_with_those_that_are_there() {
    let text = rendered(&read(text(&chain(r#"["LOG.plot", "NAV.fuse"]"#, "reaction = \"1 s\""))));
    assert!(text.contains("no channel leads from `LOG.plot` to `NAV.fuse`"), "{text}");
    assert!(text.contains("`LOG.plot` writes no channel; `NAV.fuse` reads no channel"), "{text}");
    let text = rendered(&read(self::text(&chain(r#"["NAV.fuse", "LOG.plot"]"#, "reaction = \"1 s\""))));
    assert!(text.contains("2 channels lead from `NAV.fuse` to `LOG.plot`: `A`, `B`"), "{text}");
}

#[test]
fn a_channel_with_a_fault_of_its_own_leaves_no_gap() {
    let text = chain(r#"["LOG.plot", "NAV.fuse"]"#, "reaction = \"1 s\"");
    let broken =
        "[[channel]]\nname = \"C\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"LOG.plod\"\nto = [\"NAV\"]\n";
    assert_eq!(codes(&(text + broken)), ["E0109"]);
}

#[test]
fn a_latency_is_asked_what_it_is() {
    let reading = read(text(&chain("[\"LOG.store\"]", "latency = \"1 s\"")));
    let [fault] = &reading.diagnostics[..] else { panic!("{}", rendered(&reading)) };
    assert_eq!(fault.code.id, "E0101");
    let help = fault.help.as_deref().unwrap_or_default();
    assert!(help.contains("`reaction`") && help.contains("`data_age`"), "{help}");
    assert!(!model::schema().to_string().contains("\"latency\""));
    assert!(!model::key_tables().iter().any(|table| table.markdown.contains("latency")));
}

#[test]
fn boot() {
    let system = system(
        "[[boot.stage]]\nname = \"reset\"\ntime = \"250 ms\"\n\
         [[boot.stage]]\nname = \"load\"\nload = \"94 MiB\"\nrate = \"80 MiB/s\"\nafter = [\"reset\"]\n\
         [[boot.need]]\npartitions = [\"LOG\", \"NAV\"]\nwithin = \"2 s\"\nfrom = \"first frame\"\nreason = \"steering\"\n",
    );
    let expected = json!({
        "stages": [
            { "name": "reset", "time": 250_000_000, "load": null, "after": [] },
            { "name": "load", "time": null, "load": [98_566_144, 83_886_080], "after": [0] },
        ],
        "needs": [{ "partitions": [1, 0], "within": 2_000_000_000, "from_reset": false, "reason": "steering" }],
    });
    assert_eq!(value(&system.boot), expected);
}

#[test]
fn every_circle_of_stages_is_told_once() {
    let stage =
        |name: &str, after: &str| format!("[[boot.stage]]\nname = \"{name}\"\ntime = \"1 s\"\nafter = [{after}]\n");
    let two = [stage("a", "\"b\""), stage("b", "\"a\""), stage("c", "\"c\", \"b\""), stage("d", "\"a\"")].concat();
    let text = rendered(&read(text(&two)));
    assert_eq!(text.matches("E0801").count(), 2, "{text}");
    assert!(text.contains("circle: `a` after `b` after `a`\n") && text.contains("circle: `c` after `c`\n"), "{text}");
    assert_eq!(codes(&stage("a", "\"a\"")), ["E0801"]);
    let line = [stage("a", ""), stage("b", "\"a\""), stage("c", "\"b\", \"a\"")].concat();
    assert!(codes(&line).is_empty());
}

#[test]
fn health() {
    let system = system(
        "[[health.entry]]\nerror = \"stack overflow\"\nlevel = \"partition\"\naction = \"warm start\"\npartitions = [\"LOG\"]\n\
         [[health.entry]]\nerror = \"stack overflow\"\nlevel = \"partition\"\naction = \"stop\"\n\
         [[health.escalation]]\nfrom = \"warm start\"\ncount = 3\nwindow = \"60 s\"\nto = \"cold start\"\nsafe_within = \"1 s\"\n",
    );
    let expected = json!({
        "entries": [
            { "error": "StackOverflow", "level": "Partition", "action": "WarmStart", "partitions": [1] },
            { "error": "StackOverflow", "level": "Partition", "action": "Stop", "partitions": [] },
        ],
        "escalations": [{ "from": "warm start", "count": 3, "window": 60_000_000_000_u64, "to": "ColdStart",
            "partitions": [], "safe_within": 1_000_000_000 }],
    });
    assert_eq!(value(&system.health), expected);
}

#[test]
fn each_level_has_its_actions() {
    const ACTIONS: [&str; 8] =
        ["ignore", "handler", "restart process", "warm start", "cold start", "stop", "module reset", "module shutdown"];
    for (level, possible) in [("process", 0b0000_0111), ("partition", 0b0011_1001), ("module", 0b1100_0001)] {
        for (index, action) in ACTIONS.iter().enumerate() {
            let entry =
                format!("[[health.entry]]\nerror = \"power fail\"\nlevel = \"{level}\"\naction = \"{action}\"\n");
            let expected: &[&str] = if possible >> index & 1 == 1 { &[] } else { &["E0804"] };
            assert_eq!(codes(&entry), expected, "{action} at {level}");
        }
    }
}

#[test]
fn escalations_climb() {
    let entry = "[[health.entry]]\nerror = \"power fail\"\nlevel = \"partition\"\naction = \"cold start\"\n";
    let escalation = |from: &str, to: &str| {
        codes(&format!("{entry}[[health.escalation]]\nfrom = \"{from}\"\ncount = 2\nwindow = \"1 s\"\nto = \"{to}\"\n"))
    };
    assert!(escalation("power fail", "stop").is_empty());
    assert_eq!(escalation("power fail", "cold start"), ["E0805"]);
    assert_eq!(escalation("cold start", "cold start"), ["E0805"]);
    assert_eq!(escalation("cold start", "ignore"), ["E0805"]);
    assert_eq!(escalation("numeric error", "stop"), ["W0801"]);
    assert_eq!(escalation("meteor", "stop"), ["E0106"]);
    let zero = "[[health.escalation]]\nfrom = \"power fail\"\ncount = 0\nwindow = \"0 s\"\nto = \"stop\"\n";
    assert_eq!(codes(&format!("{entry}{zero}")), ["E0112", "E0112"]);
}

#[test]
fn flow_and_network() {
    let zones = "[[zone]]\nname = \"X\"\n[[zone]]\nname = \"Y\"\n";
    let policy = "[[flow.allow]]\nfrom = \"X\"\nto = \"Y\"\nvia = \"NAV.fuse\"\n[[flow.exception]]\nchannel = \"B\"\nreason = \"checked\"\n\
        [[flow.filter]]\ntask = \"LOG.plot\"\nwhat = \"range\"\n\
        [network]\nforwarder = \"LOG\"\ntask = \"LOG.store\"\nfixed = \"5 us\"\nper_byte_ps = 800\ndepth = 4\n";
    let text = text(&[CHANNELS, zones, policy].concat());
    let text = text.replace("name = \"NAV\"\n", "name = \"NAV\"\nzone = \"X\"\n");
    let reading = read(text.replace("name = \"LOG\"\n", "name = \"LOG\"\nzone = \"Y\"\n"));
    assert_eq!(rendered(&reading), "");
    let system = reading.system.expect("a system");
    let expected = json!({
        "rules": [{ "from": 0, "to": 1, "via": 0 }],
        "exceptions": [{ "channel": 1, "reason": "checked" }],
        "filters": [[2, "range"]],
    });
    assert_eq!(value(&system.flow), expected);
    let expected = json!({ "forwarder": 1, "task": 1, "fixed": 5_000, "per_byte_ps": 800, "depth": 4 });
    assert_eq!(value(&system.network), expected);
}

#[test]
fn schedules() {
    let only = system("");
    assert_eq!(value(&only.schedules), json!([{ "name": "main", "title": null, "changes": [], "may_follow": [] }]));
    let several = system(
        "[[schedule]]\nname = \"Survey\"\ntitle = \"at work\"\nmay_follow = [\"Harbour\"]\n\
         [[schedule]]\nname = \"Harbour\"\n\
         [[schedule.partition]]\nname = \"NAV\"\nidle = true\n\
         [[schedule.partition]]\nname = \"LOG\"\nbudget = \"5 ms\"\nactive_tasks = [\"LOG.store\"]\n",
    );
    let log = json!({ "partition": 1, "idle": false, "active_tasks": [1],
        "grant": { "Windows": { "period": 50_000_000, "budget": 5_000_000 } } });
    let nav = json!({ "partition": 0, "idle": true, "active_tasks": null, "grant": null });
    let expected = json!([
        { "name": "Survey", "title": "at work", "changes": [], "may_follow": ["Harbour"] },
        { "name": "Harbour", "title": null, "changes": [nav, log], "may_follow": [] },
    ]);
    assert_eq!(value(&several.schedules), expected);
}

#[test]
fn changes_of_a_schedule_must_make_sense() {
    let change = |keys: &str| codes(&format!("[[schedule]]\nname = \"S\"\n[[schedule.partition]]\n{keys}\n"));
    assert!(change("name = \"LOG\"\nperiod = \"25 ms\"\nbudget = \"25 ms\"").is_empty());
    assert_eq!(change("name = \"LOG\"\nperiod = \"25 ms\"\nbudget = \"26 ms\""), ["E0306"]);
    assert_eq!(change("name = \"LOG\"\nbudget = \"51 ms\""), ["E0306"]);
    assert_eq!(change("name = \"LOG\"\nperiod = \"30 ms\""), ["E0305"]);
    assert_eq!(change("name = \"NAV\"\nbudget = \"5 ms\""), ["E0113"]);
    assert_eq!(change("name = \"LOG\"\nidle = true\nbudget = \"5 ms\""), ["E0111"]);
    assert_eq!(change("name = \"LOG\"\nidle = true\nactive_tasks = [\"LOG.store\"]"), ["E0111"]);
    assert_eq!(change("name = \"NAW\"\nidle = true"), ["E0109"]);
    assert!(change("name = \"LOG\"\nidle = false\nbudget = \"5 ms\"").is_empty());
}

#[test]
fn growth_rules_and_accepted_claims() {
    let rule = |on: &str| format!("[[growth_rule]]\non = \"{on}\"\nat_least = \"100 %\"\nsource = \"contract\"\n");
    let subjects = ["cores", "RAM", "bandwidth", "ports", "partitions", "partition LOG"].map(rule).concat();
    let accepted = |until: &str| {
        format!("[[accepted]]\nclaim = \"margin/core/0\"\nreason = \"r\"\nowner = \"o\"\nuntil = {until}\n")
    };
    let system = system(&(subjects + &accepted("\"2027-03-31\"")));
    let on: Vec<_> = system.growth_rules.iter().map(|rule| value(rule.subject)).collect();
    let of_all = ["Cores", "Ram", "Bandwidth", "Ports", "Partitions"].map(|on| json!(on));
    assert_eq!(on[..5], of_all);
    assert_eq!(on[5..], [json!({ "Partition": 1 })]);
    assert!(system.growth_rules.iter().all(|rule| rule.at_least.get() == 1_000_000));
    assert_eq!(system.accepted[0].until.to_string(), "2027-03-31");
    assert!(codes(&accepted("2027-03-31")).is_empty());
    assert_eq!(codes(&accepted("\"2027-02-29\"")), ["E0104"]);
    assert_eq!(codes(&accepted("\"soon\"")), ["E0104"]);
    assert_eq!(codes(&accepted("\"2027-03-31\"").replace("\"o\"", "\" \"")), ["E0107"]);
    assert_eq!(codes(&rule("cores").replace("100 %", "1000001 ppm")), ["E0909"]);
    assert_eq!(codes(&rule("ports").replace("100 %", "1000001 ppm")), ["E0909"]);
    assert!(codes(&rule("partitions").replace("100 %", "150 %")).is_empty());
    assert_eq!(codes(&rule("core")), ["E0106"]);
    assert_eq!(codes(&rule("partition LOX")), ["E0109"]);
}

#[test]
fn queues_are_read_as_fast_as_they_are_filled() {
    let queue = |keys: &str| {
        let ends = "from = \"NAV.fuse\"\nto = [\"LOG.store\"]";
        codes(&format!("[[channel]]\nname = \"Q\"\nkind = \"queuing\"\nsize = \"8 B\"\n{ends}\ndepth = 9\n{keys}\n"))
    };
    // One message in 20 ms is two and a half in the 50 ms of the reader.
    assert_eq!(queue("read = 2"), ["E0606"]);
    assert!(queue("read = 3").is_empty());
    assert!(queue("read = 1\nmin_interarrival = \"50 ms\"").is_empty());
    assert_eq!(queue("read = 1\nmin_interarrival = \"49999999 ns\""), ["E0606"]);
    assert_eq!(queue("read = 4\nbatch = 2"), ["E0606"]);
    assert!(queue("read = 5\nbatch = 2").is_empty());
    assert!(queue("batch = 9").is_empty());
    assert_eq!(queue("batch = 10"), ["E0604"]);
    assert!(queue("burst = 8\nmin_interarrival = \"50 ms\"").is_empty());
    assert_eq!(queue("burst = 9\nmin_interarrival = \"50 ms\""), ["E0604"]);
    assert_eq!(queue("burst = 7\nbatch = 3\nmin_interarrival = \"50 ms\""), ["E0604"]);
    assert_eq!(queue("burst = 1"), ["E0113"]);
    assert!(queue("burst = 0\nmin_interarrival = \"50 ms\"").is_empty());
    assert_eq!(queue("read = 0"), ["E0112"]);
    assert_eq!(queue("refresh = \"1 ms\""), ["E0605"]);
}

#[test]
fn ends_and_names_of_channels() {
    let channel = |name: &str, from: &str, to: &str| {
        format!("[[channel]]\nname = \"{name}\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"{from}\"\nto = [{to}]\n")
    };
    let one = channel("A", "NAV.fuse", "\"LOG.store\"");
    assert!(codes(&one).is_empty());
    assert_eq!(codes(&(one.clone() + &channel("A", "LOG.store", "\"NAV\""))), ["E0108"]);
    assert_eq!(codes(&channel("A", "NAV.fuse", "\"LOG.store\", \"LOG.store\"")), ["E0110"]);
    assert_eq!(codes(&channel("A", "NAV.fuse", "")), ["E0102"]);
    assert_eq!(codes(&channel("A", "NAV", "\"NAV.fuse\"")), ["E0601"]);
    assert_eq!(codes(&channel("A", "NAV.fuse", "\"NAV\"")), ["E0601"]);
    assert!(codes(&channel("A", "LOG.store", "\"LOG.plot\"")).is_empty(), "a channel inside a partition");
    for zero in ["size = \"0 B\"", "refresh = \"0 ms\""] {
        let text = if zero.starts_with("size") { one.replace("size = \"8 B\"", zero) } else { one.clone() + zero };
        assert_eq!(codes(&text), ["E0112"]);
    }
    let reading = read(text(&channel("A", "NAV.fuze", "\"LOG.store\"")));
    assert_eq!(reading.diagnostics[0].help.as_deref(), Some("did you mean `NAV.fuse`?"));
    assert_eq!(reading.diagnostics.len(), 1);
}

#[test]
fn names_that_mean_two_things() {
    let shared = SMALLEST.replace("name = \"NAV\"", "name = \"shared\"");
    let region = "[[region]]\nname = \"chart\"\nsize = \"1 MiB\"\nowner = \"shared\"\n\
        access = [{ partition = \"shared\", rights = \"r\" }]\n";
    let found: Vec<_> = read(shared + region).diagnostics.iter().map(|d| d.code.id).collect();
    assert_eq!(found, ["E0603"]);
    assert_eq!(codes("[[region]]\nname = \"LOG\"\nsize = \"1 MiB\"\nowner = \"NAV\"\n"), ["E0108"]);
}

#[test]
fn a_chain_keeps_one_need() {
    assert_eq!(codes(&chain("[\"LOG.store\"]", "reaction = \"1 s\"\ndata_age = \"1 s\"")), ["E0704"]);
    assert_eq!(codes(&chain("[\"LOG.store\"]", "")), ["E0704"]);
    assert_eq!(codes(&chain("[\"LOG.store\"]", "reaction = \"0 s\"")), ["E0112"]);
    assert_eq!(codes(&chain("[\"LOG.store\"]", "reaction = \"2 ms\"\nbefore = \"2 ms\"")), ["E0706"]);
    assert!(codes(&chain("[\"LOG.store\"]", "reaction = \"2 ms\"\nbefore = \"1999999 ns\"")).is_empty());
}

#[test]
fn what_a_syntax_error_took_away_is_not_missed_in_these_sections() {
    let sections = chain(r#"["LOG.plot", "NAV.fuse"]"#, "").replace("size = \"8 B\"\nfrom", "size = \"8 B\nfrom");
    assert_eq!(codes(&sections), ["E0004", "E0004"]);
}

#[test]
fn five_mistakes_in_five_sections_are_found_in_one_run() {
    let sections = "[[region]]\nname = \"chart\"\nsize = \"1 MiB\"\nowner = \"LOX\"\n\
        [[channel]]\nname = \"A\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"NAV.fuse\"\nto = [\"LOG\"]\ndepth = 4\n\
        [[chain]]\nname = \"E\"\npath = [\"LOG.store\", \"NAV.fuse\"]\nreaction = \"1 s\"\n\
        [[boot.stage]]\nname = \"load\"\nload = \"94 MiB\"\nrate = \"0 MiB/s\"\n\
        [[accepted]]\nclaim = \"c\"\nreason = \"r\"\nowner = \"o\"\nuntil = \"2027-04-31\"\n";
    let reading = read(text(sections));
    let expected = ["E0109", "E0605", "E0701", "E0112", "E0104"];
    let codes: Vec<_> = reading.diagnostics.iter().map(|d| d.code.id).collect();
    assert_eq!(codes, expected, "\n{}", rendered(&reading));
    let text = rendered(&reading);
    for code in expected {
        assert!(text.contains(&format!("error[{code}]")), "{text}");
    }
    assert!(reading.system.is_none());
}

#[test]
fn needs_of_partitions_tasks_and_queues_from_the_file_and_from_tables() {
    let main = text(
        "[tables]\ntasks = [\"t.csv\"]\nchannels = [\"c.csv\"]\n\
         [[partition]]\nname = \"AUX\"\nguest = \"fixed priority\"\nbuilt_by = \"LOG\"\nbuild_time = \"4 ms\"\n\
         locking = \"priority ceiling\"\n",
    );
    let main = main.replace("priority = 2\n", "priority = 2\noutput_jitter = \"1 ms\"\n");
    let tasks = "partition,name,period,priority,wcet,output_jitter,sections\nAUX,a,20 ms,1,1 ms,0 ms,bus: 100 us\n";
    let channels = "name,kind,size,from,to,depth,min_interarrival,burst\nQ,queuing,8 B,AUX.a,LOG.store,4,20 ms,3\n";
    let files = [("system.toml", main.as_str()), ("t.csv", tasks), ("c.csv", channels)];
    let files = files.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()));
    let reading = model::read_system("system.toml", &mut common::Files::from(files));
    assert_eq!(rendered(&reading), "");
    let system = reading.system.expect("a system");
    let aux = &system.partitions[2];
    assert_eq!(value((&aux.built_by, &aux.build_time, &aux.locking)), json!([1, 4_000_000, "Ceiling"]));
    let jitter: Vec<_> = system.tasks.iter().map(|task| value(task.output_jitter)).collect();
    assert_eq!(jitter, [json!(null), json!(1_000_000), json!(null), json!(0)]);
    assert_eq!(value(&system.channels[0].kind)["Queuing"]["burst"], json!(3));
}
