//! Drafts of texts, and what stands in them.

use diagnostic::{Look, Sources, render_text};
use model::{System, read_system};
use std::collections::BTreeMap;
use trace::clock::Fit;
use trace::draft::{Draft, Measures, Names, Origin};
use trace::intake::csv::CsvReader;
use trace::intake::lines::LineReader;
use trace::intake::text::SchedulerText;
use trace::intake::{Reader, sniff};
use trace::map::{Declared, Map, declared, read_map};
use trace::recording::{Source, Stream};

/// The head of a table of events.
pub const HEAD: &str = "time_ns,core,event,who,number\n";

fn source(text: &str) -> Box<dyn Source> {
    let is_table = sniff(text.as_bytes(), "text").is_some_and(|format| format == trace::intake::Format::Csv);
    let reader: Box<dyn Reader> =
        if is_table { Box::new(CsvReader::new(0)) } else { Box::new(LineReader::new(SchedulerText, 0)) };
    Box::new(Stream::new(0, std::io::Cursor::new(text.as_bytes().to_vec()), reader))
}

/// What is drafted of a recording; why there is nothing, where there is not.
pub fn try_draft(map: &str, recording: &str) -> Result<(Draft, Measures, System), String> {
    let declared = if map.is_empty() { Declared::default() } else { declared("map.toml", map.as_bytes()) };
    let names = Names::find(declared, &mut [source(recording)]).map_err(|why| why.join("; "))?;
    let map = match map {
        "" => Map::default(),
        map => {
            let mut sources = Sources::new();
            let (map, found) = read_map("map.toml", map.as_bytes(), &names.system, &mut sources);
            map.ok_or_else(|| found.iter().map(|d| render_text(d, &sources, Look::Plain)).collect::<String>())?
        }
    };
    let (measures, _) = names.measure(&map, vec![source(recording)], vec![Fit::SAME]);
    let origin = Origin { recordings: "run.csv".to_owned() };
    let draft = names.draft(&measures, &origin).ok_or("too little was seen")?;
    Ok((draft, measures, names.system))
}

/// The draft, and the system that is read from it without an error.
pub fn draft(map: &str, recording: &str) -> (Draft, System) {
    let (draft, ..) = try_draft(map, recording).unwrap_or_else(|why| panic!("{why}"));
    let system = reads(&draft);
    (draft, system)
}

/// The system of a draft: reading it finds no error.
pub fn reads(draft: &Draft) -> System {
    let mut files = BTreeMap::from([("system.toml".to_owned(), draft.system.clone().into_bytes())]);
    let reading = read_system("system.toml", &mut files);
    let found: String = reading.diagnostics.iter().map(|d| render_text(d, &reading.sources, Look::Plain)).collect();
    let system = reading.system.unwrap_or_else(|| panic!("{found}\n{}", draft.system));
    let (plan, found) = plan::read_plan("plan.toml", draft.plan.as_bytes(), &system, &mut Sources::new());
    assert!(plan.is_some(), "{found:?}\n{}", draft.plan);
    system
}

/// Two partitions in windows of 4 ms and 5 ms every 10 ms on one core, `A.work` each 10 ms and `B.log` each 20 ms, with
/// messages from one to the other: 40 periods. The executions of `A.work` grow from 1 ms by 10 us with each job.
pub fn pair() -> Vec<String> {
    let mut rows = Vec::new();
    for i in 0..40_u64 {
        let t = i * 10_000_000;
        let done = t + 40_000 + 1_000_000 + i * 10_000;
        rows.push(format!("{t},,arrives,A.work,{i}"));
        rows.push(format!("{t},0,window_begins,A,"));
        rows.push(format!("{},0,runs,A.work,{i}", t + 40_000));
        rows.push(format!("{done},,completes,A.work,{i}"));
        rows.push(format!("{done},,writes,DATA,"));
        rows.push(format!("{done},0,idles,,"));
        rows.push(format!("{},0,window_ends,A,", t + 4_000_000));
        if i % 2 == 0 {
            rows.push(format!("{},,arrives,B.log,{}", t + 4_500_000, i / 2));
        }
        rows.push(format!("{},0,window_begins,B,", t + 5_000_000));
        if i % 2 == 0 {
            rows.push(format!("{},0,runs,B.log,{}", t + 5_055_000, i / 2));
            rows.push(format!("{},,reads,DATA,", t + 5_055_000));
            rows.push(format!("{},,completes,B.log,{}", t + 6_000_000, i / 2));
            rows.push(format!("{},0,idles,,", t + 6_000_000));
        }
        rows.push(format!("{},0,window_ends,B,", t + 10_000_000));
    }
    rows
}

/// Rows as a table.
pub fn table(rows: &[String]) -> String {
    format!("{HEAD}{}\n", rows.join("\n"))
}
