//! The health table and what escalations come to.

use super::system::{find, judge, preamble, reason, task, window};
use claim::{Status, Verdict, sum_of_parts};

fn entry(error: &str, level: &str, action: &str) -> String {
    format!("\n[[health.entry]]\nerror = \"{error}\"\nlevel = \"{level}\"\naction = \"{action}\"\n")
}

fn escalation(from: &str, count: u64, window: u64, to: &str, more: &str) -> String {
    format!(
        "\n[[health.escalation]]\nfrom = \"{from}\"\ncount = {count}\nwindow = \"{window} ns\"\nto = \"{to}\"\n{more}"
    )
}

const ERRORS: [&str; 8] = [
    "deadline missed",
    "application error",
    "numeric error",
    "illegal request",
    "stack overflow",
    "memory violation",
    "hardware fault",
    "power fail",
];

fn whole_table() -> String {
    let entry = |(k, error): (usize, &&str)| match k {
        0..3 => entry(error, "process", "handler"),
        3..6 => entry(error, "partition", "warm start"),
        _ => entry(error, "module", "module shutdown"),
    };
    ERRORS.iter().enumerate().map(entry).collect()
}

/// Two partitions with windows `[2, 6)` of every 10 ns, one head of a tick. A warm start of `P` takes at most 2 to be
/// noticed, 1 for the action, 10 for 3 ticks from the worst phase and 8 for the response, 21 in all; a cold one 31.
fn judged(health: &str) -> Vec<Verdict> {
    let restart = "restart = { cold_init = \"6 ns\", warm_init = \"3 ns\", detection = \"2 ns\", action = \"1 ns\", ends_with = \"P.t\" }";
    let other = restart.replace("P.t", "Q.t");
    let partition = |name: &str, more: &str| {
        format!("\n[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nperiod = \"10 ns\"\n{more}\n")
            + &task("t", 10, 1, 1, "free-running")
    };
    let system = preamble(10, 1, 2) + &partition("P", restart) + &partition("Q", &other) + health;
    judge(&system, &(window(0, "P", (2, 6)) + &window(1, "Q", (2, 6))))
}

fn table(health: &str) -> Verdict {
    find(&judged(health), "health/table").clone()
}

fn ladder(health: &str) -> Verdict {
    find(&judged(&(whole_table() + health)), "health/escalation/P").clone()
}

#[test]
fn every_entry_that_is_taken_away_leaves_a_hole() {
    let whole = table(&whole_table());
    assert_eq!((whole.status, whole.bound, whole.limit), (Status::Shown, Some(0), Some(0)), "{whole:?}");
    for error in ERRORS {
        let start = whole_table().find(&format!("\n[[health.entry]]\nerror = \"{error}\"")).expect("an entry");
        let mut text = whole_table();
        let end = text[start + 1..].find("\n[[health").map_or(text.len(), |end| start + 1 + end);
        text.replace_range(start..end, "");
        let holed = table(&text);
        assert_eq!((holed.status, holed.bound), (Status::Violated, Some(2)), "one in each partition");
        assert_eq!(reason(&holed), format!("nothing answers \"{error}\""));
        let named = table(&(text + &entry(error, "module", "ignore") + "partitions = [\"Q\"]\n"));
        assert_eq!(named.bound, Some(1));
        assert_eq!(reason(&named), format!("nothing answers \"{error}\" in `P`"));
    }
}

#[test]
fn what_answers_rest_on_is_told() {
    assert!(reason(&table(&whole_table())).contains("\"deadline missed\", \"application error\""));
    let reset = whole_table().replace("module shutdown", "module reset");
    assert!(reason(&table(&reset)).contains("no escalation counts module resets"));
    let counted = reset.clone() + &escalation("module reset", 3, 1000, "module shutdown", "");
    assert!(!reason(&table(&counted)).contains("no escalation counts"));
    let stop = whole_table() + &escalation("warm start", 3, 1000, "stop", "");
    assert!(!reason(&table(&stop)).contains("stop"), "nobody must go on");
}

#[test]
fn a_start_whose_time_is_not_given_is_not_analysed() {
    let health = whole_table() + &escalation("warm start", 3, 1000, "cold start", "");
    let restart = "restart = { warm_init = \"3 ns\" }";
    let partition = "\n[[partition]]\nname = \"P\"\nguest = \"fixed priority\"\nperiod = \"10 ns\"\n";
    let system = preamble(10, 1, 1) + partition + restart + &task("t", 10, 1, 1, "free-running") + &health;
    let verdicts = judge(&system, &window(0, "P", (2, 6)));
    let table = find(&verdicts, "health/table");
    assert_eq!((table.status, table.bound), (Status::NotAnalysed, None));
    assert_eq!(reason(table), "\"cold start\" can follow in `P`, of which `cold_init` is not given");
    assert_eq!(find(&verdicts, "health/escalation/P").status, Status::NotAnalysed);
}

/// Three warm starts take 63, the cold one after them 31; twice that and 3 for the stop are 191.
#[test]
fn a_fault_that_comes_back_climbs_the_ladder() {
    let steps = |warm: u64, cold: u64, safe: u64| {
        let safe = format!("safe_within = \"{safe} ns\"\n");
        ladder(
            &(escalation("warm start", 3, warm, "cold start", "") + &escalation("cold start", 2, cold, "stop", &safe)),
        )
    };
    let shown = steps(42, 94, 191);
    assert_eq!((shown.status, shown.bound, shown.limit), (Status::Shown, Some(191), Some(191)), "{shown:?}");
    assert_eq!(sum_of_parts(&shown.parts), 191);
    assert!(reason(&shown).contains("\"cold start\" is done 94 ns after the first fault"));
    assert_eq!(steps(42, 94, 190).status, Status::NotShown);
    let late = steps(41, 94, 191);
    assert_eq!(late.status, Status::NotShown);
    assert!(reason(&late).contains("can take 42 ns and are counted within 41 ns"), "{late:?}");
    assert_eq!(steps(42, 93, 191).status, Status::NotShown);
    // At the fastest a warm start takes 1 and 3 more.
    assert_eq!(steps(8, 94, 191).status, Status::NotShown);
    let never = steps(7, 94, 191);
    assert_eq!(never.status, Status::Violated);
    assert!(reason(&never).contains("\"cold start\" is never reached"), "{never:?}");
}

/// Counted errors may take the whole window.
#[test]
fn errors_are_counted_within_their_window() {
    let missed = escalation("deadline missed", 3, 30, "warm start", "");
    assert_eq!(ladder(&missed).bound, Some(30 + 21));
    assert_eq!(ladder(&escalation("deadline missed", 1, 30, "warm start", "")).bound, Some(21));
    let both = missed + &escalation("warm start", 2, 1000, "cold start", "safe_within = \"200 ns\"\n");
    let verdict = ladder(&both);
    assert_eq!((verdict.bound, verdict.limit), (Some(2 * 51 + 31), Some(200)), "the slower way to a warm start");
}

#[test]
fn an_escalation_is_for_those_that_it_names() {
    let verdicts = judged(&(whole_table() + &escalation("warm start", 3, 1000, "stop", "partitions = [\"Q\"]\n")));
    assert_eq!(find(&verdicts, "health/escalation/Q").bound, Some(3 * 21 + 3));
    assert!(verdicts.iter().all(|verdict| verdict.id != "health/escalation/P"));
}
