//! The survey vessel as it is published with the program, what tests change about it, and what the kernels take of it.

use diagnostic::{Located, Span};
use model::system::{DeadlinePhase, GrowthRule, GrowthSubject, ModuleSchedule, Network, Role};
use model::{Reading, System, read_system};
use plan::{Plan, read_plan};
use quantity::{Duration, PartitionId, Ppm, ScheduleId};
use std::collections::BTreeMap;
use std::path::Path;
use timing::claims::{supply_of, tasks_of};
use timing::supply::Supply;
use timing::{Task, TaskSet};

/// One partition as the kernels take it.
#[derive(Clone)]
pub struct Workload {
    pub name: String,
    pub supply: Supply,
    pub tasks: Vec<Task>,
}

impl Workload {
    pub fn set(&self) -> TaskSet {
        TaskSet::new(&self.tasks).expect("the vessel's tasks are well formed")
    }
}

/// The system and the plan that the integrator drew for it.
pub fn vessel() -> (System, Plan) {
    let mut files: BTreeMap<_, _> =
        ["system.toml", "tasks.csv", "channels.csv", "board.dts"].map(|name| (name.to_owned(), file(name))).into();
    let Reading { mut sources, system, diagnostics } = read_system("system.toml", &mut files);
    let system = system.unwrap_or_else(|| panic!("{diagnostics:?}"));
    let (plan, diagnostics) = read_plan("plan.toml", &file("plan.toml"), &system, &mut sources);
    let plan = plan.unwrap_or_else(|| panic!("{diagnostics:?}"));
    (system, plan)
}

fn file(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/survey-vessel");
    std::fs::read(folder.join(name)).expect("the example is there")
}

/// Every partition of the vessel, with deadlines that hold in `phase`: in any phase all tasks count as free-running, in
/// the frame's all are aligned.
pub fn workloads(phase: DeadlinePhase) -> Vec<Workload> {
    let (mut system, plan) = vessel();
    system.deadline_phase = phase;
    system.partition_ids().map(|id| workload(&system, &plan, id)).collect()
}

pub fn workload(system: &System, plan: &Plan, id: PartitionId) -> Workload {
    let has_windows = |core: &&plan::CoreTable| core.windows.iter().any(|window| window.partition == id);
    let core = plan.schedules[0].cores.iter().find(has_windows).expect("the plan gives every partition windows");
    let head_ns: u64 = [system.platform.switch, system.platform.refill].iter().flatten().map(|part| part.ns()).sum();
    let windows = core.merged(id, 0, system.frame.value);
    let tasks = tasks_of(system, ScheduleId::new(0), id, 0, core.core).expect("the vessel declares everything");
    Workload {
        name: system.partition(id).name.value.clone(),
        supply: supply_of(&windows, system.frame.ns(), head_ns).expect("the plan's windows are sound"),
        tasks: tasks.into_iter().map(|(_, task)| task).collect(),
    }
}

pub fn id_of(system: &System, partition: &str) -> PartitionId {
    system.partition_named(partition).expect("a partition of the vessel")
}

pub fn partition<'a>(system: &'a mut System, name: &str) -> &'a mut model::system::Partition {
    let id = id_of(system, name);
    &mut system.partitions[id.index()]
}

/// The task of that label, `PARTITION.task`.
pub fn task<'a>(system: &'a mut System, label: &str) -> &'a mut model::system::Task {
    let id = system.task_ids().find(|&id| system.task_label(id) == label).expect("a task of the vessel");
    &mut system.tasks[id.index()]
}

/// The shore link as the forwarder of CH01 and CH13, at 20 us and 1 ns a byte, with queues of eight frames.
pub fn forward_over_link(system: &mut System) {
    let link = id_of(system, "LINK");
    let rx = system.task_ids().find(|&id| system.task_label(id) == "LINK.rx").expect("a task of the vessel");
    system.partitions[link.index()].role = Role::Forwarder;
    system.network = Some(Network {
        forwarder: at(link),
        task: Some(at(rx)),
        fixed: Some(at(Duration::from_us(20))),
        per_byte_ps: Some(at(1_000)),
        depth: Some(at(8)),
    });
    for channel in &mut system.channels {
        channel.forwarded |= ["CH01", "CH13"].contains(&channel.name.value.as_str());
    }
}

pub fn at<T>(value: T) -> Located<T> {
    Located::new(value, Span::NOWHERE)
}

pub fn us(us: u64) -> u64 {
    us * 1000
}

pub fn duration_us(value_us: u64) -> Located<Duration> {
    at(Duration::from_us(value_us))
}

pub fn schedule(title: &str) -> ModuleSchedule {
    ModuleSchedule { name: at(title.to_owned()), title: None, changes: Vec::new(), may_follow: Vec::new() }
}

pub fn rule(subject: GrowthSubject, percent: u64) -> GrowthRule {
    GrowthRule { subject: at(subject), at_least: at(Ppm::new(percent * 10_000)), milestone: None, source: None }
}
