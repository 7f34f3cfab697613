//! A system of the examples, read and judged as the program does it, after edits to its files.

use claim::{Kind, Status, Verdict, sort_verdicts};
use model::{Reading, System, read_system};
use plan::{Plan, read_plan};
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use timing::supply::{Interval, Supply};

/// One edit to a file: a text that stands there once, and what takes its place.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edit {
    file: String,
    from: String,
    to: String,
}

/// What reading and judging gave.
pub struct Judged {
    /// The codes of everything that reading complained of.
    pub codes: BTreeSet<&'static str>,
    /// None where the files could not be read.
    pub result: Option<Result>,
}

pub struct Result {
    system: System,
    plan: Plan,
    pub verdicts: Vec<Verdict>,
}

impl Judged {
    pub fn of(folder: &Path, edits: &[Edit]) -> Self {
        let mut files = files(folder);
        for edit in edits {
            edit.apply(&mut files);
        }
        let Reading { mut sources, system, diagnostics } = read_system("system.toml", &mut files);
        let mut codes: BTreeSet<_> = diagnostics.iter().map(|found| found.code.id).collect();
        let result = system.and_then(|system| {
            let (plan, diagnostics) = read_plan("plan.toml", &files["plan.toml"], &system, &mut sources);
            codes.extend(diagnostics.iter().map(|found| found.code.id));
            plan.map(|plan| Result::of(system, plan))
        });
        Self { codes, result }
    }
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = std::fs::read_dir(folder).expect("the example is there");
    let paths = entries.map(|entry| entry.expect("entries can be read").path());
    let named = paths.map(|path| {
        let name = path.file_name().and_then(|name| name.to_str()).expect("file names are text").to_owned();
        (name, std::fs::read(&path).expect("examples can be read"))
    });
    named.collect()
}

impl Edit {
    fn apply(&self, files: &mut BTreeMap<String, Vec<u8>>) {
        let bytes = files.get_mut(&self.file).unwrap_or_else(|| panic!("there is no file {}", self.file));
        let text = std::str::from_utf8(bytes).expect("examples are text");
        assert_eq!(text.matches(&self.from).count(), 1, "this must stand once in {}: {}", self.file, self.from);
        *bytes = text.replace(&self.from, &self.to).into_bytes();
    }
}

impl Result {
    fn of(system: System, plan: Plan) -> Self {
        let mut verdicts = timing::claims::check(&system, &plan);
        verdicts.extend(separation::check(&system, &plan));
        sort_verdicts(&mut verdicts);
        Self { system, plan, verdicts }
    }

    pub fn verdict(&self, id: &str) -> Option<&Verdict> {
        self.verdicts.iter().find(|verdict| verdict.id == id)
    }

    pub fn partitions(&self) -> impl Iterator<Item = &str> {
        self.system.partitions.iter().map(|partition| partition.name.value.as_str())
    }

    /// The tasks whose response is not shown to keep its deadline.
    pub fn misses(&self) -> impl Iterator<Item = &str> {
        let responses = self.verdicts.iter().filter(|verdict| verdict.kind == Kind::Response);
        responses.filter(|verdict| verdict.status != Status::Shown).map(|verdict| verdict.subject.as_str())
    }

    /// Everything claimed of the responses and the growth of a partition, without the places in the files.
    pub fn times_of(&self, partition: &str) -> Vec<(&str, Status, Option<u64>)> {
        let (tasks, growth) = (format!("response/{partition}."), format!("margin/partition/{partition}"));
        let about = self.verdicts.iter().filter(|verdict| verdict.id.starts_with(&tasks) || verdict.id == growth);
        about.map(|verdict| (verdict.id.as_str(), verdict.status, verdict.bound)).collect()
    }

    /// The usable windows of a partition: switch and refill taken off every one.
    pub fn supply(&self, partition: &str) -> Option<Supply> {
        let id = self.system.partition_named(partition)?;
        let (platform, frame) = (&self.system.platform, self.system.frame.value);
        let head_ns = platform.switch?.value.ns() + platform.refill?.value.ns();
        let windows = self.plan.schedules[0].cores.iter().flat_map(|core| core.merged(id, 0, frame));
        let usable =
            windows.map(|window| Interval { start_ns: window.start.ns() + head_ns, end_ns: window.end().ns() });
        Supply::new(frame.ns(), &usable.collect::<Vec<_>>()).ok()
    }

    /// What the jobs of a partition are charged in one frame, in ns; every period divides it.
    pub fn demand_per_frame_ns(&self, partition: &str) -> Option<u64> {
        let id = self.system.partition_named(partition)?;
        let tasks = self.system.task_ids().filter(|task| self.system.task(*task).partition == id);
        let demand = tasks.map(|task| {
            let jobs = self.system.frame.value.ns() / self.system.task(task).period.value.ns();
            Some(jobs * self.charged_ns(&self.system.task_label(task))?)
        });
        demand.sum()
    }

    /// The charged time of `PARTITION.task`.
    pub fn charged_ns(&self, task: &str) -> Option<u64> {
        Some(self.verdict(&format!("response/{task}"))?.growth?.charged_ns)
    }
}
