//! What the planner's tests share: systems as text, and the planner with nobody watching.

use diagnostic::{Located, Look, Span, render_text};
use model::system::{GrowthRule, GrowthSubject};
use model::{Reading, System, read_system};
use plan::Plan;
use planner::{Options, Outcome};
use quantity::Ppm;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::ops::ControlFlow;
use std::path::Path;

pub fn read(mut files: BTreeMap<String, Vec<u8>>) -> System {
    let Reading { sources, system, diagnostics } = read_system("system.toml", &mut files);
    let found: String = diagnostics.iter().map(|d| render_text(d, &sources, Look::Plain)).collect();
    system.unwrap_or_else(|| panic!("{found}"))
}

/// A file of the survey vessel as it is published with the program.
pub fn vessel_file(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel").join(name))
        .expect("a file")
}

/// The survey vessel, with more text at the end of its system file.
pub fn vessel_with(more: &str) -> System {
    let mut files: BTreeMap<String, Vec<u8>> = ["system.toml", "tasks.csv", "channels.csv", "board.dts"]
        .map(|name| (name.to_owned(), vessel_file(name)))
        .into();
    files.entry("system.toml".to_owned()).or_default().extend(more.bytes());
    read(files)
}

/// The frame, the number of cores and the partitions of a system on a plain board: windows lose 40 us at their heads,
/// nobody else asks for memory, tasks are preempted at once.
pub fn system(frame: &str, cores: usize, partitions: &str) -> System {
    system_with_tree(frame, cores, partitions, "")
}

/// The same on a board with this devicetree source, where the parts name it.
pub fn system_with_tree(frame: &str, cores: usize, partitions: &str, tree: &str) -> System {
    system_on(frame, cores, "", partitions, tree)
}

/// The same with more keys of its memory.
pub fn system_of_memory(frame: &str, cores: usize, memory: &str, partitions: &str) -> System {
    system_on(frame, cores, memory, partitions, "")
}

fn system_on(frame: &str, cores: usize, memory: &str, partitions: &str, tree: &str) -> System {
    let mut text = format!(
        "[system]\nname = \"Test\"\nframe = \"{frame}\"\ndeadlines_hold_in = \"any phase\"\n\n[board]\nname = \"B\"\n"
    );
    for core in 0..cores {
        write!(text, "\n[[board.core]]\nname = \"{core}\"\n").expect("a text takes everything");
    }
    text += r#"
[[board.memory]]
name = "RAM"
base = "0x8000_0000"
size = "64 MiB"
granule = "4 KiB"
placeable = true
"#;
    text += memory;
    text += r#"
[board.interconnect]
line = "64 B"
guaranteed = "1280 MB/s"
arbitration = "round-robin"

[[board.interconnect.master]]
name = "core0"
core = "0"

[platform]
switch = "15 us"
refill = "25 us"
context_switch = "0 us"
release_jitter = "0 us"
nonpreemptable = "0 us"
boundary_slip = "0 us"
synchronised = true
"#;
    text += partitions;
    read(
        [("system.toml", text.as_str()), ("board.dts", tree)]
            .map(|(n, t)| (n.to_owned(), t.as_bytes().to_vec()))
            .into(),
    )
}

/// A partition with a period and, where it is not empty, a budget; `more` lines follow.
pub fn partition(name: &str, period: &str, budget: &str, more: &str) -> String {
    let budget = if budget.is_empty() { String::new() } else { format!("budget = \"{budget}\"\n") };
    format!("\n[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nperiod = \"{period}\"\n{budget}{more}\n")
}

/// A task of the partition above it.
pub fn task(name: &str, period: &str, deadline: &str, wcet: &str, priority: u32) -> String {
    format!(
        "\n[[partition.task]]\nname = \"{name}\"\nperiod = \"{period}\"\ndeadline = \"{deadline}\"\nwcet = \"{wcet}\"\npriority = {priority}\nline_requests = 0\n"
    )
}

/// The same system with a rule that a share of its subject be left.
pub fn with_growth(mut system: System, subject: GrowthSubject, ppm: u64) -> System {
    let at = Span::NOWHERE;
    let (subject, at_least) = (Located::new(subject, at), Located::new(Ppm::new(ppm), at));
    system.growth_rules.push(GrowthRule { subject, at_least, milestone: None, source: None });
    system
}

pub fn plan_keeping(system: &System, keep: Option<&Plan>) -> Outcome {
    planner::plan(system, keep, Options::default(), &mut |_| ControlFlow::Continue(()))
}

pub fn plan(system: &System) -> Outcome {
    plan_keeping(system, None)
}
