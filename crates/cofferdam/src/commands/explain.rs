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
    "server-supply",
    "share-supply",
    "dedicated-core",
    "core-sets",
    "free-running",
    "frame-aligned",
    "edf",
    "cooperative",
    "opaque",
    "blocking",
    "multiprocessor",
    "demand-bound",
    "growth",
    "windows",
    "core-margin",
    "new-partition",
    "overheads",
    "boot",
    "restart",
    "health",
    "escalation",
    "schedule-change",
    "sampling-ports",
    "queuing-ports",
    "port-margin",
    "internal-network",
    "device-bandwidth",
    "memory",
    "memory-contents",
    "memory-rights",
    "devicetree",
    "devices",
    "interrupts",
    "cache-ways",
    "page-colours",
    "memory-banks",
    "refill",
    "bandwidth-budgets",
    "interference",
    "throttling",
    "information-flow",
    "criticality-direction",
    "exchange-faults",
    "channels",
    "robust-partitioning",
    "covert-channels",
    "objectives",
    "ram-margin",
    "bandwidth-margin",
    "containment",
    "planning",
    "chains",
    "output-jitter",
];

pub fn run(args: &ExplainArgs) -> Result<Exit> {
    match &args.code {
        None => terminal::print(&list())?,
        Some(wanted) => match page(wanted) {
            Some(page) => terminal::print(page)?,
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
    let rated = names.map(|name| (closeness(wanted, name), name)).filter(|(closeness, _)| *closeness >= NEAR);
    let hint = match rated.max_by(|a, b| a.0.total_cmp(&b.0)) {
        Some((_, near)) => format!(" did you mean `{near}`?"),
        None => String::new(),
    };
    format!("there is no code or analysis `{wanted}`;{hint} `cofferdam explain` lists them all")
}

/// Names less close than this have nothing to do with what was asked for.
const NEAR: f64 = 0.7;

fn closeness(wanted: &str, name: &str) -> f64 {
    strsim::jaro_winkler(&wanted.to_lowercase(), &name.to_lowercase())
}

fn list() -> String {
    let analyses = ANALYSES.iter().map(|(name, page)| format!("  {name:<14} {}\n", about(page)));
    let mut codes: Vec<_> = diagnostic::codes::all().collect();
    codes.sort_by_key(|code| code.id);
    let codes = codes.into_iter().map(|code| format!("  {:<6} {}\n", code.id, code.summary));
    format!("Analyses\n{}\nCodes\n{}", analyses.collect::<String>(), codes.collect::<String>())
}

/// The first sentence of an analysis' page, or as much of it as goes before a semicolon.
fn about(page: &str) -> String {
    let body = page.split_once("\n\n").map_or(page, |(_, body)| body);
    let paragraph = body.split("\n\n").next().unwrap_or_default().replace('\n', " ");
    let text = paragraph.strip_prefix("**Computes** ").unwrap_or(&paragraph);
    let end = [". ", "; "].iter().filter_map(|end| text.find(end)).min().unwrap_or(text.len());
    text[..end].trim_end_matches('.').to_owned()
}
