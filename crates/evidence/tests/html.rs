//! The report, read by a general-purpose HTML parser that reports every error it forgives.

#![allow(clippy::disallowed_types, clippy::float_arithmetic, reason = "drawings are measured as a browser reads them")]

mod common;
mod read_page;

use claim::{Kind, Segment, Status, Verdict, Witness};
use common::*;
use evidence::{CAUTIONS, Dossier, Inputs, html};
use jiff::civil::date;
use model::Digest;
use plan::{Placed, Plan, WayHolder};
use quantity::{CacheId, CoreId, Duration, Instant, PartitionId};
use read_page::*;
use scraper::{ElementRef, Html, Selector};
use std::collections::BTreeSet;
use std::sync::Arc;
use timing::claims::SupplyCurve;

#[test]
fn the_parser_of_these_tests_notices_errors() {
    assert!(!Html::parse_document("<!DOCTYPE html><title>x</title><p></b>").errors.is_empty());
}

#[test]
fn the_parts_come_in_the_order_in_which_they_matter() {
    let page = page(&dossier_accepting(vec![accepted("refresh/CH01", date(2026, 7, 1))]));
    let titles: Vec<_> = all(&page, "section > h2").iter().map(words).collect();
    assert_eq!(titles[..4], ["What was not analysed", "Accepted deviations", "Violated and not shown", "Cautions"]);
    assert_eq!(titles.last().map(String::as_str), Some("Baseline"));
    let contents: Vec<_> = all(&page, "nav li").iter().map(words).collect();
    assert_eq!(contents, titles);
}

#[test]
fn every_claim_is_an_anchor_and_every_link_leads_somewhere() {
    let dossier = dossier();
    let page = page(&dossier);
    let ids: Vec<_> = all(&page, "[id]").iter().filter_map(|e| e.attr("id").map(str::to_owned)).collect();
    let known: BTreeSet<_> = ids.iter().cloned().collect();
    assert_eq!(known.len(), ids.len(), "an id stands twice");
    dossier.verdicts().iter().for_each(|v| assert!(known.contains(&v.id), "{} is no anchor", v.id));
    let links: Vec<_> = all(&page, "a").iter().filter_map(|a| a.attr("href").map(str::to_owned)).collect();
    assert!(links.len() > dossier.verdicts().len());
    for link in links {
        let target = link.strip_prefix('#').unwrap_or_else(|| panic!("{link} leads outside"));
        assert!(known.contains(target), "{link} leads nowhere");
    }
}

#[test]
fn the_page_needs_nothing_from_outside() {
    let report = html::report(&dossier());
    for part in ["http", "//", "@import", "<script", "src=", "<link", "javascript"] {
        assert!(!report.contains(part), "{part}");
    }
    report
        .match_indices("url(")
        .for_each(|(at, _)| assert!(report[at..].starts_with("url(#"), "{}", &report[at..at + 20]));
}

#[test]
fn the_same_dossier_gives_the_same_bytes() {
    assert_eq!(html::report(&dossier()), html::report(&dossier()));
}

#[test]
fn all_cautions_are_printed_in_full() {
    let page = page(&dossier());
    let printed: Vec<_> = all(&page, "ol.cautions > li").iter().map(words).collect();
    assert_eq!(printed, CAUTIONS.map(|caution| caution.text));
}

#[test]
fn names_are_text_and_never_markup() {
    let page = page(&dossier());
    assert!(all(&page, "main b b, main th b").is_empty());
    let names: Vec<_> = all(&page, "th").iter().map(words).collect();
    assert!(names.iter().any(|name| name == HOSTILE), "{names:?}");
}

#[test]
fn drawings_have_titles_and_tables_have_heads() {
    let page = page(&dossier());
    let drawings = all(&page, "svg.drawing");
    assert!(drawings.len() > 8, "{}", drawings.len());
    for drawing in &drawings {
        let title = drawing.first_child().and_then(ElementRef::wrap).expect("a drawing has content");
        assert_eq!(title.value().name(), "title");
        assert!(!words(&title).is_empty());
    }
    all(&page, "thead th").iter().for_each(|th| assert_eq!(th.attr("scope"), Some("col")));
    all(&page, "tbody th").iter().for_each(|th| assert_eq!(th.attr("scope"), Some("row")));
    let rows = all(&page, "tr");
    assert!(rows.iter().all(|row| row.children().filter_map(ElementRef::wrap).count() > 1));
}

#[test]
fn every_row_of_a_table_has_the_columns_of_its_head() {
    let page = page(&dossier_accepting(vec![accepted("refresh/CH01", date(2026, 7, 1))]));
    let columns = |row: &ElementRef<'_>| -> u64 {
        let cells = row.children().filter_map(ElementRef::wrap);
        cells.map(|cell| cell.attr("colspan").map_or(1, |span| span.parse().expect("a number"))).sum()
    };
    for table in all(&page, "table") {
        let select = |part: &str| table.select(&Selector::parse(part).expect("well formed")).collect::<Vec<_>>();
        let head = columns(&select("thead tr")[0]);
        select("tbody tr").iter().for_each(|row| assert_eq!(columns(row), head, "{}", row.html()));
    }
}

#[test]
fn windows_are_drawn_to_scale_with_their_heads() {
    let page = page(&dossier());
    let first = &all(&page, "#part-frame svg.drawing")[0];
    let select = |part: &str| first.select(&Selector::parse(part).expect("well formed")).collect::<Vec<_>>();
    let lane = number(&select("rect.spare")[0], "width");
    let widths: Vec<_> = select("rect.window").iter().map(|w| number(w, "width") / lane * 20.0).collect();
    // In ms: the windows of core 0 by start, then that of core 1. Positions are whole tenths of a pixel.
    for (drawn, planned) in widths.iter().zip([1.0, 6.0, 1.0, 8.0]) {
        assert!((drawn - planned).abs() < 0.01, "{widths:?}");
    }
    assert_eq!(widths.len(), 4);
    assert_eq!(select("rect.head").len(), 4);
}

#[test]
fn bars_are_as_long_as_their_share_up_to_their_end() {
    let page = page(&dossier());
    let bars = |row: &str| {
        let row = &all(&page, &format!("[id='{row}'] td svg"))[0];
        let select = |part: &str| row.select(&Selector::parse(part).expect("well formed")).next();
        let [bar, whole] = ["rect.bar", "rect.bar-room"].map(|part| select(part).expect("a bar is drawn"));
        (number(&bar, "width") / number(&whole, "width"), select("path.bar-torn").is_some())
    };
    let (share, torn) = bars("response/SAFE.stop");
    assert!((share - 0.938).abs() < 0.002 && !torn, "{share}");
    // 180.5 % passes the end of the bar, which is cut at 125 %.
    assert_eq!(bars("response/WORK.run"), (1.25, true));
    // Where more is better: 30 % are asked for and 40 % are left.
    assert_eq!(bars("margin/core/0"), (0.75, false));
}

#[test]
fn curves_keep_their_corners_and_the_blackout_its_length() {
    let page = page(&dossier());
    let drawing = &all(&page, "#part-supply svg.drawing")[0];
    let select = |part: &str| drawing.select(&Selector::parse(part).expect("well formed")).next();
    let points = |part: &str| -> Vec<(f64, f64)> {
        let text = select(part).and_then(|line| line.attr("points")).expect("the line is drawn").to_owned();
        let pair = |point: &str| point.split_once(',').map(|(x, y)| (x.parse().ok(), y.parse().ok()));
        text.split(' ').map(|point| pair(point).expect("a pair")).map(|(x, y)| (x.expect("x"), y.expect("y"))).collect()
    };
    let (supply, demand) = (points("polyline.supply"), points("polyline.demand"));
    let width = supply[3].0 - supply[0].0;
    // Of 34.04 ms: the blackout of 14.04 ms, then 5.96 ms of supply, then nothing.
    let share = |x: f64| (x - supply[0].0) / width * 34.04;
    assert!((share(supply[1].0) - 14.04).abs() < 0.02 && (share(supply[2].0) - 20.0).abs() < 0.02, "{supply:?}");
    assert_eq!(supply[0].1, supply[1].1);
    assert_eq!(supply[2].1, supply[3].1);
    let blackout = select("rect.blackout").expect("the blackout is marked");
    assert!((number(&blackout, "width") / width * 34.04 - 14.04).abs() < 0.02);
    // Two steps of equal height, each flat up to the next: four points.
    assert_eq!(demand.len(), 4);
    assert_eq!((demand[0].1, demand[2].1), (demand[1].1, demand[3].1));
    assert_eq!(demand[1].0, demand[2].0);
}

#[test]
fn a_window_across_the_frame_end_has_one_head() {
    let mut plan = plan_for(None);
    plan.schedules[0].cores = vec![core_table(0, vec![window(0, 0, 1000), window(0, 18_000, 2000)])];
    let page = page(&Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs_of(system()) }));
    let first = &all(&page, "#part-frame svg.drawing")[0];
    let count = |part: &str| first.select(&Selector::parse(part).expect("well formed")).count();
    assert_eq!((count("rect.window"), count("rect.head")), (2, 1));
}

#[test]
fn overlapping_memory_is_drawn_as_such() {
    let mut plan = plan_for(None);
    plan.memory.push(placement(Placed::Partition(PartitionId::new(2)), 0x8600_0000 + (255 << 20), 64));
    let clean = page(&dossier());
    let page = page(&Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs_of(system()) }));
    // Once in the bar, once beside it.
    assert_eq!(all(&page, "rect.overlap").len(), 2);
    assert_eq!(all(&clean, "rect.overlap").len(), 0);
}

#[test]
fn the_witness_of_a_violation_is_drawn_with_its_limit() {
    let page = page(&dossier());
    let timeline = &all(&page, "#part-failures svg.drawing")[0];
    let text = words(timeline);
    assert!(text.contains("completes 36.08 ms"), "{text}");
    // The job arrives 10 us before the scenario begins, and its limit is 20 ms.
    assert!(text.contains("limit 19.99 ms"), "{text}");
    let failures = all(&page, "article.failure");
    assert_eq!(failures.len(), 2);
    assert!(words(&failures[0]).contains("180.5 % of the limit"));
}

#[test]
fn a_plan_for_another_system_is_an_alarm() {
    let plan = plan_for(Some(Digest::of_bytes(b"another")));
    let other = page(&Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs_of(system()) }));
    assert_eq!(all(&other, "p.alert").len(), 1);
    assert_eq!(all(&page(&dossier()), "p.alert").len(), 0);
}

#[test]
fn an_unreadable_system_still_gets_a_report() {
    let page = page(&Dossier::compose(Inputs { diagnostics: vec![error()], ..Inputs::default() }));
    let head = words(&all(&page, "header")[0]);
    assert!(head.contains("1 error in the input") && head.contains("There is no claim to judge"), "{head}");
    assert_eq!(all(&page, "ol.cautions > li").len(), 17);
}

/// Numbers at their limits, and references into nowhere.
#[test]
fn no_input_brings_the_report_down() {
    let mut plan: Plan = plan_for(None);
    let far =
        plan::Window { start: Instant::from_ns(u64::MAX), length: Duration::from_ns(u64::MAX), ..window(99, 0, 0) };
    plan.schedules[0].cores.push(core_table(77, vec![far, window(0, 5, 0)]));
    plan.memory.push(placement(Placed::Region(99), u64::MAX, 1 << 30));
    plan.cache.push(plan::WayGrant {
        cache: CacheId::new(0),
        holder: WayHolder::Core(CoreId::new(9)),
        mask: u64::MAX,
        span: None,
    });
    plan.bandwidth.push(budget(99, u64::MAX / 1_000_000));
    let segment = Segment { what: "idle".into(), start_ns: 3, end_ns: u64::MAX };
    let scenario = Witness { timeline: vec![segment], completes_ns: Some(u64::MAX), ..witness() };
    let huge =
        Verdict { witness: Some(scenario), ..verdict("response/x", Kind::Response, Status::Violated, u64::MAX, 1) };
    let curve = SupplyCurve { least_supply: vec![(0, 0), (u64::MAX, u64::MAX)], demand: vec![], ..curve() };
    let inputs =
        Inputs { plan: Some(Arc::new(plan)), verdicts: vec![huge], curves: vec![curve], ..inputs_of(system()) };
    let dossier = Dossier::compose(inputs);
    assert!(all(&page(&dossier), "svg.drawing").len() > 3);
    assert!(evidence::json::render(&dossier).contains("2^53"));
    let text = evidence::text::render(&dossier, evidence::text::Detail::All, evidence::text::Style::default());
    assert!(text.contains("response/x"));
}
