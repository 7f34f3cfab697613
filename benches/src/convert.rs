//! A peer's instance as a system file with its tables and plan, for timing whole commands.
//!
//! The instance has no overheads, jitter, blocking or memory traffic: the platform sheet says zero for each, which is a
//! declared number and not an unknown one. A sampling channel gets a refresh period of three periods of its writer, a
//! message one word.

use crate::instance::{Instance, InstancePartition};
use std::error::Error;
use std::fmt::Write as _;
use std::path::Path;

/// Writes `system.toml`, its tables and `plan.toml` into `folder`.
pub fn convert(instance: &Path, folder: &Path) -> Result<(), Box<dyn Error>> {
    let instance = Instance::read(instance)?;
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("system.toml"), system(&instance)?)?;
    std::fs::write(folder.join("tasks.csv"), tasks(&instance)?)?;
    std::fs::write(folder.join("channels.csv"), channels(&instance)?)?;
    std::fs::write(folder.join("plan.toml"), plan(&instance))?;
    Ok(())
}

fn system(instance: &Instance) -> Result<String, Box<dyn Error>> {
    let frame = instance.cores.first().ok_or("the instance has no core")?.major_frame;
    if instance.cores.iter().any(|core| core.major_frame != frame) {
        return Err("the cores of the instance have different frames, and a system has one".into());
    }
    let mut text = format!(
        "[system]\nname = \"converted instance\"\nframe = \"{frame} ns\"\n\
         deadlines_hold_in = \"any phase\"\nplan = \"plan.toml\"\n\n\
         [tables]\ntasks = [\"tasks.csv\"]\nchannels = [\"channels.csv\"]\n\n[board]\nname = \"board\"\n\n"
    );
    for core in 0..instance.cores.len() {
        write!(text, "[[board.core]]\nname = \"{core}\"\n\n")?;
    }
    text.push_str(
        "[platform]\nswitch = \"0 ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"0 ns\"\n\
         nonpreemptable = \"0 ns\"\nsynchronised = true\nprovenance = \"generated\"\n",
    );
    for partition in &instance.partitions {
        text.push_str(&partition_table(partition));
    }
    Ok(text)
}

fn partition_table(partition: &InstancePartition) -> String {
    let InstancePartition { id, core, period, budget, .. } = partition;
    format!(
        "\n[[partition]]\nname = \"P{id}\"\nguest = \"fixed priority\"\ncores = [\"{core}\"]\n\
         period = \"{period} ns\"\nbudget = \"{budget} ns\"\n"
    )
}

/// In an instance a smaller `prio` is more urgent, in a system file a larger priority.
fn tasks(instance: &Instance) -> Result<String, Box<dyn Error>> {
    let least_urgent = instance.tasks.iter().map(|task| task.prio).max().unwrap_or(0);
    let mut text = String::from("partition,name,period,deadline,priority,wcet,bcet,line_requests\n");
    for task in &instance.tasks {
        let priority = least_urgent - task.prio + 1;
        writeln!(
            text,
            "P{},t{},{} ns,{} ns,{priority},{} ns,{} ns,0",
            task.partition, task.id, task.period, task.deadline, task.wcet, task.bcet
        )?;
    }
    Ok(text)
}

fn channels(instance: &Instance) -> Result<String, Box<dyn Error>> {
    let end = |task: usize| match instance.tasks.get(task) {
        Some(found) => Ok(format!("P{}.t{}", found.partition, found.id)),
        None => Err(format!("a channel names task {task}, which the instance does not have")),
    };
    let mut text = String::from("name,kind,size,from,to,refresh,depth\n");
    for channel in &instance.channels {
        let (from, to) = (end(channel.src)?, end(channel.dst)?);
        write!(text, "C{},{},8 B,{from},{to},", channel.id, channel.kind)?;
        match channel.kind.as_str() {
            "sampling" => writeln!(text, "{} ns,", 3 * instance.tasks[channel.src].period)?,
            _ => writeln!(text, ",{}", channel.depth)?,
        }
    }
    Ok(text)
}

fn plan(instance: &Instance) -> String {
    let windows = instance.cores.iter().enumerate().flat_map(|(core, table)| {
        table.windows.iter().map(move |(start, length, partition)| {
            format!(
                "[[window]]\ncore = \"{core}\"\npartition = \"P{partition}\"\nstart = \"{start} ns\"\nlength = \"{length} ns\"\n\n"
            )
        })
    });
    windows.collect()
}
