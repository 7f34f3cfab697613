//! `explain`: the page of a code or of an analysis.

use crate::args::ExplainArgs;
use crate::exit::Exit;
use crate::terminal;
use anyhow::{Result, bail};

macro_rules! analyses {
    ($($name:literal),* $(,)?) => {
        /// Every analysis with its page.
        pub const ANALYSES: &[(&str, &str)] =
            &[$(($name, include_str!(concat!("../../../../docs/analyses/", $name, ".md")))),*];
    };
}

analyses![
    "window-supply",
    "free-running",
    "frame-aligned",
    "demand-bound",
    "growth",
    "windows",
    "core-margin",
    "memory",
    "ram-margin",
    "planning",
    "pending",
];

pub fn run(args: &ExplainArgs) -> Result<Exit> {
    match &args.code {
        None => terminal::print(&list()),
        Some(wanted) => match page(wanted) {
            Some(page) => terminal::print(page),
            None => bail!("{}", unknown(wanted)),
        },
    }
    Ok(Exit::Shown)
}

fn page(wanted: &str) -> Option<&'static str> {
    let analysis = ANALYSES.iter().find(|(name, _)| name.eq_ignore_ascii_case(wanted)).map(|(_, page)| *page);
    analysis.or_else(|| diagnostic::lookup(wanted).map(|code| code.page))
}

fn unknown(wanted: &str) -> String {
    let codes = diagnostic::codes::all().map(|code| code.id);
    let names = ANALYSES.iter().map(|(name, _)| *name).chain(codes);
    let near = names.max_by(|a, b| closeness(wanted, a).total_cmp(&closeness(wanted, b)));
    let hint = near.map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
    format!("there is no code or analysis `{wanted}`{hint} `cofferdam explain` lists them all")
}

fn closeness(wanted: &str, name: &str) -> f64 {
    strsim::jaro_winkler(&wanted.to_lowercase(), &name.to_lowercase())
}

fn list() -> String {
    let analyses = ANALYSES.iter().map(|(name, page)| {
        let about = page.lines().find_map(|line| line.strip_prefix("**Computes** ")).unwrap_or("claims without an analysis");
        format!("  {name:<14} {about}\n")
    });
    let codes = diagnostic::codes::all().map(|code| format!("  {:<6} {}\n", code.id, code.summary));
    format!("Analyses\n{}\nCodes\n{}", analyses.collect::<String>(), codes.collect::<String>())
}
