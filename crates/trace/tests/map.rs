//! The map file: its page, its codes, and names that fit or do not.

#![allow(clippy::disallowed_methods, reason = "a test reads its page")]

use diagnostic::{Code, codes};
use model::{Reading, System, read_system};
use quantity::PartitionId;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use trace::event::{Cpu, Event, Leaves, What, Word};
use trace::map::{Map, Mapper, key_tables, read_map};
use trace::names::Names;
use trace::seen::{Happening, Who};

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs")
}

const SYSTEM: &str = r#"
[system]
name = "Pair"
frame = "1 ms"

[board]
name = "board"

[[board.core]]
name = "main"

[[partition]]
name = "NAV"
guest = "fixed priority"
period = "1 ms"
budget = "500 us"

[[partition.task]]
name = "fuse"
period = "1 ms"
deadline = "800 us"
priority = 1
wcet = "100 us"

[[partition.task]]
name = "log"
period = "1 ms"
deadline = "1 ms"
priority = 0
wcet = "100 us"
"#;

fn read(map: &str) -> (System, Option<Map>, BTreeSet<&'static str>) {
    let mut files = BTreeMap::from([("system.toml".to_owned(), SYSTEM.as_bytes().to_vec())]);
    let Reading { mut sources, system, .. } = read_system("system.toml", &mut files);
    let system = system.expect("a system");
    let (map, found) = read_map("map.toml", map.as_bytes(), &system, &mut sources);
    (system, map, found.iter().map(|diagnostic| diagnostic.code.id).collect())
}

/// `COFFERDAM_WRITE_PAGES=1` writes the tables into the page instead of comparing them.
#[test]
fn the_page_holds_the_keys_that_are_declared() {
    const END: &str = "<!-- end -->";
    let path = docs().join("judging.md");
    let page = std::fs::read_to_string(&path).expect("the page");
    let mut filled = page.clone();
    for (head, table) in key_tables() {
        let marker = format!("<!-- keys of {head} -->\n");
        let start = filled.find(&marker).unwrap_or_else(|| panic!("no marker {marker}")) + marker.len();
        let end = start + filled[start..].find(END).expect("a marker has its end mark");
        filled.replace_range(start..end, &table);
    }
    if std::env::var_os("COFFERDAM_WRITE_PAGES").is_some() {
        std::fs::write(&path, &filled).expect("the page can be written");
    } else {
        assert!(page == filled, "run with COFFERDAM_WRITE_PAGES=1");
    }
}

#[test]
fn every_page_fires_its_own_code_and_mended_is_silent() {
    for code in codes::all().filter(|code| code.id[1..].starts_with("11")) {
        let (_, _, fired) = read(&under(code, "Example"));
        let (_, map, left) = read(&under(code, "Mended"));
        assert_eq!((fired, left), (BTreeSet::from([code.id]), BTreeSet::new()), "{code}");
        assert!(map.is_some());
    }
}

fn under(code: &Code, heading: &str) -> String {
    let (_, section) = code.page.split_once(&format!("\n## {heading}\n")).expect("a page has both headings");
    let (_, block) = section.split_once("```toml\n").expect("a block under each heading");
    block.split("```").next().unwrap_or_default().to_owned()
}

/// What is seen of events, by a map.
fn seen(map: &str, events: impl FnOnce(&mut Names) -> Vec<Event>) -> (Vec<Happening>, Vec<String>) {
    let (system, map, wrong) = read(map);
    let map = map.unwrap_or_else(|| panic!("{wrong:?}"));
    let mut names = Names::default();
    let mut mapper = Mapper::new(&system, &map, 0);
    let mut out = Vec::new();
    events(&mut names).iter().for_each(|event| mapper.take(event, &names, |seen| out.push(seen.what)));
    let unmapped = mapper.unmapped(&names);
    (out, unmapped.iter().map(|one| format!("{} {} {}", one.kind, one.name, one.events)).collect())
}

fn at(what: What) -> Event {
    Event { at_ns: 5, cpu: Cpu::new(0).expect("a cpu"), what }
}

const THREADS: &str = "[[thread]]\nname = \"fu*\"\ntask = \"NAV.fuse\"\njobs = true\n";

#[test]
fn threads_become_tasks_and_whoever_is_not_named_is_foreign() {
    let (seen, unmapped) = seen(THREADS, |names| {
        let [idle, fuse, other] = [names.thread("swapper/0", 0), names.thread("fuser", 7), names.thread("other", 9)];
        let switch = |from, to, leaves| at(What::Switch { from, to, leaves });
        let wakes = || at(What::Wakes { who: fuse, on: Cpu::UNKNOWN });
        vec![
            // The second of two wake-ups, the first of which was before the recording, or lost, is no arrival.
            wakes(),
            switch(fuse, other, Leaves::Waits),
            wakes(),
            wakes(),
            switch(idle, fuse, Leaves::Ready),
            at(What::lost(1)),
            wakes(),
        ]
    });
    let is_task = |who: Option<Who>| matches!(who, Some(Who::Task(_)));
    assert!(matches!(seen[0], Happening::Completes { .. }));
    assert!(matches!(seen[1], Happening::Runs { who: Some(Who::Foreign(_)), .. }));
    assert!(matches!(seen[2], Happening::Arrives { .. }), "woken twice, it arrives once");
    assert!(matches!(seen[3], Happening::Runs { who, .. } if is_task(who)));
    assert!(matches!(seen[4], Happening::Gap { .. }));
    assert_eq!((seen.len(), unmapped), (5, vec!["thread other (9) 1".to_owned()]));
}

#[test]
fn the_plan_s_own_names_need_no_map() {
    let (seen, unmapped) = seen("", |names| {
        let told = |word, who| at(What::Told { word, who, number: None });
        let [nav, task, wrong] = [names.text("NAV"), names.text("NAV.fuse"), names.text("NAV.fusion")];
        vec![
            told(Word::WindowBegins, nav),
            told(Word::Runs, task),
            told(Word::Completes, task),
            told(Word::Arrives, wrong),
        ]
    });
    assert_eq!(seen.len(), 3);
    assert_eq!(unmapped, ["name NAV.fusion 1"]);
}

#[test]
fn marks_and_spans_say_what_the_map_says() {
    let map = "[[mark]]\ntext = \"kill *\"\nmeans = \"fault_begins\"\n\n\
               [[span]]\nname = \"slot NAV\"\nmeans = \"window\"\nof = \"NAV\"\ncore = \"main\"\n";
    let (seen, unmapped) = seen(map, |names| {
        let [kill, other, slot, track] =
            [names.text("kill NAV"), names.text("hello"), names.text("slot NAV"), names.text("track")];
        vec![
            at(What::Mark { text: kill }),
            at(What::Mark { text: other }),
            at(What::SpanBegins { name: slot, on: track }),
            at(What::SpanEnds { name: slot, on: track }),
        ]
    });
    assert!(matches!(
        seen[..],
        [Happening::FaultBegins { .. }, Happening::WindowBegins { .. }, Happening::WindowEnds { .. }]
    ));
    assert_eq!(unmapped, ["mark hello 1"]);
}

#[test]
fn a_fault_is_of_whom_its_name_or_the_map_says() {
    let map = "[[mark]]\ntext = \"pull *\"\nmeans = \"fault_begins\"\nof = \"NAV.fuse\"\n";
    let (seen, unmapped) = seen(map, |names| {
        let texts = ["NAV", "crash:NAV@2.5ms,start=cold", "endless-loop:task/NAV.fuse", "crash:core/NAV", "smoke"];
        let told = texts.map(|text| What::Told { word: Word::FaultBegins, who: names.text(text), number: None });
        told.into_iter().chain([What::Mark { text: names.text("pull 3") }]).map(at).collect()
    });
    let of = |seen: &Happening| if let Happening::FaultBegins { of, .. } = seen { *of } else { None };
    let nav = Some(PartitionId::new(0));
    assert_eq!(seen.iter().map(of).collect::<Vec<_>>(), [nav, nav, nav, None, None, nav]);
    assert_eq!(unmapped, [""; 0]);
}

#[test]
fn a_map_with_several_mistakes_has_all_of_them_said() {
    let map =
        "tolerance = \"5\"\nframes = 3\n\n[[cpu]]\nnumber = 70000\ncore = \"mian\"\n\n[[thread]]\ntask = \"NAV.fus\"\n";
    let (_, map, codes) = read(map);
    assert!(map.is_none());
    assert!(codes.len() >= 4, "{codes:?}");
}
