//! A peer's instance as a machine for the simulator: no overheads, one lane a partition.

use crate::instance::{Instance, InstanceTask};
use simulator::Machine;
use simulator::machine::{
    Arrivals, Channel, Core, Grant, Guest, Input, Lane, Partition, Policy, Port, Recovery, Tables, Task, Window,
};
use std::error::Error;

/// The machine of an instance.
pub fn machine(instance: &Instance) -> Result<Machine, Box<dyn Error>> {
    let frame_ns = instance.cores.first().ok_or("the instance has no core")?.major_frame;
    if instance.cores.iter().any(|core| core.major_frame != frame_ns) {
        return Err("the cores of the instance have different frames, and a machine has one".into());
    }
    let least_urgent = instance.tasks.iter().map(|task| task.prio).max().unwrap_or(0);
    let mut tasks = Vec::new();
    let partitions: Vec<Partition> = instance
        .partitions
        .iter()
        .map(|declared| {
            let first = tasks.len();
            let mine = instance.tasks.iter().filter(|task| task.partition == declared.id);
            tasks.extend(mine.map(|task| self::task(task, least_urgent)));
            partition(declared.id, first..tasks.len())
        })
        .collect();
    if instance.tasks.iter().zip(&tasks).any(|(declared, task)| task.label != format!("t{}", declared.id)) {
        return Err("the tasks of the instance are not in the order of their partitions".into());
    }
    let core =
        |id: usize| Core { name: id.to_string(), policy: Policy::Table { synchronised: true, slip_ns: 0 }, set: 0 };
    let lane =
        |number: usize, core: usize| Lane { partition: number, number: 0, cores: vec![core], grant: Grant::Windows };
    let mut machine = Machine {
        frame_ns,
        cores: (0..instance.cores.len()).map(core).collect(),
        schedules: vec![Tables {
            name: "only".to_owned(),
            cores: instance.cores.iter().map(|core| core.windows.iter().map(window).collect()).collect(),
            active: vec![true; tasks.len()],
            grants: vec![Grant::Windows; partitions.len()],
        }],
        lanes: instance.partitions.iter().map(|partition| lane(partition.id, partition.core)).collect(),
        partitions,
        tasks,
        ..Machine::default()
    };
    add_channels(&mut machine, instance)?;
    Ok(machine)
}

fn partition(id: usize, tasks: std::ops::Range<usize>) -> Partition {
    Partition {
        name: format!("P{id}"),
        guest: Guest::FixedPriority,
        lanes: id..id + 1,
        tasks,
        recovery: Recovery::default(),
        at_change: None,
        built_by: None,
        untrusted: false,
    }
}

fn window(&(start_ns, length_ns, lane): &(u64, u64, usize)) -> Window {
    Window { start_ns, end_ns: start_ns + length_ns, lane, head_ns: 0, continues: false }
}

fn task(declared: &InstanceTask, least_urgent: i64) -> Task {
    Task {
        label: format!("t{}", declared.id),
        partition: declared.partition,
        lane: None,
        period_ns: declared.period,
        deadline_ns: declared.deadline,
        arrivals: Arrivals::Aligned { offset_ns: declared.offset },
        jitter_ns: 0,
        least_ns: declared.bcet,
        charged_ns: declared.wcet,
        interference_ns: 0,
        line_requests: 0,
        // In an instance the smaller number is the more urgent one.
        priority: u32::try_from(least_urgent - declared.prio + 1).unwrap_or(u32::MAX),
        blocking_ns: 0,
        logical: false,
        reads: Vec::new(),
        writes: Vec::new(),
    }
}

fn add_channels(machine: &mut Machine, instance: &Instance) -> Result<(), Box<dyn Error>> {
    for (index, channel) in instance.channels.iter().enumerate() {
        let partition = |task: usize| Some(machine.tasks.get(task)?.partition);
        let (Some(source), Some(to)) = (partition(channel.src), partition(channel.dst)) else {
            return Err("a channel names a task that the instance does not have".into());
        };
        machine.channels.push(Channel {
            name: format!("C{}", channel.id),
            port: match channel.kind.as_str() {
                "sampling" => Port::Sampling { refresh_ns: None },
                _ => Port::Queuing { depth: channel.depth, takes: None },
            },
            source_task: Some(channel.src),
            source,
            source_period_ns: None,
            batch: 1,
            inputs: index..index + 1,
            frame_cost_ns: None,
        });
        machine.inputs.push(Input { channel: index, partition: to, task: Some(channel.dst) });
        machine.tasks[channel.src].writes.push(index);
        machine.tasks[channel.dst].reads.push(index);
    }
    Ok(())
}
