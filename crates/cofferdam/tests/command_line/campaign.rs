//! `campaign`: whatever the way, the same bytes; what is finished is kept; wrong calls lose nothing.

use crate::common::{call, command, signal, verdict, write};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const SMALL: [&str; 6] = ["campaign", "vessel", "--runs", "600", "--frames", "2"];

/// The vessel without its own sets, which need more runs than a test has time for: tests declare what they judge.
fn with_vessel(name: &str) -> PathBuf {
    let folder = crate::common::with_vessel(name);
    let system = folder.join("vessel/system.toml");
    let text = crate::common::read(&system);
    let (before, _) = text.split_once("[[containment]]").expect("the vessel declares whom faults may reach");
    write(&system, before);
    folder
}

/// A small campaign of the vessel into `out`, with more words.
fn campaign(folder: &Path, out: &str, more: &[&str]) -> crate::common::Run {
    call(folder, &[&SMALL[..], &["--out", out], more].concat())
}

fn same_results(folder: &Path, one: &str, other: &str) {
    for file in ["records.parquet", "summary.json"] {
        let bytes = |out: &str| fs::read(folder.join(out).join(file)).expect("the campaign is finished");
        assert!(bytes(one) == bytes(other), "{file} of {one} and {other} differ");
    }
}

#[test]
fn parts_in_any_order_and_on_any_threads_are_the_same_bytes_as_one_run() {
    let folder = with_vessel("campaign-parts");
    campaign(&folder, "one", &["--threads", "1"]).expect(0);
    campaign(&folder, "two", &["--threads", "2", "--format", "json"]).expect(0).json();
    same_results(&folder, "one", "two");
    for part in ["1", "2", "3"] {
        campaign(&folder, &format!("part-{part}"), &["--shard", &format!("{part}/3")]).expect(0);
    }
    fs::remove_dir_all(folder.join("vessel")).expect("parts are merged without the system");
    call(&folder, &["campaign", "--merge", "part-3", "part-1", "part-2", "--out", "merged"]).expect(0);
    same_results(&folder, "one", "merged");
}

#[test]
fn a_campaign_that_is_resumed_ends_with_the_same_bytes() {
    let folder = with_vessel("campaign-resumed");
    campaign(&folder, "one", &[]).expect(0);
    campaign(&folder, "other", &[]).expect(0);
    for gone in ["summary.json", "records.parquet", "chunks/all-on-00000000.chunk", "chunks/all-on-00000002.chunk"] {
        fs::remove_file(folder.join("other").join(gone)).expect("it was written");
    }
    campaign(&folder, "other", &["--resume"]).expect(0);
    same_results(&folder, "one", "other");
}

#[test]
fn interrupted_work_keeps_what_is_finished() {
    let folder = with_vessel("campaign-interrupted");
    let words = ["campaign", "vessel", "--runs", "10000000", "--frames", "2", "--out", "long"];
    let child = command(&folder, &words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let first = folder.join("long/chunks/all-on-00000000.chunk");
    let begun = Instant::now();
    while !first.exists() && begun.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(20));
    }
    signal(&child, "-INT");
    let run: crate::common::Run = child.wait_with_output().expect("it ends").into();
    run.expect(130).complains(&["is kept", "--resume"]);
    assert!(first.exists());
    let half = fs::read_dir(folder.join("long/chunks")).expect("it is there").map(|entry| entry.expect("an entry"));
    assert!(half.into_iter().all(|entry| entry.path().extension().is_some_and(|end| end == "chunk")), "all are whole");
}

#[test]
fn wrong_calls_say_what_is_wrong() {
    let folder = with_vessel("campaign-wrong");
    campaign(&folder, "one", &[]).expect(0);
    fs::create_dir(folder.join("full")).expect("it is new");
    write(&folder.join("full/mine.txt"), "mine");
    let cases: [(&[&str], &str); 12] = [
        (&["campaign", "vessel", "--runs", "1000000001", "--out", "x"], "give fewer --runs"),
        (&["campaign", "vessel", "--threads", "0", "--out", "x"], "0 is not in 1..=1024"),
        (&["campaign", "vessel", "--out", "full"], "full is not empty and holds no campaign"),
        (&["campaign", "vessel", "--out", "full", "--resume"], "full is not empty and holds no campaign"),
        (&["campaign", "vessel", "--runs", "0", "--out", "x"], "zero runs"),
        (&["campaign", "vessel", "--shard", "0/4", "--out", "x"], "no part 0 of 4"),
        (&["campaign", "vessel", "--shard", "5/4", "--out", "x"], "no part 5 of 4"),
        (&["campaign", "vessel", "--shard", "four", "--out", "x"], "is no part"),
        (&["campaign", "vessel", "--fault", "crsh:NAVF", "--out", "x"], "did you mean `crash`?"),
        (&["campaign", "vessel", "--fault", "crash:NAVX", "--out", "x"], "did you mean `NAVF`?"),
        (&["campaign", "vessel", "--fault", "crash:NAVF@1ms", "--out", "x"], "draws instants"),
        (&["campaign", "vessel", "--out", "one"], "is not empty"),
    ];
    for (words, said) in cases {
        call(&folder, words).expect(2).complains(&[said]);
    }
    assert!(!folder.join("x").exists(), "a wrong call leaves nothing");
    campaign(&folder, "one", &["--resume", "--seed", "9"]).expect(2).complains(&["the seed differs"]);
    crate::common::edit(&folder.join("vessel/plan.toml"), "start = \"6.2 ms\"", "start = \"6.20 ms\"");
    campaign(&folder, "one", &["--resume"]).expect(2).complains(&["the system or its plan differs"]);
}

/// Whoever gets a call wrong in several ways is told of all of them at once, and asked for JSON in one object.
#[test]
fn all_that_is_wrong_with_a_call_is_said_at_once() {
    let folder = crate::common::with_vessel("campaign-all-wrong");
    let faults = ["--fault", "crsh:NAVF", "--fault", "crash:NAVX,strt=1"];
    let wrong = [&["--runs", "0", "--frames", "0", "--shard", "3/2"][..], &faults].concat();
    let call_of = |more: &[&str]| call(&folder, &[&["campaign", "vessel", "--out", "x"], &wrong[..], more].concat());
    let said = ["zero runs", "zero frames", "no part 3 of 2", "`crash`?", "`NAVF`?", "no parameter `strt`"];
    call_of(&[]).expect(2).complains(&said);
    let message = call_of(&["--format", "json"]).expect(2).json()["diagnostics"][0]["message"].to_string();
    assert!(said.iter().all(|part| message.contains(part)), "{message}");
    crate::common::edit(&folder.join("vessel/plan.toml"), "start = \"6.2 ms\"", "start = \"6.2 sm\"");
    let answer = call_of(&["--format", "json"]).expect(2).json();
    assert_eq!(crate::common::codes(&answer), ["E0104"], "errors of the inputs are told as everywhere");
}

/// The summary names the digest of the records, so that whatever is not what was written is refused, and can be made again.
#[test]
fn records_that_were_damaged_are_refused_and_written_again() {
    let folder = with_vessel("campaign-damaged-records");
    campaign(&folder, "one", &[]).expect(0);
    let file = folder.join("one/records.parquet");
    let whole = fs::read(&file).expect("the campaign is finished");
    let check = || call(&folder, &["check", "vessel", "--campaign", "one"]);
    let status = check().status;
    let changed = |at: usize| whole.iter().enumerate().map(|(n, byte)| byte ^ u8::from(n == at)).collect::<Vec<_>>();
    let damaged = [vec![], whole[..whole.len() / 2].to_vec(), changed(whole.len() / 3), changed(whole.len() - 20)];
    for bytes in damaged {
        write(&file, bytes);
        check().expect(2).complains(&["cannot use one/records.parquet", "not what the campaign wrote", "--resume"]);
    }
    fs::remove_file(&file).expect("it is there");
    check().expect(2).complains(&["cannot use one/records.parquet", "--resume"]);
    campaign(&folder, "one", &["--resume"]).expect(0);
    assert!(fs::read(&file).expect("it is there again") == whole);
    assert_eq!(check().status, status);
}

/// A program that is killed at once, even within a write, loses the chunk at hand and no other.
#[test]
fn a_campaign_that_was_killed_ends_with_the_same_bytes() {
    let folder = with_vessel("campaign-killed");
    let words = ["campaign", "vessel", "--runs", "1500", "--frames", "2", "--out"];
    call(&folder, &[&words[..], &["whole"]].concat()).expect(0);
    for _ in 0..4 {
        let words = [&words[..], &["killed", "--resume"]].concat();
        let mut child =
            command(&folder, &words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it starts");
        std::thread::sleep(Duration::from_millis(150));
        child.kill().expect("it is ours");
        child.wait().expect("it is ours");
    }
    call(&folder, &[&words[..], &["killed", "--resume"]].concat()).expect(0);
    same_results(&folder, "whole", "killed");
}

/// Killed before its folder was whole, at each step of making it; a folder with anything else in it is left alone.
#[test]
fn a_campaign_that_was_hardly_begun_is_begun_again() {
    let folder = with_vessel("campaign-hardly-begun");
    let words = ["campaign", "vessel", "--runs", "3", "--frames", "2", "--out"];
    call(&folder, &[&words[..], &["whole"]].concat()).expect(0);
    let steps = [&["chunks/"][..], &["chunks/", "inputs.json.part"], &["chunks/", "inputs.json", "campaign.json.part"]];
    for (number, step) in steps.iter().enumerate() {
        let out = format!("begun-{number}");
        let path = |name: &str| folder.join(&out).join(name);
        std::fs::create_dir_all(path("chunks")).expect("it is free");
        step[1..].iter().for_each(|name| std::fs::write(path(name), "{").expect("it can be written"));
        call(&folder, &[&words[..], &[&out]].concat()).expect(2).complains(&["is not empty"]);
        call(&folder, &[&words[..], &[&out, "--resume"]].concat()).expect(0);
        same_results(&folder, "whole", &out);
        let left = ["inputs.json.part", "campaign.json.part"].map(|name| path(name).exists());
        assert_eq!(left, [false; 2], "{out}");
    }
    std::fs::create_dir_all(folder.join("mine/chunks")).expect("it is free");
    std::fs::write(folder.join("mine/notes.txt"), "mine").expect("it can be written");
    call(&folder, &[&words[..], &["mine", "--resume"]].concat()).expect(2).complains(&["holds no campaign"]);
}

/// What a batch system sends before it kills.
#[test]
fn a_campaign_that_is_told_to_end_keeps_what_is_finished() {
    let folder = with_vessel("campaign-told");
    let words = ["campaign", "vessel", "--runs", "10000000", "--frames", "2", "--out", "long"];
    let child = command(&folder, &words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let first = folder.join("long/chunks/all-on-00000000.chunk");
    let begun = Instant::now();
    while !first.exists() && begun.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(20));
    }
    signal(&child, "-TERM");
    let run: crate::common::Run = child.wait_with_output().expect("it ends").into();
    run.expect(130).complains(&["is kept", "--resume"]);
}

#[test]
fn parts_that_do_not_fit_are_not_merged() {
    let folder = with_vessel("campaign-unfit");
    campaign(&folder, "a", &["--shard", "1/2"]).expect(0);
    campaign(&folder, "b", &["--shard", "2/2", "--seed", "2"]).expect(0);
    let merge = |parts: &[&str]| call(&folder, &[&["campaign", "--merge"], parts, &["--out", "m"]].concat()).expect(2);
    merge(&["a"]).complains(&["part 2 of 2 is missing"]);
    merge(&["a", "a"]).complains(&["both hold part 1 of 2", "part 2 of 2 is missing"]);
    merge(&["gone", "a", "vessel"]).complains(&[
        "gone holds no campaign",
        "it is not there",
        "vessel holds no campaign",
    ]);
    merge(&["a", "b"]).complains(&["the seed differs"]);
    merge(&["a", "vessel"]).complains(&["holds no campaign"]);
    assert!(!folder.join("m").exists());
}

/// A set around everybody holds; one around the navigation alone is broken when it falls silent, since others read it.
#[test]
fn containment_sets_the_status() {
    let folder = with_vessel("campaign-contained");
    let system = folder.join("vessel/system.toml");
    let plain = crate::common::read(&system);
    write(&system, format!("{plain}\n[[containment]]\npartition = \"NAVF\"\n"));
    let words = ["--fault", "silence:NAVF", "--format", "json"];
    let open = campaign(&folder, "open", &words).expect(1).json();
    let claim = verdict(&open, "containment/NAVF");
    assert_eq!((claim["status"].as_str(), claim["unit"].as_str()), (Some("violated"), Some("ppm")));
    assert!(claim["witness"]["summary"].as_str().is_some_and(|told| told.contains("silence:NAVF@")), "{claim}");
    let names: Vec<_> =
        open["matrix"].as_array().into_iter().flatten().map(|row| format!("{}", row["affected"])).collect();
    write(&system, format!("{plain}\n[[containment]]\npartition = \"NAVF\"\nwithin = [{}]\n", names.join(", ")));
    let shown = campaign(&folder, "shown", &words).expect(0).json();
    assert_eq!(verdict(&shown, "containment/NAVF")["status"], "shown");
    let check = |more: &[&str]| call(&folder, &[&["check", "vessel", "--format", "json"], more].concat());
    let status = |answer: &Value| verdict(answer, "containment/NAVF")["status"].clone();
    assert_eq!(status(&check(&[]).expect(1).json()), "not_analysed");
    let judged = check(&["--campaign", "shown"]).json();
    assert_eq!(verdict(&judged, "containment/NAVF")["bound"], verdict(&shown, "containment/NAVF")["bound"]);
    assert_eq!(status(&judged), "shown");
    check(&["--campaign", "open"]).expect(2).complains(&["open holds a campaign of another system or plan"]);
}

#[test]
fn a_chunk_that_was_damaged_is_named() {
    let folder = with_vessel("campaign-damaged");
    campaign(&folder, "one", &[]).expect(0);
    let file = folder.join("one/chunks/all-on-00000001.chunk");
    let whole = fs::read(&file).expect("the campaign is finished");
    let changed = |at: usize| whole.iter().enumerate().map(|(n, byte)| byte ^ u8::from(n == at)).collect::<Vec<_>>();
    let cut = whole[..whole.len() - 1].to_vec();
    for damaged in [vec![], b"not a chunk".to_vec(), cut, changed(5), changed(300), changed(whole.len() - 3)] {
        write(&file, damaged);
        let run = campaign(&folder, "one", &["--resume"]).expect(2);
        run.complains(&["all-on-00000001.chunk", "take it away", "cut off, or changed"]);
    }
    fs::remove_file(&file).expect("it is there");
    campaign(&folder, "one", &["--resume"]).expect(0);
    assert!(fs::read(&file).expect("it was made again") == whole);
}

#[test]
fn an_accepted_containment_claim_passes_until_its_day_and_is_listed() {
    let folder = with_vessel("campaign-accepted");
    let system = folder.join("vessel/system.toml");
    let plain = crate::common::read(&system);
    let accepted = |until: &str| {
        let set = "[[containment]]\npartition = \"NAVF\"\n";
        let entry = "[[accepted]]\nclaim = \"containment/NAVF\"\nreason = \"all read it\"\nowner = \"A. Integrator\"\n";
        write(&system, format!("{plain}\n{set}\n{entry}until = {until}\n"));
    };
    accepted("2999-12-31");
    let words = ["--fault", "silence:NAVF"];
    let holds = campaign(&folder, "holds", &words).expect(0);
    assert!(holds.out.contains("Accepted: containment/NAVF: violated; A. Integrator accepts it"), "{}", holds.out);
    accepted("2001-01-01");
    let past = campaign(&folder, "past", &[&words[..], &["--format", "json"]].concat()).expect(1).json();
    assert_eq!((&past["deviations"][0]["expired"], &past["deviations"][0]["excuses"]), (&true.into(), &false.into()));
}

/// What one run shows beyond its twin of a partition: response in ns, deadlines, stale reads, lost messages, jobs undone.
fn harm(with: &Value, without: &Value, partition: &str) -> [u64; 5] {
    let number = |value: &Value| value.as_u64().unwrap_or(0);
    let more = |with: &Value, without: &Value| number(with).saturating_sub(number(without));
    let pairs = |list: &'static str| {
        let rows = |answer: &Value| answer[list].as_array().cloned().expect("the answer has the list");
        rows(with).into_iter().zip(rows(without))
    };
    let mut harm = [0; 5];
    let own = |name: &Value| name.as_str().is_some_and(|name| name.split('.').next() == Some(partition));
    for (with, without) in pairs("tasks").filter(|(row, _)| own(&row["task"])) {
        let response = |row: &Value| row["response_ns"]["largest_seen"].clone();
        harm[0] = harm[0].max(more(&response(&with), &response(&without)));
        harm[1] += more(&with["missed"], &without["missed"]);
        harm[4] += more(&without["jobs"], &with["jobs"]);
    }
    for (with, without) in pairs("ports").filter(|(row, _)| own(&row["reader"])) {
        harm[2] += more(&with["stale"], &without["stale"]);
        harm[3] += more(&with["lost"], &without["lost"]);
    }
    harm
}

/// Fails unless the scenario of a campaign of one run replays to the harm that the row says.
fn replays(folder: &Path, file: &str, row: &Value) {
    let text = crate::common::read(&folder.join(file));
    let (twin, _) = text.split_once("[[fault]]").expect("faults stand last");
    write(&folder.join("twin.toml"), twin);
    let run = |file: &str| call(folder, &["simulate", "vessel", "--scenario", file, "--format", "json"]).json();
    let affected = row["affected"].as_str().expect("a name");
    let measures = ["extra_response_ns", "missed_deadlines", "stale_reads", "lost_messages", "jobs_undone"];
    let said = measures.map(|measure| row[format!("worst_{measure}")].as_u64().expect("a number"));
    assert!(said.iter().any(|value| *value > 0), "{row}");
    assert_eq!(harm(&run(file), &run("twin.toml"), affected), said, "{row}");
}

/// The navigation falls silent, and those who read it notice; it babbles, and once ports are not protected all notice.
#[test]
fn counter_examples_replay_to_the_same_harm() {
    let folder = with_vessel("campaign-replayed");
    let one = |fault: &str, out: &str| {
        let words = ["campaign", "vessel", "--runs", "1", "--frames", "8", "--protections", "--format", "json"];
        call(&folder, &[&words[..], &["--fault", fault, "--out", out]].concat()).expect(0).json()
    };
    let answer = one("silence:NAVF", "silent");
    let rows = answer["matrix"].as_array().expect("there is a matrix");
    let harmed = |row: &&Value| row["faulty"] != row["affected"] && row["worst_stale_reads"].as_u64() > Some(0);
    replays(&folder, "silent/counter-examples/run-0.toml", rows.iter().find(harmed).expect("others read it"));
    let answer = one("babble:NAVF", "babbling");
    let carried = answer["protections"].as_array().expect("each protection was off");
    let ports = carried.iter().find(|one| one["off"] == "port-protection").expect("this one too");
    let reached = ports["reached_then"].as_array().expect("a list");
    assert!(!reached.is_empty(), "{ports}");
    let file = "babbling/counter-examples/without-port-protection-run-0.toml";
    assert!(crate::common::read(&folder.join(file)).contains("port-protection"));
    reached.iter().for_each(|row| replays(&folder, file, row));
}

/// Runs a script that makes a campaign without room, gives it room, and leaves what is resumed in `resumed`. The campaign must
/// end with status 2 and say where and what to do, and the results must be those of one that always had room.
fn runs_out_of_room(folder: &Path, shell: &mut Command, script: &str) {
    let words = "campaign vessel --runs 1200 --frames 2 --out";
    call(folder, &[&words.split(' ').collect::<Vec<_>>()[..], &["whole"]].concat()).expect(0);
    let shell = shell.current_dir(folder).args(["-c", script]);
    let made = format!("{} {words} small", env!("CARGO_BIN_EXE_cofferdam"));
    let run: crate::common::Run = shell.env("CAMPAIGN", made).output().expect("there is a shell").into();
    run.expect(2).complains(&["cannot write small/", "what is finished is kept in small", "--resume"]);
    same_results(folder, "whole", "resumed");
}

/// A limit on the size of a file, between that of a chunk and that of all records, stands for the disk.
#[test]
fn a_file_without_room_loses_no_chunk() {
    let script = r#"
        (trap '' XFSZ; ulimit -f 96; exec $CAMPAIGN)
        status=$?
        [ "$(ls small/chunks | wc -l)" = 5 ] || exit 8
        [ ! -e small/records.parquet ] || exit 6
        $CAMPAIGN --resume >&2 || exit 7
        mv small resumed
        exit $status"#;
    runs_out_of_room(&with_vessel("campaign-no-room"), &mut Command::new("sh"), script);
}

/// A disk of 160 KiB, which is full after some chunks. Needs leave to mount one; without, the test above stands alone.
#[test]
#[allow(clippy::disallowed_macros, reason = "a test that is skipped says so")]
fn a_full_disk_loses_no_chunk() {
    let probe = "mkdir -p disk && mount -t tmpfs -o size=160k tmpfs disk && mount -o remount,size=4m disk";
    let folder = with_vessel("campaign-full-disk");
    let mount = ["-rm", "-m"].into_iter().find(|how| {
        let tried = Command::new("unshare").current_dir(&folder).args([how, "sh", "-c", probe]).output();
        tried.is_ok_and(|tried| tried.status.success())
    });
    let Some(how) = mount else {
        eprintln!("skipped: no small disk can be mounted here");
        return;
    };
    let script = r#"
        mkdir small kept && mount -t tmpfs -o size=160k tmpfs small || exit 9
        $CAMPAIGN
        status=$?
        ls small/chunks | grep -q 'chunk$' || exit 8
        ls small/chunks | grep -q 'part$' && exit 6
        cp small/chunks/* kept
        mount -o remount,size=4m small || exit 9
        $CAMPAIGN --resume >&2 || exit 7
        for chunk in kept/*; do cmp "$chunk" "small/chunks/${chunk#kept/}" || exit 5; done
        cp -r small resumed
        exit $status"#;
    runs_out_of_room(&folder, Command::new("unshare").args([how, "sh"]), script);
}
