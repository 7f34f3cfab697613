//! The fields of all files with all names known.

use super::{Context, Fields, Input, Names};
use crate::system::{Devicetree, ReservedMemory};

/// A whole system as written: what every reader and check starts from.
#[derive(Debug)]
pub(crate) struct Document {
    /// The system file.
    pub root: Fields,
    /// The tasks of the file and of all tables: in partition order, and within one in file order.
    pub tasks: Vec<TaskFields>,
    /// The channels of the tables, after those of `root`.
    pub channel_rows: Vec<Fields>,
    /// The memory of the devicetree that the board names.
    pub tree: Option<Devicetree>,
    /// The names of everything that can be referred to.
    pub names: AllNames,
}

/// A task as written, with the position of its partition.
#[derive(Debug)]
pub(crate) struct TaskFields {
    /// The partition.
    pub partition: usize,
    /// What is written of the task.
    pub fields: Fields,
}

/// The names of everything that can be referred to.
#[derive(Debug)]
pub(crate) struct AllNames {
    pub cores: Names,
    pub memories: Names,
    pub devices: Names,
    pub settings: Names,
    pub zones: Names,
    pub core_sets: Names,
    pub partitions: Names,
    pub regions: Names,
    /// As `PARTITION.task`.
    pub tasks: Names,
    pub channels: Names,
    pub protections: Names,
    pub stages: Names,
    pub schedules: Names,
    pub levels: Names,
    /// The nodes of the devicetree that reserve memory.
    pub reserved: Names,
}

impl Document {
    /// Collects all names; reports those that are given twice, and rows of no known partition.
    pub fn new(input: Input, cx: &mut Context) -> Self {
        let Input { mut root, task_rows, channel_rows, tree, broken, broken_tables } = input;
        let partitions = Names::collect("partition", root.names("partition"), cx).incomplete_if(broken);
        let rows = task_rows.len();
        let (tasks, taken) = all_tasks(&mut root, task_rows, &partitions, cx);
        let lost_tasks = broken || broken_tables || taken < rows;
        let labels = tasks.iter().map(|task| label(task, &partitions));
        let task_names = Names::collect("task", labels, cx).incomplete_if(lost_tasks);
        let channels = root.names("channel").chain(channel_rows.iter().map(|row| row.text("name")));
        let board = root.table("board");
        let of_board = |what, key, cx: &mut Context| {
            Names::collect(what, board.into_iter().flat_map(|board| board.names(key)), cx).incomplete_if(broken)
        };
        // Nothing refers to these; their names must differ all the same.
        of_board("cache", "cache", cx);
        of_board("shared resource", "shared", cx);
        Names::collect("chain", root.names("chain"), cx);
        let interconnect = board.and_then(|board| board.table("interconnect"));
        Names::collect("master", interconnect.into_iter().flat_map(|masters| masters.names("master")), cx);
        let stages = root.table("boot").into_iter().flat_map(|boot| boot.names("stage"));
        let levels = root.table("system").map(|system| system.texts("levels")).unwrap_or_default();
        let reserved = tree.iter().flat_map(|tree| &tree.reserved).map(|reserved| Some(reserved.name.clone()));
        let names = AllNames {
            reserved: Names::collect("reserved memory", reserved, cx),
            cores: of_board("core", "core", cx),
            memories: of_board("memory region", "memory", cx),
            devices: of_board("device", "device", cx),
            settings: of_board("setting", "setting", cx),
            regions: Names::collect("region", root.names("region"), cx).incomplete_if(broken),
            zones: Names::collect("zone", root.names("zone"), cx).incomplete_if(broken),
            core_sets: Names::collect("core set", root.names("core_set"), cx).incomplete_if(broken),
            channels: Names::collect("channel", channels, cx).incomplete_if(broken || broken_tables),
            protections: Names::collect("protection", root.names("protection"), cx).incomplete_if(broken),
            stages: Names::collect("boot stage", stages, cx).incomplete_if(broken),
            schedules: Names::collect("schedule", root.names("schedule"), cx).incomplete_if(broken),
            levels: Names::collect("level", levels.into_iter().map(Some), cx).incomplete_if(broken),
            partitions,
            tasks: task_names,
        };
        Self { root, tasks, channel_rows, tree, names }
    }

    /// The reserved memory of the devicetree whose node has that name or label.
    pub fn reserved(&self, name: &str) -> Option<usize> {
        let reserved = self.tree.iter().flat_map(|tree| &tree.reserved);
        let labelled = |(_, reserved): &(usize, &ReservedMemory)| reserved.labels.iter().any(|label| label == name);
        let labelled = reserved.enumerate().find(labelled).map(|(index, _)| index);
        self.names.reserved.get(name).or(labelled)
    }

    /// The tasks of a partition, each with its position among all.
    pub fn tasks_of(&self, partition: usize) -> impl Iterator<Item = (usize, &TaskFields)> {
        let first = self.tasks.partition_point(|task| task.partition < partition);
        let tasks = self.tasks.iter().enumerate().skip(first);
        tasks.take_while(move |(_, task)| task.partition == partition)
    }

    /// The channels of the file, then those of the tables, in the order of their ids.
    pub fn channels(&self) -> impl Iterator<Item = &Fields> {
        self.root.tables("channel").chain(&self.channel_rows)
    }
}

/// The tasks of the file, then those of the tables, sorted into the order of their partitions; and the number of rows
/// that were taken, which is less than all where a row names no partition.
fn all_tasks(root: &mut Fields, rows: Vec<Fields>, partitions: &Names, cx: &mut Context) -> (Vec<TaskFields>, usize) {
    let mut tasks = Vec::new();
    for (partition, fields) in root.tables_mut("partition").enumerate() {
        tasks.extend(fields.take_tables("task").into_iter().map(|fields| TaskFields { partition, fields }));
    }
    let in_file = tasks.len();
    for fields in rows {
        let partition = fields.text("partition").and_then(|name| partitions.resolve(&name, |index| index, cx));
        if let Some(partition) = partition {
            tasks.push(TaskFields { partition: partition.value, fields });
        }
    }
    let taken = tasks.len() - in_file;
    tasks.sort_by_key(|task| task.partition);
    (tasks, taken)
}

fn label(task: &TaskFields, partitions: &Names) -> Option<diagnostic::Located<String>> {
    let partition = partitions.name(task.partition)?;
    task.fields.text("name").map(|name| name.map(|name| format!("{partition}.{name}")))
}
