//! What the planner's tests share.

use diagnostic::{Look, render_text};
use model::{Reading, System, read_system};
use plan::Plan;
use planner::{Options, Outcome};
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;

type Files = BTreeMap<String, Vec<u8>>;

pub fn read(mut files: Files) -> System {
    let Reading { sources, system, diagnostics } = read_system("system.toml", &mut files);
    let found: String = diagnostics.iter().map(|d| render_text(d, &sources, Look::Plain)).collect();
    let mut system = system.unwrap_or_else(|| panic!("{found}"));
    // TEMP
    if system.schedules.is_empty() {
        let name = system.name.clone();
        system.schedules.push(model::system::ModuleSchedule { name, title: None, changes: vec![], may_follow: vec![] });
        let at = system.frame.span;
        use diagnostic::Located;
        system.growth_rules.push(model::system::GrowthRule { subject: Located::new(model::system::GrowthSubject::Cores, at), at_least: Located::new(quantity::Ppm::new(300_000), at), milestone: None, source: None });
    }
    system
}

/// The survey vessel as it is published with the program.
pub fn vessel() -> System {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel");
    let file = |name: &str| (name.to_owned(), std::fs::read(folder.join(name)).expect("a file of the vessel"));
    read(["system.toml", "tasks.csv", "channels.csv"].map(file).into())
}

pub fn plan(system: &System, keep: Option<&Plan>, options: Options) -> Outcome {
    planner::plan(system, keep, options, &mut |_| ControlFlow::Continue(()))
}
