//! Inputs that are not what they should be, each by what is found and where.

mod common;

use common::{Files, SMALLEST, found, read, rendered};
use model::{FileError, FileSource, MOST_BYTES, read_system, schema};

fn assert_found(text: impl AsRef<[u8]>, expected: &[&str]) {
    let reading = read(text);
    assert_eq!(found(&reading), expected, "\n{}", rendered(&reading));
    assert_eq!(reading.system.is_some(), expected.iter().all(|found| found.starts_with('W')));
}

/// The smallest system with a part of it replaced.
fn edited(from: &str, to: &str) -> String {
    assert!(SMALLEST.contains(from), "{from}");
    SMALLEST.replacen(from, to, 1)
}

#[test]
fn the_smallest_system_is_silent_in_any_dress() {
    assert_found(SMALLEST, &[]);
    assert_found(SMALLEST.replace('\n', "\r\n"), &[]);
    assert_found(format!("\u{feff}{SMALLEST}"), &[]);
}

#[test]
fn the_overview_shows_the_smallest_system() {
    let page = include_str!("../../../docs/system-file/README.md");
    assert!(page.contains(&format!("```toml\n{SMALLEST}```\n")));
}

#[test]
fn what_is_no_text_has_its_place() {
    assert_found("", &["E0008 system.toml:1:1"]);
    assert_found("\u{feff} \n\n", &["E0008 system.toml:1:1"]);
    assert_found(b"[system]\nname = \"\xff\xfe\"", &["E0003 system.toml:2:9"]);
    assert_found(b"\x7fELF\x02\x01\x01\x00\x80", &["E0003 system.toml:1:9"]);
    assert!(found(&read("\0\0\0\0")).iter().all(|found| found.starts_with("E0004 system.toml:1:")));
}

#[test]
fn one_syntax_error_is_shown_for_a_line_and_hides_no_other_section() {
    let text = edited("frame = \"100 ms\"", "frame = \"100 ms");
    assert_found(text, &["E0004 system.toml:3:16"]);
    let text = edited("frame = \"100 ms\"", "frame == [[[\"100 ms\"").replace("20 ms", "20");
    assert_found(text, &["E0004 system.toml:3:8", "E0104 system.toml:17:10"]);
}

#[test]
fn what_a_fault_took_away_is_not_missed() {
    let owner = format!("{SMALLEST}\n[[board.device]]\nname = \"D\"\nowner = \"LOG\"\n");
    assert_found(&owner, &["E0109 system.toml:23:9"]);
    assert_found(owner.replace("\"B1\"", "\"B1"), &["E0004 system.toml:6:11"]);
    let ends = SMALLEST.replace("guest =", "restart = { ends_with = \"NAV.imu\" }\nguest =");
    assert_found(&ends, &["E0109 system.toml:13:25"]);
    assert_found(ends.clone() + "\n[tables]\ntasks = [\"no.csv\"]\n", &["E0001 system.toml:23:10"]);
    assert_found(ends.replace("\"fuse\"", "\"a.b\""), &["E0107 system.toml:17:8"]);
}

#[test]
fn deep_nesting_is_refused_and_not_followed() {
    for (open, close) in [("[", "]"), ("{ a = ", " }")] {
        let deep = format!("x = {}1{}\n", open.repeat(10_000), close.repeat(10_000));
        let reading = read(deep + SMALLEST);
        assert!(reading.diagnostics.iter().any(|d| d.code.id == "E0004"), "{}", rendered(&reading));
    }
    let dotted = format!("{} = 1\n", vec!["a"; 70].join("."));
    let reading = read(dotted + SMALLEST);
    assert!(reading.diagnostics.iter().any(|d| d.code.id == "E0004"), "{}", rendered(&reading));
}

#[test]
fn numbers_that_are_no_quantities() {
    for number in ["nan", "inf", "-inf", "1e400", "2.5", "20", "-20", "0x14", "[]", "true", "1979-05-27"] {
        assert_found(edited("\"20 ms\"", number), &["E0103 system.toml:17:10"]);
    }
    for text in ["", "20", "ms", "-1 ms", "20 msec", "0.5 ns", "1e3 ms", "9007199254740992 ns", "nan", "٢ ms"] {
        assert_found(edited("\"20 ms\"", &format!("\"{text}\"")), &["E0104 system.toml:17:10"]);
    }
    assert_found(edited("\"20 ms\"", "\"0 s\""), &["E0112 system.toml:17:10"]);
    for (count, code) in [("-1", "E0105"), ("4294967296", "E0105"), ("1.0", "E0103"), ("\"1\"", "E0103")] {
        assert_found(edited("priority = 1", &format!("priority = {count}")), &[&format!("{code} system.toml:18:12")]);
    }
}

#[test]
fn a_bare_number_is_shown_as_it_would_be_written() {
    let reading = read(edited("\"20 ms\"", "2.5"));
    assert_eq!(reading.diagnostics[0].help.as_deref(), Some("write \"2.5 ms\""));
}

#[test]
fn a_slip_in_a_key_is_one_error_and_not_two() {
    assert_found(edited("period", "perod"), &["E0101 system.toml:17:1"]);
    assert_found(edited("period = \"20 ms\"", "perod = 1\nperiod = \"20 ms\""), &["E0101 system.toml:17:1"]);
}

#[test]
fn empty_lists_and_texts_are_missing() {
    assert_found(edited("\"Example\"", "\" \""), &["E0107 system.toml:2:8"]);
    let text = edited("\n[[board.core]]\nname = \"0\"\n", "core = []\n");
    assert_found(text, &["E0102 system.toml:7:8"]);
}

#[test]
fn every_error_of_a_run_is_found_at_once() {
    let text = edited("\"100 ms\"", "100").replace("guest =", "zone = \"Z\"\nguest =").replace("\"2 ms\"", "\"2\"");
    let text = text.replace("priority = 1", "bcet = \"3 ms\"\ndeadline = \"1 ms\"");
    let expected =
        ["E0103 system.toml:3:9", "E0109 system.toml:13:8", "E0408 system.toml:16:1", "E0104 system.toml:21:8"];
    assert_found(text, &expected);
}

const TABLES: &str = "\n[tables]\ntasks = [\"tasks.csv\", \"more/tasks.csv\"]\n";
const HEADER: &str = "name,partition,period,priority,wcet,sections\n";

/// Code and place of what is found in the first of two tables of tasks.
fn found_in_table(table: &str) -> Vec<String> {
    let second = format!("{HEADER}a2,NAV,20 ms,20,1 ms,\n");
    let mut files = Files::from([
        ("system.toml".to_owned(), (SMALLEST.to_owned() + TABLES).into_bytes()),
        ("tasks.csv".to_owned(), table.as_bytes().to_vec()),
        ("more/tasks.csv".to_owned(), second.into_bytes()),
    ]);
    found(&read_system("system.toml", &mut files))
}

#[test]
fn cells_are_underlined_where_they_stand() {
    let rows = |rows: &str| found_in_table(&format!("{HEADER}{rows}"));
    assert!(rows("a,NAV,20 ms,2,1 ms,\n").is_empty());
    assert!(rows("\"a\",NAV, 20 ms ,2,\"1 ms\",\"r: 1 us; \"\r\n\r\nb,NAV,20 ms,3,1 ms,").is_empty());
    assert_eq!(rows("a,NAV,20,2,1 ms,\n"), ["E0104 tasks.csv:2:7"]);
    assert_eq!(rows("a,NAV,\"20\",2,1 ms,\n"), ["E0104 tasks.csv:2:8"]);
    assert_eq!(rows("\"a \"\"b\"\"\",NAV,20 ms,2,1 ms,\n"), ["E0107 tasks.csv:2:1"]);
    assert_eq!(rows("a,NAV,20 ms,2,1 ms,r: 1 us; s: 2 usec\n"), ["E0104 tasks.csv:2:32"]);
    assert_eq!(rows("a,NAV,20 ms,2,1 ms,r\n"), ["E0102 tasks.csv:2:20"]);
    assert_eq!(rows("a,,20 ms,2,1 ms,\nb,NAVI,20 ms,3,1 ms,\n"), ["E0102 tasks.csv:2:1", "E0109 tasks.csv:3:3"]);
    assert_eq!(rows("a,NAV,20 ms,2,1 ms\nfuse,NAV,20 ms,3,1 ms,\n"), ["E0005 tasks.csv:2:1", "E0108 tasks.csv:3:1"]);
}

#[test]
fn a_quote_that_is_not_closed_is_guessed_at() {
    let rows = "a,NAV,20 ms,2,1 ms,\n".repeat(5_000);
    let table = format!("{HEADER}a,NAV,\"20 ms,2,1 ms,\n{rows}");
    let mut files = Files::from([
        ("system.toml".to_owned(), (SMALLEST.to_owned() + "\n[tables]\ntasks = [\"tasks.csv\"]\n").into_bytes()),
        ("tasks.csv".to_owned(), table.into_bytes()),
    ]);
    let reading = read_system("system.toml", &mut files);
    assert_eq!(found(&reading), ["E0005 tasks.csv:2:1"]);
    let text = rendered(&reading);
    assert!(text.contains("is a double quote not closed?") && text.len() < 2_000, "{text}");
}

#[test]
fn headers_are_held_against_the_keys() {
    assert_eq!(found_in_table(""), ["E0005 tasks.csv:1:1"]);
    assert_eq!(found_in_table("name,priority,partition,perod\na,2,NAV,20 ms\n"), ["E0101 tasks.csv:1:25"]);
    assert_eq!(found_in_table("name,partition,period,name\n"), ["E0005 tasks.csv:1:23"]);
    let semicolons = found_in_table("name;partition\n");
    assert_eq!(semicolons.iter().filter(|found| found.starts_with("E0101")).count(), 1);
    assert!(semicolons.iter().all(|found| found.ends_with("tasks.csv:1:1")), "{semicolons:?}");
}

/// A source that has nothing.
struct Failing(FileError);

impl FileSource for Failing {
    fn read(&mut self, _path: &str) -> Result<Vec<u8>, FileError> {
        Err(self.0.clone())
    }
}

#[test]
fn files_that_cannot_be_had() {
    let fails = |error| found(&read_system("boat/system.toml", &mut Failing(error)));
    assert_eq!(fails(FileError::NotFound), ["E0001 boat/system.toml:1:1"]);
    assert_eq!(fails(FileError::Other("permission denied".into())), ["E0001 boat/system.toml:1:1"]);
    assert_eq!(fails(FileError::TooLarge), ["E0002 boat/system.toml:1:1"]);
    let largest = usize::try_from(MOST_BYTES).expect("a small number");
    assert_eq!(found(&read(vec![b' '; largest])), ["E0008 system.toml:1:1"]);
    assert_eq!(found(&read(vec![b' '; largest + 1])), ["E0002 system.toml:1:1"]);
}

#[test]
fn tables_are_named_beside_the_system_file() {
    let files = [("boat/system.toml", SMALLEST.to_owned() + TABLES), ("tasks.csv", "x\n".into())];
    let mut files: Files = files.into_iter().map(|(name, text)| (name.to_owned(), text.into_bytes())).collect();
    let reading = read_system("boat/system.toml", &mut files);
    let places = found(&reading);
    assert!(places.contains(&"E0101 boat/tasks.csv:1:1".to_owned()), "{places:?}");
    assert!(places.contains(&"E0001 boat/system.toml:22:23".to_owned()), "{places:?}");
}

#[test]
fn a_file_of_nothing_but_slips_is_read_in_good_time() {
    let rows: String = (0..20_000).map(|at| format!("t{at},NAW{at},20 ms,1,1 ms,\n")).collect();
    assert_eq!(found_in_table(&format!("{HEADER}{rows}")).len(), 20_000);
}

#[test]
fn the_schema_knows_what_the_reader_knows() {
    let schema = schema();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let task = &schema["properties"]["partition"]["items"]["properties"]["task"]["items"];
    assert_eq!(task["required"], serde_json::json!(["name", "period"]));
    assert_eq!(task["additionalProperties"], false);
    assert_eq!(task["properties"]["release"]["enum"], serde_json::json!(["free-running", "frame-aligned"]));
    assert!(task["properties"].get("partition").is_none());
}

/// Every key and value of a TOML value that the schema does not admit.
fn refused(value: &toml::Value, schema: &serde_json::Value, path: &str, out: &mut Vec<String>) {
    let kind = schema["type"].as_str();
    match value {
        toml::Value::Table(table) if kind == Some("object") => {
            for (key, value) in table {
                let path = format!("{path}.{key}");
                match schema["properties"].get(key) {
                    Some(inner) => refused(value, inner, &path, out),
                    None => out.push(path),
                }
            }
        }
        toml::Value::Array(list) if kind == Some("array") => {
            list.iter().for_each(|value| refused(value, &schema["items"], path, out));
        }
        toml::Value::String(text) if schema.get("enum").is_some() => {
            let words = schema["enum"].as_array().expect("a list of words");
            if !words.iter().any(|word| word == text) {
                out.push(format!("{path} = {text}"));
            }
        }
        toml::Value::String(_) if kind == Some("string") => {}
        toml::Value::Integer(_) if kind == Some("integer") => {}
        toml::Value::Boolean(_) if kind == Some("boolean") => {}
        _ if schema == &serde_json::json!({ "description": schema["description"] })
            || schema.get("anyOf").is_some() => {}
        other => out.push(format!("{path}: {}", other.type_str())),
    }
}

#[test]
fn the_schema_admits_the_vessel() {
    let system: toml::Value = toml::from_str(&common::text(&common::vessel(), "system.toml")).expect("TOML");
    let mut out = Vec::new();
    refused(&system, &schema(), "", &mut out);
    assert_eq!(out, Vec::<String>::new());
    let wrong: toml::Value = toml::from_str("board = { core = [{ nme = 1 }] }\nsystem = { frame = 1 }").expect("TOML");
    refused(&wrong, &schema(), "", &mut out);
    assert_eq!(out, [".board.core.nme", ".system.frame: integer"]);
}
