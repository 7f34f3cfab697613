//! Small systems from text, and their verdicts.

#![allow(dead_code, reason = "each test file uses a part")]

use claim::{Status, Verdict};
use diagnostic::Sources;
use model::{Reading, System, read_system};
use plan::{Plan, read_plan};
use std::collections::BTreeMap;

/// A system of two cores without windows, to which the parts of a test are added.
pub const HEAD: &str = r#"
[system]
name = "small"
frame = "20 ms"
levels = ["low", "middle", "high"]
[board]
name = "board"
[[board.core]]
name = "0"
[[board.core]]
name = "1"
[[board.memory]]
name = "RAM"
base = "0x8000_0000"
size = "4 GiB"
granule = "4 KiB"
placeable = true
"#;

pub fn system(parts: &str) -> System {
    system_with_tree(parts, "")
}

/// The same beside a devicetree source.
pub fn system_with_tree(parts: &str, tree: &str) -> System {
    read(&format!("{HEAD}{parts}"), tree)
}

/// A system from its whole text.
pub fn whole(text: &str) -> System {
    read(text, "")
}

fn read(text: &str, tree: &str) -> System {
    let files = [("small.toml", text), ("board.dts", tree)];
    let mut files = BTreeMap::from(files.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())));
    let Reading { system, diagnostics, .. } = read_system("small.toml", &mut files);
    system.unwrap_or_else(|| panic!("{diagnostics:#?}\n{text}\n{tree}"))
}

/// A plan from text; none at all from none.
pub fn plan(system: &System, text: &str) -> Plan {
    if text.is_empty() {
        return Plan::default();
    }
    let mut sources = Sources::new();
    let (plan, found) = read_plan("plan.toml", text.as_bytes(), system, &mut sources);
    plan.unwrap_or_else(|| panic!("{found:#?}"))
}

/// Every verdict by its id.
pub fn verdicts(system: &System, plan: &Plan) -> BTreeMap<String, Verdict> {
    separation::check(system, plan).into_iter().map(|verdict| (verdict.id.clone(), verdict)).collect()
}

/// A partition of the most keys, with one task.
pub fn partition(name: &str, keys: &str, task: &str) -> String {
    let task = format!("[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"\n{task}\n");
    format!("[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nram = \"1 MiB\"\n{keys}\n{task}")
}

pub fn placement(what: &str, base: u64, size: &str) -> String {
    format!("[[placement]]\n{what}\nbase = \"{base:#x}\"\nsize = \"{size}\"\n")
}

pub fn window(core: u32, partition: &str, start: u32) -> String {
    format!("[[window]]\ncore = \"{core}\"\npartition = \"{partition}\"\nstart = \"{start} ms\"\nlength = \"5 ms\"\n")
}

pub fn said(verdicts: &BTreeMap<String, Verdict>, id: &str) -> (Status, String) {
    let verdict = verdicts.get(id).unwrap_or_else(|| panic!("no {id} in {:?}", verdicts.keys().collect::<Vec<_>>()));
    (verdict.status, verdict.reason.clone().unwrap_or_default())
}
