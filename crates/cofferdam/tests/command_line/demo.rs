//! `demo`: the whole job, the same bytes every time, and nothing from the network.

use crate::common::*;

#[test]
fn the_demo_ends_with_its_report_and_the_tightest_claims() {
    let folder = scratch("demo");
    let run = call(&folder, &["demo", "--out", "first"]).expect(0);
    assert!(run.err.is_empty(), "{}", run.err);
    let (_, end) =
        run.out.split_once("\nThe report is first/report.html\nThe three tightest claims:\n").expect("its end");
    let ids: Vec<_> = end.lines().filter_map(|line| line.split_whitespace().next()).collect();
    let json: serde_json::Value = serde_json::from_str(&read(&folder.join("first/verdicts.json"))).expect("one object");
    let tightest: Vec<_> = json["summary"]["tightest"].as_array().expect("a list").iter().collect();
    assert_eq!((ids.len(), ids.iter().collect::<Vec<_>>() == tightest), (3, true), "{ids:?} {tightest:?}");

    call(&folder, &["demo", "--out", "second/deeper"]).expect(0);
    for file in ["report.html", "verdicts.json", "found-plan.toml", "survey-vessel/system.toml"] {
        let (first, second) = (folder.join("first").join(file), folder.join("second/deeper").join(file));
        assert!(read(&first) == read(&second), "{file} differs between two runs");
    }
    let report = read(&folder.join("first/report.html"));
    needs_no_network(&report);
    assert!(run.out.contains("Of 12 partitions 12 are shown to harm nobody outside their sets"), "{}", run.out);
    assert!(report.contains("Isolation matrix") && !report.contains("No campaign was given"));
    call(&folder, &["check", "first/survey-vessel", "--plan", "first/found-plan.toml", "--allow-not-analysed"])
        .expect(0);
}

/// No element of the page loads anything: addresses may only be named inside the drawings' name space and in text.
fn needs_no_network(page: &str) {
    for loader in ["<script", "<link", "<iframe", "<img", "@import", "src=\"", "href=\"http", "fetch("] {
        assert!(!page.contains(loader), "the report holds {loader}");
    }
    assert!(page.split("url(").skip(1).all(|rest| rest.starts_with('#')), "patterns come from the page itself");
}

#[test]
fn a_demo_that_cannot_write_says_so() {
    let folder = scratch("demo_blocked");
    write(&folder.join("file"), "in the way");
    call(&folder, &["demo", "--out", "file/demo"]).expect(2).complains(&["cannot make the folder file/demo"]);
}
