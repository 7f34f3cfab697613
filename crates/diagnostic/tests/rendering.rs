//! Diagnostics as text and as plain values.

use diagnostic::{Diagnostic, Diagnostics, FileId, Look, Plain, Severity, Sources, Span, codes, lookup, render_text};

fn sources() -> (Sources, FileId, FileId) {
    let mut sources = Sources::new();
    let toml = sources.add("system.toml", "[system]\nframe = \"90 ms\"\n# µs\nlast = 1");
    let csv = sources.add("tasks.csv", "name,period\ntrk,20 ms\n");
    (sources, toml, csv)
}

fn clash(toml: FileId, csv: FileId) -> Diagnostic {
    let message = "the frame, 90 ms, is no multiple of the period of `trk`, 20 ms";
    Diagnostic::new(&codes::partition::FRAME_NOT_MULTIPLE, Span::new(toml, 17..24), message)
        .label("the frame")
        .also(Span::new(csv, 16..21), "this period")
        .help("a frame of 80 ms or 100 ms would do")
}

#[test]
fn the_text_underlines_both_places_and_ends_in_the_remedy() {
    let (sources, toml, csv) = sources();
    let expected = "\
error[E0305]: the frame, 90 ms, is no multiple of the period of `trk`, 20 ms
 --> system.toml:2:9
  |
2 | frame = \"90 ms\"
  |         ^^^^^^^ the frame
  |
 ::: tasks.csv:2:5
  |
2 | trk,20 ms
  |     ----- this period
  |
  = help: a frame of 80 ms or 100 ms would do";
    assert_eq!(render_text(&clash(toml, csv), &sources, Look::Plain), expected);
    assert!(render_text(&clash(toml, csv), &sources, Look::Coloured).contains("\u{1b}["));
}

#[test]
fn the_plain_form_spells_out_every_place() {
    let (sources, toml, csv) = sources();
    let plain = serde_json::to_value(Plain::new(&clash(toml, csv), &sources)).expect("JSON");
    let expected = serde_json::json!({
        "code": "E0305", "severity": "error",
        "message": "the frame, 90 ms, is no multiple of the period of `trk`, 20 ms",
        "file": "system.toml", "line": 2, "column": 9, "end_line": 2, "end_column": 16, "text": "the frame",
        "labels": [{
            "file": "tasks.csv", "line": 2, "column": 5, "end_line": 2, "end_column": 10, "text": "this period",
        }],
        "help": "a frame of 80 ms or 100 ms would do",
    });
    assert_eq!(plain, expected);
}

#[test]
fn the_list_is_in_the_order_of_the_files_and_says_each_thing_once() {
    let (sources, toml, csv) = sources();
    let mut list = Diagnostics::new();
    let syntax = |range| Diagnostic::new(&codes::input::TOML_SYNTAX, Span::new(toml, range), "no TOML");
    list.push(Diagnostic::new(&codes::shape::UNKNOWN_KEY, Span::new(csv, 0..4), "in the table"));
    list.push(syntax(12..13));
    list.push(clash(toml, csv));
    list.push(clash(toml, csv));
    list.push(syntax(9..14));
    list.push(syntax(0..8));
    assert!(list.has_errors() && list.has(&codes::shape::UNKNOWN_KEY) && !list.has(&codes::shape::BAD_NAME));
    let sorted = list.into_sorted(&sources);
    let ids: Vec<_> = sorted.iter().map(|d| (d.code.id, d.primary.span.start)).collect();
    assert_eq!(ids, [("E0004", 0), ("E0004", 9), ("E0305", 17), ("E0101", 0)]);
}

#[test]
fn any_span_can_be_drawn() {
    let (sources, toml, _) = sources();
    let length = sources.get(toml).expect("the file").text.len();
    for start in 0..length + 3 {
        for end in start..length + 5 {
            let found = Diagnostic::new(&codes::partition::NO_TASKS, Span::new(toml, start..end), "any");
            assert!(render_text(&found, &sources, Look::Plain).starts_with("warning[W0302]: any"));
            let plain = Plain::new(&found, &sources);
            assert!((plain.place.line, plain.place.column) <= (plain.place.end_line, plain.place.end_column));
        }
    }
}

#[test]
fn a_line_of_megabytes_is_drawn_in_part() {
    let mut sources = Sources::new();
    let file = sources.add("garbage", "x".repeat(4 << 20));
    let found = Diagnostic::new(&codes::input::TOML_SYNTAX, Span::new(file, 2 << 20..(2 << 20) + 3), "no TOML");
    let text = render_text(&found, &sources, Look::Plain);
    assert!(text.len() < 2_000, "{} bytes", text.len());
    assert!(text.contains("garbage:1:2097153"));
}

#[test]
fn codes_are_found_in_any_case() {
    assert_eq!(lookup("e0305"), Some(&codes::partition::FRAME_NOT_MULTIPLE));
    assert_eq!(lookup("W0302").map(|code| code.severity), Some(Severity::Warning));
    assert_eq!(lookup("E9999"), None);
}
