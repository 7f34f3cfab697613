//! Small systems of every supply and guest, from the file to the verdict.

use claim::{Status, Verdict};
use model::{Reading, System, read_system};
use plan::Plan;
use std::collections::BTreeMap;
use timing::claims::{check, supply_curves};

/// Four cores, no overhead but a head of 10 us, no task that asks memory for anything.
const BOARD: &str = r#"
[system]
name = "small"
frame = "20 ms"
[board]
name = "board"
[[board.core]]
name = "0"
[[board.core]]
name = "1"
[platform]
switch = "6 us"
refill = "4 us"
context_switch = "0 ns"
release_jitter = "0 ns"
nonpreemptable = "0 ns"
"#;

fn set(policy: &str) -> String {
    format!("[[core_set]]\nname = \"all\"\ncores = [\"0\", \"1\"]\npolicy = {policy}\n")
}

fn one_core(policy: &str) -> String {
    let tables = "[[core_set]]\nname = \"rest\"\ncores = [\"1\"]\npolicy = \"dedicated\"\n";
    format!("[[core_set]]\nname = \"all\"\ncores = [\"0\"]\npolicy = {policy}\n{tables}")
}

/// A partition; where its guest schedules by deadline, the tasks have no priority.
fn partition(name: &str, guest: &str, keys: &str, tasks: &[&str]) -> String {
    let tasks = tasks.iter().map(|task| {
        let lines = task.lines().filter(|line| guest != "EDF" || !line.starts_with("priority"));
        lines.map(|line| format!("{line}\n")).collect::<String>()
    });
    let tasks: Vec<String> = tasks.collect();
    let tasks = tasks.iter().map(|task| format!("[[partition.task]]\nline_requests = 0\n{task}\n")).collect::<String>();
    format!("[[partition]]\nname = \"{name}\"\nguest = \"{guest}\"\n{keys}\n{tasks}")
}

fn task(name: &str, priority: u32, period: &str, wcet: &str) -> String {
    format!("name = \"{name}\"\npriority = {priority}\nperiod = \"{period}\"\nwcet = \"{wcet}\"\n")
}

fn system(text: &str) -> System {
    let mut files = BTreeMap::from([("small.toml".to_owned(), text.as_bytes().to_vec())]);
    let Reading { system, diagnostics, .. } = read_system("small.toml", &mut files);
    system.unwrap_or_else(|| panic!("{diagnostics:#?}"))
}

/// The verdicts of a system that needs no windows.
fn verdicts(text: &str) -> BTreeMap<String, Verdict> {
    let verdicts = check(&system(text), &Plan::default());
    verdicts.into_iter().map(|verdict| (verdict.id.clone(), verdict)).collect()
}

fn us(us: u64) -> Option<u64> {
    Some(us * 1_000)
}

fn server(name: &str, server: &str, tasks: &[&str]) -> String {
    partition(name, "fixed priority", &format!("core_set = \"all\"\n[partition.server]\n{server}"), tasks)
}

const FILLER: &str = "\n[[partition]]\nname = \"REST\"\nguest = \"fixed priority\"\ncore_set = \"rest\"\n\
    [[partition.task]]\nname = \"t\"\npriority = 1\nperiod = \"10 ms\"\nwcet = \"1 ms\"\nline_requests = 0\n";

#[test]
fn a_server_gives_its_budget_behind_its_blackout() {
    let task = task("t", 1, "30 ms", "3 ms");
    let a = server("A", "budget = \"3 ms\"\nperiod = \"5 ms\"", &[&task]);
    let b = server("B", "budget = \"1 ms\"\nperiod = \"10 ms\"", &[&task]);
    let found = verdicts(&[BOARD, &one_core("\"budget server\""), &a, &b, FILLER].concat());
    // The blackout of 2 (P - Q), then the budget.
    let t = &found["response/A.t"];
    assert_eq!((t.status, t.bound, t.exact), (Status::Shown, us(7_000), false));
    assert!(t.reason.as_ref().is_some_and(|reason| reason.contains("any schedule that keeps the server's budget")));
    // A third job of a budget of 1 ms: 2 (10 - 1) + 2 * 10 + 1.
    assert_eq!((found["response/B.t"].status, found["response/B.t"].bound), (Status::NotShown, us(39_000)));
    assert_eq!(found["window/set/all"].status, Status::Shown);
    assert_eq!(found["window/set/rest"].status, Status::Shown);
    let growth = &found["margin/partition/A"];
    // Twice the budget of 5 ms periods is there after 24 ms, ten budgets' worth within 30.
    assert!(growth.status == Status::Shown && growth.bound > Some(4_000_000), "{growth:?}");
    assert_eq!(found["response/REST.t"].bound, us(1_000));
    assert!(found["response/REST.t"].exact);
    let curves =
        supply_curves(&system(&[BOARD, &one_core("\"budget server\""), &a, &b, FILLER].concat()), &Plan::default());
    let names: Vec<_> = curves.iter().map(|curve| curve.partition.as_str()).collect();
    assert_eq!(names, ["A", "B", "REST"]);
    assert_eq!(curves[0].blackout_ns, 4_000_000);
    assert_eq!(curves[0].meets_ns, us(7_000));
}

#[test]
fn servers_that_ask_for_too_much_are_told_apart_from_those_that_may() {
    let t = task("t", 1, "30 ms", "1 ms");
    let of = |first: &str, second: &str| {
        let (a, b) = (server("A", first, &[&t]), server("B", second, &[&t]));
        verdicts(&[BOARD, &one_core("\"budget server\""), &a, &b, FILLER].concat())
    };
    let over = of("budget = \"3 ms\"\nperiod = \"5 ms\"", "budget = \"5 ms\"\nperiod = \"10 ms\"");
    assert_eq!(over["window/set/all"].status, Status::Violated);
    assert_eq!(over["response/A.t"].status, Status::NotAnalysed);
    // Exactly full without heads, so too much with them.
    let full = of("budget = \"3 ms\"\nperiod = \"5 ms\"", "budget = \"4 ms\"\nperiod = \"10 ms\"");
    assert_eq!(full["window/set/all"].status, Status::NotShown);
    assert_eq!(full["response/A.t"].status, Status::Shown);
    // Both due within 4 ms, which hold one only.
    let early = of(
        "budget = \"3 ms\"\nperiod = \"10 ms\"\ndeadline = \"4 ms\"",
        "budget = \"2 ms\"\nperiod = \"10 ms\"\ndeadline = \"4 ms\"",
    );
    assert_eq!(early["window/set/all"].status, Status::Violated);
    let headless = BOARD.replace("switch = \"6 us\"", "");
    let text = [
        &headless,
        &one_core("\"budget server\""),
        &server("A", "budget = \"3 ms\"\nperiod = \"5 ms\"", &[&t]),
        FILLER,
    ];
    let unknown = verdicts(&text.map(str::to_owned).concat());
    assert_eq!(unknown["window/set/all"].status, Status::NotAnalysed);
    assert!(unknown["window/set/all"].reason.as_ref().is_some_and(|reason| reason.contains("platform.switch")));
}

/// Goossens, Funk & Baruah 2003: on two cores densities up to `2 - greatest` are borne by whoever is due first.
#[test]
fn servers_on_several_cores() {
    let t = task("t", 1, "30 ms", "1 ms");
    let of = |budgets: &[&str]| {
        let servers = budgets
            .iter()
            .enumerate()
            .map(|(k, budget)| server(&format!("P{k}"), &format!("budget = \"{budget}\"\nperiod = \"10 ms\""), &[&t]));
        verdicts(&[BOARD, &set("\"budget server\""), &servers.collect::<String>()].concat())["window/set/all"].status
    };
    assert_eq!(of(&["4 ms", "4 ms", "4 ms"]), Status::Shown);
    assert_eq!(of(&["6 ms", "6 ms", "6 ms"]), Status::NotShown);
    assert_eq!(of(&["7 ms", "7 ms", "7 ms"]), Status::Violated);
}

#[test]
fn a_share_is_its_weight_less_the_heads_of_its_turns() {
    let t = task("t", 1, "100 ms", "1 ms");
    let share = |name: &str, keys: &str| {
        partition(name, "fixed priority", &format!("core_set = \"all\"\n[partition.share]\n{keys}"), &[&t])
    };
    let (a, b) = (share("A", "share = 3"), share("B", "share = 1\nceiling = \"20 %\""));
    let policy = "\"proportional share\"\nquantum = \"1 ms\"";
    let found = verdicts(&[BOARD, &one_core(policy), &a, &b, FILLER].concat());
    assert_eq!(found["window/set/all"].status, Status::Shown);
    // 3/4 of the 99 % behind a head of 10 us: two quanta and 1 ms of it take 3 ms * 400 / 297 and at most a step of a us more.
    let bound_ns = found["response/A.t"].bound.expect("a bound");
    assert!((4_040_404..4_041_406).contains(&bound_ns), "{bound_ns}");
    assert_eq!((found["response/A.t"].status, found["response/A.t"].exact), (Status::Shown, false));
    // The ceiling is below the quarter that the weight gives.
    let bound_ns = found["response/B.t"].bound.expect("a bound");
    assert!((15_151_515..15_152_520).contains(&bound_ns), "{bound_ns}");
    let policy = "\"proportional share\"\nquantum = \"10 us\"";
    let short = verdicts(&[BOARD, &one_core(policy), &a, &b, FILLER].concat());
    assert_eq!(short["window/set/all"].status, Status::Violated);
    assert_eq!(short["response/A.t"].status, Status::NotAnalysed);
}

/// The example of `crate::policies`: a second job that is later than the first, and the scenario of a miss.
#[test]
fn guests_on_a_core_of_their_own() {
    let tasks = [task("a", 3, "2500 us", "1 ms"), task("b", 2, "3500 us", "1 ms"), task("c", 1, "3500 us", "1 ms")];
    let tasks: Vec<&str> = tasks.iter().map(String::as_str).collect();
    let of = |guest: &str| {
        verdicts(&[BOARD, &set("\"dedicated\""), &partition("P", guest, "core_set = \"all\"", &tasks)].concat())
    };
    let cooperative = of("cooperative");
    assert_eq!((cooperative["response/P.c"].bound, cooperative["response/P.c"].exact), (us(3_500), true));
    assert_eq!(cooperative["response/P.a"].bound, Some(1_999_999));
    let edf = of("EDF");
    // Utilisation 0.4 + 2 / 3.5 = 34/35.
    assert!(["a", "b", "c"].iter().all(|name| edf[&format!("response/P.{name}")].status == Status::Shown));
    let late: Vec<String> = tasks.iter().map(|task| format!("{task}deadline = \"2 ms\"\n")).collect();
    let late: Vec<&str> = late.iter().map(String::as_str).collect();
    for guest in ["EDF", "cooperative", "fixed priority"] {
        let text = [BOARD, &set("\"dedicated\""), &partition("P", guest, "core_set = \"all\"", &late)].concat();
        let c = &verdicts(&text)["response/P.c"];
        assert_eq!((c.status, c.exact), (Status::Violated, true), "{guest}: {c:?}");
        let witness = c.witness.as_ref().expect("a violation has a witness");
        let own = witness.releases.iter().rfind(|job| job.task == "P.c").expect("the job itself");
        assert_eq!(witness.completes_ns.map(|end_ns| end_ns as i64 - own.arrival_ns), c.bound.map(|ns| ns as i64));
        assert_eq!(witness.timeline.last().map(|last| last.what.as_str()), Some("P.c"));
    }
}

#[test]
fn an_opaque_guest_needs_what_its_supply_gives() {
    let of = |policy: &str, grant: &str, need: &str| {
        let keys = format!("core_set = \"all\"\n{grant}\n[partition.need]\n{need}");
        let p = partition("P", "opaque", &keys, &[]);
        verdicts(&[BOARD, &one_core(policy), &p, FILLER].concat())["response/P"].clone()
    };
    let budget = "budget = \"2 ms\"\nperiod = \"6 ms\"";
    let own = of("\"dedicated\"", "", budget);
    assert_eq!((own.status, own.bound, own.limit, own.exact), (Status::Shown, us(2_000), us(6_000), true));
    let server = |server: &str, need: &str| of("\"budget server\"", &format!("[partition.server]\n{server}"), need);
    // Two budgets apart at the most: 2 (5 - 2) and the budget.
    let late = server("budget = \"2 ms\"\nperiod = \"5 ms\"", budget);
    assert_eq!((late.status, late.bound, late.exact), (Status::NotShown, us(8_000), false));
    let strict = server("budget = \"2 ms\"\nperiod = \"5 ms\"\ndeadline = \"3 ms\"", budget);
    assert_eq!((strict.status, strict.bound), (Status::Shown, us(6_000)));
    let rate = server("budget = \"2 ms\"\nperiod = \"5 ms\"", "rate = \"40 %\"\ndelay = \"6 ms\"");
    assert_eq!((rate.status, rate.bound), (Status::Shown, us(6_000)));
    let more = server("budget = \"2 ms\"\nperiod = \"5 ms\"", "rate = \"41 %\"\ndelay = \"6 ms\"");
    assert_eq!((more.status, more.bound), (Status::NotShown, None));
    // Where there is a bound, it has no parts, and it is told why; where there is none, nothing is.
    let why = "what an opaque guest executes, and what of it waits for memory, is not declared job by job";
    for bounded in [own, late, strict, rate] {
        assert_eq!((bounded.parts.len(), bounded.untold), (0, Some(why)), "{}", bounded.id);
    }
    assert_eq!(more.untold, None);
}

#[test]
fn resources_block_as_they_are_protected() {
    let section = |resource: &str, length: &str| format!("{{ resource = \"{resource}\", length = \"{length}\" }}");
    let with = |task: String, sections: &[String]| format!("{task}sections = [{}]\n", sections.join(", "));
    let tasks = [
        with(task("high", 3, "20 ms", "1 ms"), &[section("bus", "10 us"), section("log", "10 us")]),
        with(task("mid", 2, "30 ms", "2 ms"), &[section("bus", "300 us")]),
        with(task("low", 1, "40 ms", "3 ms"), &[section("log", "500 us")]),
    ];
    let tasks: Vec<&str> = tasks.iter().map(String::as_str).collect();
    let of = |locking: &str| {
        let p = partition("P", "fixed priority", &format!("core_set = \"all\"\n{locking}"), &tasks);
        verdicts(&[BOARD, &set("\"dedicated\""), &p].concat())
    };
    let ceiling = of("locking = \"priority ceiling\"");
    assert_eq!(ceiling["response/P.high"].bound, us(1_500));
    assert_eq!(ceiling["response/P.mid"].bound, us(3_500), "the log is also the most urgent task's");
    assert_eq!(ceiling["response/P.low"].bound, us(6_000));
    assert!(!ceiling["response/P.high"].exact && ceiling["response/P.low"].exact);
    assert!(ceiling["response/P.high"].reason.as_ref().is_some_and(|reason| reason.contains("ceiling")));
    let inheritance = of("locking = \"priority inheritance\"");
    assert_eq!(inheritance["response/P.high"].bound, us(1_800));
    assert!(inheritance["response/P.high"].reason.as_ref().is_some_and(|reason| reason.contains("inheritance")));
    let unknown = of("");
    assert_eq!(unknown["response/P.high"].status, Status::NotAnalysed);
    assert!(unknown["response/P.high"].reason.as_ref().is_some_and(|reason| reason.contains("`locking` of `P`")));
}

#[test]
fn tasks_run_on_whichever_virtual_core_is_free() {
    let tasks = [task("a", 3, "10 ms", "5 ms"), task("b", 2, "10 ms", "5 ms"), task("c", 1, "20 ms", "4 ms")];
    let of = |guest: &str, tasks: &[String], policy: &str, keys: &str| {
        let tasks: Vec<&str> = tasks.iter().map(String::as_str).collect();
        let keys = format!("core_set = \"all\"\nvirtual_cores = 2\n{keys}");
        verdicts(&[BOARD, &set(policy), &partition("P", guest, &keys, &tasks)].concat())
    };
    for guest in ["EDF", "fixed priority"] {
        let found = of(guest, &tasks, "\"dedicated\"", "");
        let c = &found["response/P.c"];
        assert_eq!((c.status, c.exact), (Status::Shown, false), "{guest}: {c:?}");
        assert_eq!(c.basis.analysis, "multiprocessor");
        let edf = "on whichever virtual core is free it is the deadline itself that is shown to be kept";
        let (sum, untold) = if guest == "EDF" { (0, Some(edf)) } else { (c.bound.expect("a bound"), None) };
        assert_eq!((claim::sum_of_parts(&c.parts), c.untold), (sum, untold), "{guest}");
        assert!(found["margin/partition/P"].bound >= Some(1_000_000), "{:?}", found["margin/partition/P"]);
    }
    let server = "[partition.server]\nbudget = \"9 ms\"\nperiod = \"10 ms\"";
    let served = of("fixed priority", &tasks[2..], "\"budget server\"", server);
    // One task alone on two servers of 9 in 10: a blackout of 2, and 4 ms behind it.
    assert_eq!((served["response/P.c"].status, served["response/P.c"].bound), (Status::Shown, us(6_000)));
    // It is on one core, and the other one and the device lengthen it.
    let masters = ["core0\"\ncore = \"0", "core1\"\ncore = \"1", "DMA"];
    let masters = masters.map(|name| format!("[[board.interconnect.master]]\nname = \"{name}\"\n"));
    let path = "[board.interconnect]\nline = \"64 B\"\nguaranteed = \"64 MB/s\"\narbitration = \"round-robin\"\n";
    let sensitive = [format!("{}sensitivity = \"100 us\"\n", tasks[2])];
    let found =
        of("fixed priority", &sensitive, "\"budget server\"", &[server, "\n", path, &masters.concat()].concat());
    let parts: Vec<_> = found["response/P.c"].parts.iter().map(|part| (part.what.as_str(), part.ns / 1_000)).collect();
    let own = [("P.c", 2_000), ("P.c", 4_000), ("P.c", 0)];
    assert_eq!(parts, [&own[..], &[("core0 or core1", 100), ("DMA", 100)]].concat());
    let over = [task("a", 3, "10 ms", "9 ms"), task("b", 2, "10 ms", "9 ms"), task("c", 1, "20 ms", "5 ms")];
    let found = of("EDF", &over, "\"dedicated\"", "");
    assert_eq!(found["response/P.a"].status, Status::NotShown);
    assert_eq!(found["margin/partition/P"].status, Status::Violated);
    let mut pinned = tasks.to_vec();
    pinned[0] += "virtual_core = 0\n";
    assert_eq!(of("EDF", &pinned, "\"dedicated\"", "")["response/P.a"].status, Status::NotAnalysed);
}
