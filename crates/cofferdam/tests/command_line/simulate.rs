//! `simulate`: one run drawn, many counted, and what is wrong with a call.

use crate::common::*;
use serde_json::Value;

fn simulate(words: &[&str]) -> Run {
    call(&root(), &[&["simulate", "examples/survey-vessel"], words].concat())
}

#[test]
fn one_run_is_drawn_with_who_runs_when() {
    let run = simulate(&["--fault", "crash:NAVF@12ms,start=warm"]).expect(0);
    for part in ["core 0", "NAVF.imu", "marks", "fault begins: crash:NAVF@12ms,start=warm", "NAVF starts warm", "█"] {
        assert!(run.out.contains(part), "`{part}` is missing from\n{}", run.out);
    }
    assert!(run.out.contains("A simulation is not a bound"), "{}", run.out);
    let ascii = simulate(&["--ascii"]).expect(0).out;
    assert!(ascii.contains('#') && !ascii.contains(['█', '▒', '─', '↑']), "{ascii}");
}

#[test]
fn a_run_alone_is_the_run_that_it_is_among_many() {
    let first = |words: &[&str]| simulate(&[words, &["--for", "200ms", "--format", "json"]].concat()).expect(0).json();
    let (many, one) = (first(&["--runs", "3"]), |k: &str| first(&["--run", k]));
    let largest = |answer: &Value, task: usize| answer["tasks"][task]["response_ns"]["largest_seen"].as_u64();
    let alone: Vec<Value> = ["0", "1", "2"].map(one).to_vec();
    for task in 0..39 {
        assert_eq!(largest(&many, task), alone.iter().map(|run| largest(run, task)).max().flatten(), "task {task}");
    }
    assert_ne!(alone[0]["tasks"], alone[1]["tasks"], "runs differ");
    assert_eq!(many, first(&["--runs", "3"]), "the same call gives the same answer");
}

/// The vessel's bounds, which other tests hold to hand-made sums, are above everything seen.
#[test]
fn nothing_is_seen_above_its_bound() {
    let answer = simulate(&["--runs", "40", "--execution", "ends", "--format", "json"]).expect(0).json();
    let tasks = answer["tasks"].as_array().expect("a list");
    assert_eq!(tasks.len(), 39);
    for task in tasks {
        let [seen, bound] = ["largest_seen", "bound"].map(|key| task["response_ns"][key].as_u64());
        assert!(seen.is_some_and(|seen| seen > 0) && seen <= bound, "{task}");
    }
    assert_eq!(answer["above_bound"], serde_json::json!([]));
    assert_eq!(answer["runs"], 40);
}

/// Waiting only for what others ask for meanwhile, jobs are done no later, some sooner; and the scenario says so.
#[test]
fn requests_wait_in_full_or_for_concurrent_ones() {
    let words = ["--runs", "8", "--execution", "most", "--format", "json"];
    let answer = |more: &[&str]| simulate(&[&words, more].concat()).expect(0).json();
    let (full, concurrent) = (answer(&[]), answer(&["--contention", "concurrent"]));
    assert_eq!(full, answer(&["--contention", "full"]));
    let seen = |answer: &Value| -> Vec<u64> {
        let tasks = answer["tasks"].as_array().expect("a list").iter();
        tasks.filter_map(|task| task["response_ns"]["largest_seen"].as_u64()).collect()
    };
    let (full_seen, concurrent_seen) = (seen(&full), seen(&concurrent));
    assert!(full_seen.len() == 39 && concurrent_seen.len() == 39);
    assert!(concurrent_seen.iter().sum::<u64>() < full_seen.iter().sum(), "{concurrent_seen:?}");
    assert_eq!(concurrent["above_bound"], serde_json::json!([]));
    let scenario = concurrent["scenario"].as_str().expect("a file");
    assert!(scenario.contains("contention = \"concurrent\"") && !full["scenario"].to_string().contains("contention"));
    let told = simulate(&["--contention", "concurrent"]).expect(0).out;
    assert!(told.contains("waiting only for concurrent line requests"), "{told}");
}

/// A job that loops for ever takes all that its partition has, and no more where windows are enforced; without that
/// and without a health monitor it keeps the core, on which COLA's window comes next.
#[test]
fn faults_harm_their_own_partition_only_while_windows_are_enforced() {
    let missed = |words: &[&str]| -> Vec<String> {
        let fault = ["--fault", "endless-loop:OBJT.radar@1ms", "--format", "json"];
        let answer = simulate(&[&fault, words].concat()).expect(0).json();
        let late = |task: &&Value| task["missed"].as_u64() > Some(0);
        let late = answer["tasks"].as_array().expect("a list").iter().filter(late);
        late.map(|task| task["task"].as_str().expect("a name").to_owned()).collect()
    };
    let enforced = missed(&[]);
    assert!(!enforced.is_empty() && enforced.iter().all(|task| task.starts_with("OBJT.")), "{enforced:?}");
    let loose = missed(&["--off", "window-enforcement", "--off", "health-monitor"]);
    assert!(loose.iter().any(|task| task.starts_with("COLA.")), "{loose:?}");
}

#[test]
fn files_are_a_picture_and_a_trace() {
    let folder = scratch("simulate_files");
    let path = |name: &str| folder.join(name).display().to_string();
    let (svg, json) = (path("run.svg"), path("run.json"));
    let part = ["--window", "100ms..150ms", "--svg", &svg, "--timeline", &json];
    simulate(&part).expect(0);
    let picture = read(&folder.join("run.svg"));
    assert!(picture.starts_with("<svg xmlns=") && picture.trim_end().ends_with("</svg>"), "a picture");
    for part in ["<title>", "<desc>", "core 3", "prefers-color-scheme: dark"] {
        assert!(picture.contains(part), "`{part}` is missing");
    }
    let trace: Value = serde_json::from_str(&read(&folder.join("run.json"))).expect("one object");
    let events = trace["traceEvents"].as_array().expect("a list");
    let ns = |value: &Value| format!("{value} us").parse::<quantity::Duration>().expect("exact to the nanosecond").ns();
    let lasting = events.iter().filter(|event| event["ph"] == "X");
    let spans: Vec<_> = lasting.map(|event| (ns(&event["ts"]), ns(&event["ts"]) + ns(&event["dur"]))).collect();
    assert!(spans.len() > 100, "{} stretches", spans.len());
    assert!(spans.iter().all(|(from, to)| *from >= 100_000_000 && *to <= 150_000_000), "the part alone");
    for kind in ["M", "i"] {
        assert!(events.iter().any(|event| event["ph"] == kind), "{kind}");
    }
}

#[test]
fn wrong_calls_are_said_with_what_would_do() {
    let wrong: [(&[&str], &[&str]); 11] = [
        (&["--window", "5s..6s"], &["the part begins at 5 s, the run ends at 1 s", "earlier"]),
        (&["--svg", "same", "--timeline", "same"], &["--timeline and --svg both name same"]),
        (&["--runs", "0"], &["0", "--runs"]),
        (&["--runs", "2", "--run", "1"], &["--run"]),
        (&["--runs", "2", "--svg", "a.svg"], &["--svg draws one run", "--run K"]),
        (&["--fault", "crush:NAVF"], &["no fault `crush`", "did you mean `crash`?"]),
        (&["--fault", "crash:NAVX@1ms"], &["no partition `NAVX`", "did you mean `NAVF`?"]),
        (&["--fault", "crash:NAVF@2s"], &["the fault comes at 2 s, the run ends at 1 s"]),
        (&["--off", "windows"], &["no protection `windows`"]),
        (&["--scenario", "gone.toml"], &["no scenario file `gone.toml`"]),
        (&["--window", "3ms..1ms"], &["FROM must lie before TO"]),
    ];
    for (words, parts) in wrong {
        let run = simulate(words).expect(2);
        run.complains(parts);
        assert!(run.out.is_empty(), "{}", run.out);
        let answer = simulate(&[words, &["--format", "json"]].concat()).expect(2).json();
        assert_eq!(answer["diagnostics"].as_array().map(Vec::len), Some(1), "{answer}");
    }
}

/// Everything that is wrong with a scenario comes in one run, of the file and of the options.
#[test]
fn all_that_is_wrong_with_a_scenario_is_said_at_once() {
    let folder = with_vessel("simulate_all_wrong");
    write(
        &folder.join("s.toml"),
        "off = [\"windows\"]\n[[fault]]\nkind = \"crsh\"\ntarget = \"NAVF\"\nat = \"2 sm\"\n",
    );
    let faults = ["--fault", "overrun:OBJT.trk,extra=2,jobs=0", "--fault", "crash:NAVX@9s", "--schedule", "other"];
    let run = call(&folder, &[&["simulate", "vessel"], &faults[..]].concat()).expect(2);
    run.complains(&[
        "`extra` has no unit",
        "`jobs` is zero",
        "`NAVX`",
        "the fault comes at 9 s",
        "no schedule `other`",
    ]);
    let run = call(&folder, &["simulate", "vessel", "--scenario", "s.toml"]).expect(2);
    run.complains(&["s.toml:1", "no protection `windows`", "s.toml:3", "`crash`?", "s.toml:5", "unknown unit `sm`"]);
}

#[test]
fn scenario_files_of_any_kind_are_read_or_refused() {
    let folder = with_vessel("simulate_scenarios");
    let plain = call(&folder, &["simulate", "vessel"]).expect(0).out;
    for (name, text) in [("empty.toml", ""), ("blank.toml", " \r\n\t\n"), ("remark.toml", "# nothing\n")] {
        write(&folder.join(name), text);
        let run = call(&folder, &["simulate", "vessel", "--scenario", name]).expect(0);
        assert_eq!(run.out, plain, "{name} is the plain scenario");
    }
    let faults = "[[fault]]\nkind = \"crash\"\ntarget = \"NAVF\"\n".repeat(70_000);
    write(&folder.join("many.toml"), faults);
    write(&folder.join("deep.toml"), format!("run = {}", "[".repeat(100_000)));
    write(&folder.join("bytes.toml"), [0xff, 0xfe, b'[']);
    std::fs::File::create(folder.join("big.toml")).and_then(|file| file.set_len(200 << 20)).expect("there is room");
    let refused = [
        ("many.toml", ["at most 65536 are read", "many.toml:"]),
        ("deep.toml", ["max recursion depth", "deep.toml:1"]),
        ("bytes.toml", ["not UTF-8", "bytes.toml:1:1"]),
        ("big.toml", ["larger than 16 MiB", "big.toml"]),
        ("vessel", ["it is a folder", "vessel"]),
        ("vessel/tasks.csv", ["not TOML", "tasks.csv:1"]),
        ("gone.toml", ["no scenario file", "--scenario"]),
    ];
    for (name, parts) in refused {
        call(&folder, &["simulate", "vessel", "--scenario", name]).expect(2).complains(&parts);
    }
}

/// `simulate` has the table of ports and of chains, which no other command does.
#[test]
fn tables_of_many_runs_keep_to_the_columns() {
    for system in ["survey-vessel", "nacelle-controller"] {
        let words = ["simulate", &format!("examples/{system}"), "--runs", "3", "--from-boot"];
        let run = command(&root(), &words).env("COLUMNS", "80").output().expect("the program starts");
        let run = Run::from(run).expect(0);
        let widest = run.out.lines().max_by_key(|line| line.chars().count()).unwrap_or_default();
        assert!(widest.chars().count() <= 80 && run.out.contains("ports"), "{widest}");
    }
}

#[cfg(unix)]
#[test]
fn interrupted_runs_are_counted() {
    use std::process::Stdio;
    for name in ["-INT", "-TERM"] {
        let words = ["simulate", "examples/survey-vessel", "--runs", "100000000", "--for", "20ms", "--format"];
        for format in ["text", "json"] {
            let mut command = command(&root(), &[&words[..], &[format]].concat());
            let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
            std::thread::sleep(std::time::Duration::from_millis(1_500));
            signal(&child, name);
            let run = Run::from(child.wait_with_output().expect("a child of ours")).expect(130);
            assert!(!run.err.contains("simulating"), "a bar is for terminals: {}", run.err);
            if format == "text" {
                let made =
                    run.out.split(" runs of 100000000 asked for").next().and_then(|head| head.rsplit(' ').next());
                let made: u64 = made.and_then(|made| made.parse().ok()).expect("the head says how many runs were made");
                assert!(made > 0 && run.out.contains(&format!("In {made} runs: ")), "{}", run.out);
            } else {
                let answer = run.json();
                assert!(answer["runs"].as_u64().is_some_and(|made| made > 0 && made < 100_000_000), "{answer}");
                assert_eq!((&answer["runs_asked"], &answer["interrupted"]), (&100_000_000.into(), &true.into()));
            }
        }
    }
}

/// Where a core may be throttled, bounds say nothing of runs with regulation on, so that nothing seen there is an alarm; a
/// missed deadline is one all the same.
#[test]
fn bounds_are_held_against_runs_of_which_they_speak() {
    let folder = with_vessel("simulate_throttled");
    let answer = |words: &[&str]| {
        call(&folder, &[&["simulate", "vessel", "--runs", "4", "--execution", "most"], words].concat())
    };
    assert!(!answer(&[]).expect(0).out.contains("throttled"));
    edit(&folder.join("vessel/plan.toml"), "budget = \"260 MB/s\"", "budget = \"1 MB/s\"");
    let run = answer(&[]).expect(1);
    assert!(run.out.contains("It is not shown that no core is throttled"), "{}", run.out);
    assert!(run.err.is_empty(), "{}", run.err);
    assert!(!answer(&["--off", "regulation"]).expect(0).out.contains("throttled"));
}

#[test]
fn the_report_tells_of_a_run_and_of_a_campaign_of_this_system_alone() {
    let folder = with_vessel("simulate_report");
    let campaign = ["campaign", "vessel", "--runs", "40", "--frames", "3", "--fault", "core-stop", "--out", "made"];
    call(&folder, &campaign);
    call(&folder, &["report", "vessel", "--campaign", "made", "--out", "evidence"]).expect(1);
    let page = read(&folder.join("evidence/report.html"));
    for part in ["Isolation matrix", "core 0 harms", "not made again with protections off", ", attained"] {
        assert!(page.contains(part), "`{part}` is missing");
    }
    let drawn = page.matches("class=\"drawing\"").count();
    call(&folder, &["report", "vessel", "--out", "plain"]).expect(1);
    let plain = read(&folder.join("plain/report.html"));
    assert!(plain.contains("No campaign was given") && plain.matches("class=\"drawing\"").count() < drawn);

    edit(&folder.join("vessel/system.toml"), "Survey vessel SV-4", "Survey vessel SV-5");
    let other = call(&folder, &["report", "vessel", "--campaign", "made", "--out", "evidence"]).expect(2);
    other.complains(&["made holds a campaign of another system or plan"]);
    let none = call(&folder, &["report", "vessel", "--campaign", "vessel", "--out", "evidence"]).expect(2);
    none.complains(&["vessel holds no finished campaign"]);
}
