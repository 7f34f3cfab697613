//! Wrong systems: status 2, the place, the remedy, all mistakes in one run, and never a crash or a hang.

use crate::common::*;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

const SOUND: &str = "\
[system]
name = \"Example\"
frame = \"100 ms\"
plan = \"plan.toml\"

[board]
name = \"B1\"

[[board.core]]
name = \"0\"

[[partition]]
name = \"NAV\"
guest = \"fixed priority\"
period = \"20 ms\"

[[partition.task]]
name = \"fuse\"
period = \"20 ms\"
deadline = \"20 ms\"
priority = 1
wcet = \"2 ms\"
bcet = \"1 ms\"
";

const PLAN: &str =
    "[[window]]\ncore = \"0\"\npartition = \"NAV\"\nstart = \"0 ms\"\nlength = \"5 ms\"\nevery = \"20 ms\"\n";

/// A folder with the sound system and its plan.
fn sound(name: &str) -> std::path::PathBuf {
    let folder = scratch(name);
    write(&folder.join("system.toml"), SOUND);
    write(&folder.join("plan.toml"), PLAN);
    folder
}

#[test]
fn every_mistake_has_its_code_its_place_and_its_remedy() {
    let folder = sound("bad_one");
    let cases = [
        ("\"100 ms\"", "nan", "E0103", "3:9", "write a time in quotes"),
        ("\"100 ms\"", "\"NaN ms\"", "E0104", "3:9", "write one such as"),
        ("\"100 ms\"", "\"90 ms\"", "E0305", "15:10", "is a multiple of every period"),
        ("wcet = \"2 ms\"", "wcet = \"-2 ms\"", "E0104", "22:8", "zero or more"),
        ("deadline = \"20 ms\"", "deadline = \"0 ms\"", "E0112", "20:12", "above zero"),
        ("wcet = \"2 ms\"", "wcet = \"2 MiB\"", "E0104", "22:8", "write one of ns, us, ms, s"),
        ("wcet = \"2 ms\"", "wcet = \"99999999999999999999 s\"", "E0104", "22:8", "the largest value"),
        ("wcet = \"2 ms\"", "wcet = 2", "E0103", "22:8", "write \"2 ms\""),
        ("bcet = \"1 ms\"", "bcet = \"3 ms\"", "E0401", "23:8", "have the two been exchanged?"),
        ("wcet = \"2 ms\"", "wcet = \"30 ms\"", "E0402", "22:8", "give it a later deadline"),
        ("deadline =", "deadlien =", "E0101", "20:1", "did you mean `deadline`?"),
        ("guest =", "zone = \"Nowhere\"\nguest =", "E0109", "14:8", "no zone is declared"),
        ("[board]\n", "[[zone]]\nname = \"Z\"\n[[zone]]\nname = \"Z\"\n[board]\n", "E0108", "9:8", "a name of its own"),
    ];
    for (old, new, code, place, remedy) in cases {
        write(&folder.join("system.toml"), SOUND.replacen(old, new, 1));
        let run = call(&folder, &["check", "."]).expect(2);
        run.complains(&[&format!("error[{code}]"), &format!("./system.toml:{place}\n"), "^", "= help: ", remedy]);
        assert!(run.out.is_empty() && run.err.contains("\n1 error; "), "{code}:\n{}", run.err);
    }
}

/// 19 and 23 ms ask for a frame of 437 ms; primes in the nanoseconds ask for one that nobody can enumerate.
#[test]
fn periods_without_a_common_frame_are_refused_at_once() {
    let folder = sound("bad_periods");
    let with_periods = |first: &str, second: &str| {
        let one = SOUND.replacen("period = \"20 ms\"", &format!("period = \"{first}\""), 1);
        let other = format!("\n[[partition]]\nname = \"LOG\"\nguest = \"fixed priority\"\nperiod = \"{second}\"\n");
        let task = "\n[[partition.task]]\nname = \"write\"\nperiod = \"100 ms\"\npriority = 1\nwcet = \"1 ms\"\n";
        write(&folder.join("system.toml"), one + &other + task);
        let begun = Instant::now();
        let run = call(&folder, &["check", "."]).expect(2);
        assert!(begun.elapsed() < Duration::from_secs(2), "{:?}", begun.elapsed());
        assert!(run.err.matches("error[E0305]").count() >= 1, "{}", run.err);
    };
    with_periods("19 ms", "23 ms");
    with_periods("19999999 ns", "23000009 ns");
}

#[test]
fn five_mistakes_in_two_files_are_found_in_one_run() {
    let folder = with_vessel("bad_five");
    let (system, tasks) = (folder.join("vessel/system.toml"), folder.join("vessel/tasks.csv"));
    edit(&system, "milestone = \"delivery\"\nplan", "mileston = \"delivery\"\nplan");
    edit(&system, "refill = \"25 us\"", "refill = \"25 usec\"");
    edit(&system, "ends_with = \"PROP.ctrl\"", "ends_with = \"PROP.crtl\"");
    edit(&tasks, "OBJT,trk,50 ms,50 ms,2,1800 us,1080 us", "OBJT,trk,50 ms,50 ms,2,1800 us,1.9 ms");
    edit(&tasks, "RECD,flush,", "RECD,index,");
    let run = call(&folder, &["check", "vessel"]).expect(2);
    let line_of = |file: &Path, part: &str| {
        1 + read(file).lines().position(|line| line.contains(part)).unwrap_or_else(|| panic!("{part}"))
    };
    let expected = [
        ("E0101", format!("vessel/system.toml:{}", line_of(&system, "mileston ="))),
        ("E0104", format!("vessel/system.toml:{}", line_of(&system, "25 usec"))),
        ("E0109", format!("vessel/system.toml:{}", line_of(&system, "PROP.crtl"))),
        ("E0401", format!("vessel/tasks.csv:{}", line_of(&tasks, "OBJT,trk"))),
        ("E0108", format!("vessel/tasks.csv:{}", line_of(&tasks, "RECD,index") + 1)),
    ];
    let found: Vec<_> = run.err.split("error[").skip(1).map(|one| (&one[..5], place(one))).collect();
    assert_eq!(found, expected.each_ref().map(|(code, place)| (*code, place.as_str())), "{}", run.err);
    run.complains(&["did you mean `milestone`?", "did you mean `PROP.ctrl`?", "\n5 errors; `cofferdam explain CODE`"]);
    assert!(run.out.is_empty(), "{}", run.out);
}

/// The file and line of the first place of a drawn diagnostic.
fn place(drawn: &str) -> &str {
    let (_, rest) = drawn.split_once("--> ").expect("a diagnostic has a place");
    let line = rest.lines().next().unwrap_or_default();
    line.rsplit_once(':').map_or(line, |(place, _)| place)
}

#[test]
fn files_that_are_no_system_are_refused() {
    let folder = scratch("bad_files");
    let cases: [(&str, &[u8], &[&str]); 6] = [
        ("empty.toml", b"", &["E0008", "empty.toml:1:1", "begin with"]),
        ("blank.toml", b" \r\n\t\n", &["E0008", "begin with"]),
        ("binary.toml", b"\x7fELF\x02\x01\x01\0\0\xff\xfe\x01", &["E0003", "binary.toml:1:10", "UTF-8"]),
        ("latin.toml", b"[system]\nname = \"Caf\xe9\"\n", &["E0003", "latin.toml:2:12", "save the file as UTF-8"]),
        ("object.toml", b"{\"system\": 1}\n", &["E0004", "object.toml:1:1"]),
        ("nested.toml", &[b'['; 100_000], &["E0004", "nested.toml:1:"]),
    ];
    for (name, bytes, parts) in cases {
        write(&folder.join(name), bytes);
        let run = call(&folder, &["check", name]).expect(2);
        run.complains(parts);
        assert!(run.err.len() < 20_000, "{name} is not printed whole");
    }
}

#[test]
fn marks_and_line_ends_of_other_systems_change_no_verdict() {
    let folder = sound("bad_but_sound");
    let plain = call(&folder, &["check", "."]);
    assert!(plain.status < 2 && plain.out.contains("response times"), "{}", plain.err);
    for file in ["system.toml", "plan.toml"] {
        let marked = format!("\u{feff}{}", read(&folder.join(file)).replace('\n', "\r\n"));
        write(&folder.join(file), marked);
    }
    let marked = call(&folder, &["check", "."]).expect(plain.status);
    assert_eq!((plain.out, plain.err), (marked.out, marked.err));
}

#[test]
fn a_huge_file_is_refused_unread() {
    let folder = scratch("bad_huge");
    let file = fs::File::create(folder.join("huge.toml")).expect("a new file");
    file.set_len(200 << 20).expect("a sparse file takes no room");
    write(&folder.join("system.toml"), SOUND);
    for words in [&["check", "huge.toml"][..], &["check", ".", "--plan", "huge.toml"]] {
        let begun = Instant::now();
        call(&folder, words).expect(2).complains(&["huge.toml", "larger than 16 MiB"]);
        assert!(begun.elapsed() < Duration::from_millis(500), "{:?}", begun.elapsed());
    }
}

#[cfg(unix)]
#[test]
fn pipes_and_devices_are_refused_unread() {
    let folder = sound("bad_pipes");
    let made = std::process::Command::new("mkfifo").arg(folder.join("pipe")).status().expect("mkfifo is there");
    assert!(made.success());
    let cases: [&[&str]; 4] = [
        &["check", "pipe"],
        &["check", "/dev/zero"],
        &["check", ".", "--plan", "pipe"],
        &["check", ".", "--plan", "/dev/zero"],
    ];
    for words in cases {
        call(&folder, words).expect(2).complains(&["it is a pipe or a device"]);
    }
}

#[test]
fn what_is_not_there_is_named_with_a_remedy() {
    let folder = with_vessel("bad_missing");
    fs::create_dir(folder.join("hollow")).expect("a new folder");
    fs::remove_file(folder.join("vessel/tasks.csv")).expect("it was there");
    call(&folder, &["check", "nowhere"]).expect(2).complains(&["error[E0001]", "--> nowhere\n", "= help: "]);
    call(&folder, &["check", "hollow"]).expect(2).complains(&["error[E0001]", "--> hollow/system.toml\n", "= help: "]);
    let run = call(&folder, &["check", "vessel"]).expect(2);
    run.complains(&["error[E0001]: there is no file `tasks.csv`", "--> vessel/system.toml:15:10\n", "= help: "]);
}

#[cfg(unix)]
#[test]
fn a_file_without_permission_is_named() {
    use std::os::unix::fs::PermissionsExt;
    let folder = sound("bad_permission");
    let file = folder.join("system.toml");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o000)).expect("the file is ours");
    if fs::read(&file).is_ok() {
        // Whoever may read everything cannot see this refusal.
        return;
    }
    call(&folder, &["check", "."]).expect(2).complains(&["error[E0001]", "ermission denied"]);
}
