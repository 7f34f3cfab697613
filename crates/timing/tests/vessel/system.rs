//! The vessel as a resolved system and a plan: only what claims in time read.

use super::figures::{FRAME_US, PARTITIONS, PartitionRow, TaskRow, us};
use diagnostic::{FileId, Located, Sources, Span};
use model::System;
use model::system::{
    Arbitration, Board, Core, CorePolicy, CoreSet, DeadlinePhase, Exchange, GrowthRule, GrowthSubject, Guest,
    Interconnect, Master, ModuleSchedule, Partition, PeakRate, Platform, Regulation, Release, Role, RunGrant, Task,
};
use plan::{BandwidthBudget, CoreTable, Plan, ScheduleTable, Window};
use quantity::{Bytes, CoreId, Duration, Instant, PartitionId, Ppm, Rate, ScheduleId, TaskId};

const CORE_OF: [(&str, usize); 12] = [
    ("STOP", 0),
    ("NAVF", 0),
    ("PROP", 0),
    ("ENGM", 0),
    ("TRAK", 1),
    ("OBJT", 1),
    ("COLA", 1),
    ("SONR", 2),
    ("RECD", 2),
    ("LINK", 3),
    ("BATH", 3),
    ("MAIN", 3),
];
const BUDGETS_MB_S: [u64; 5] = [160, 260, 360, 280, 220];

fn file() -> FileId {
    Sources::new().add("vessel", "")
}

pub fn at<T>(value: T) -> Located<T> {
    Located::new(value, Span::head(file()))
}

fn name(text: &str) -> Located<String> {
    at(text.to_owned())
}

pub fn duration_us(value_us: u64) -> Located<Duration> {
    at(Duration::from_us(value_us))
}

pub fn core_of(partition: &str) -> usize {
    CORE_OF.iter().find(|(known, _)| *known == partition).expect("a partition of the page").1
}

fn board() -> Board {
    let core = |k: usize| Core { name: name(&k.to_string()), clock_hz: None, active: true };
    let master = |k: usize| Master { name: name(&format!("core{k}")), core: Some(CoreId::new(k)) };
    let dma = Master { name: name("DMA"), core: None };
    Board {
        name: name("SV-4"),
        address_bits: 64,
        cores: (0..4).map(core).collect(),
        caches: Vec::new(),
        memories: Vec::new(),
        interconnect: Some(Interconnect {
            line: at(Bytes::new(64)),
            guaranteed: at(Rate::from_bytes_per_s(1_280_000_000)),
            peak: None,
            arbitration: at(Arbitration::RoundRobin),
            masters: (0..4).map(master).chain([dma]).collect(),
        }),
        devices: Vec::new(),
    }
}

fn platform() -> Platform {
    Platform {
        switch: Some(duration_us(15)),
        refill: Some(duration_us(25)),
        context_switch: Some(duration_us(4)),
        release_jitter: Some(duration_us(10)),
        nonpreemptable: Some(duration_us(60)),
        regulation: Some(Regulation { period: duration_us(1000), granule: None }),
        ..Platform::default()
    }
}

/// The period in which the windows recur, and their length in it.
fn grant(row: &PartitionRow) -> RunGrant {
    let period_us = match row.name {
        "STOP" | "NAVF" | "PROP" => 10_000,
        "BATH" | "MAIN" => 100_000,
        _ => 20_000,
    };
    let total_us: u64 = row.windows.iter().map(|window| window.1).sum();
    RunGrant::Windows { period: duration_us(period_us), budget: Some(duration_us(total_us * period_us / FRAME_US)) }
}

fn partition(row: &PartitionRow, tasks: Vec<TaskId>) -> Partition {
    Partition {
        name: name(row.name),
        function: None,
        supplier: None,
        level: None,
        zone: None,
        role: Role::Guest,
        guest: at(Guest::FixedPriority),
        virtual_cores: at(1),
        // The page's period and budget of ENGM, TRAK and others: a window every 20 ms.
        grant: Some(grant(row)),
        core_set: None,
        cores: vec![at(CoreId::new(core_of(row.name)))],
        apart_from: Vec::new(),
        together_with: Vec::new(),
        deadline_phase: None,
        ram: None,
        image: None,
        working_set: None,
        restart: None,
        schedule_change: None,
        never_stops: false,
        untrusted: false,
        built_by: None,
        tasks,
    }
}

fn task(row: &TaskRow, partition: PartitionId) -> Task {
    Task {
        name: name(row.name),
        partition,
        period: duration_us(row.period_us),
        deadline: duration_us(row.period_us),
        priority: Some(at(row.priority as u32)),
        wcet: Some(duration_us(row.execution_us)),
        bcet: None,
        provenance: None,
        line_requests: Some(at(row.line_requests)),
        peak_rate: Some(at(PeakRate::Even)),
        jitter: None,
        blocking: None,
        sections: Vec::new(),
        release: at(Release::FrameAligned { offset: Duration::ZERO }),
        sporadic: false,
        exchange: Exchange::StartFinish,
        virtual_core: None,
    }
}

fn windows(core: usize) -> CoreTable {
    let mut windows = Vec::new();
    for (index, row) in PARTITIONS.iter().enumerate().filter(|(_, row)| core_of(row.name) == core) {
        windows.extend(row.windows.iter().map(|&(start_us, length_us)| Window {
            partition: PartitionId::new(index),
            virtual_core: 0,
            start: Instant::from_ns(us(start_us)),
            length: Duration::from_us(length_us),
            pinned: false,
            span: None,
        }));
    }
    windows.sort_by_key(|window| window.start);
    CoreTable { core: CoreId::new(core), windows }
}

pub fn schedule(title: &str) -> ModuleSchedule {
    ModuleSchedule { name: name(title), title: None, changes: Vec::new(), may_follow: Vec::new() }
}

pub fn rule(subject: GrowthSubject, percent: u64) -> GrowthRule {
    GrowthRule { subject: at(subject), at_least: at(Ppm::new(percent * 10_000)), milestone: None, source: None }
}

pub fn vessel() -> (System, Plan) {
    let mut partitions = Vec::new();
    let mut tasks: Vec<Task> = Vec::new();
    for (index, row) in PARTITIONS.iter().enumerate() {
        let ids = (tasks.len()..tasks.len() + row.tasks.len()).map(TaskId::new).collect();
        partitions.push(partition(row, ids));
        tasks.extend(row.tasks.iter().map(|task_row| task(task_row, PartitionId::new(index))));
    }
    let tables = CorePolicy::WindowTable { synchronised: true, drift_ppm: None };
    let system = System {
        name: name("survey vessel"),
        description: None,
        plan: None,
        frame: duration_us(FRAME_US),
        deadline_phase: DeadlinePhase::Any,
        levels: Vec::new(),
        board: board(),
        platform: platform(),
        core_sets: vec![CoreSet { name: name("all"), cores: (0..4).map(CoreId::new).collect(), policy: tables }],
        zones: Vec::new(),
        partitions,
        tasks,
        regions: Vec::new(),
        channels: Vec::new(),
        chains: Vec::new(),
        schedules: vec![schedule("Survey")],
        network: None,
        flow: None,
        boot: None,
        health: None,
        milestone: None,
        growth_rules: vec![rule(GrowthSubject::Cores, 30)],
        accepted: Vec::new(),
    };
    let budget = |(master, &mb_s): (usize, &u64)| BandwidthBudget {
        master,
        budget: Rate::from_bytes_per_s(mb_s * 1_000_000),
        span: None,
    };
    let plan = Plan {
        schedules: vec![ScheduleTable { schedule: ScheduleId::new(0), cores: (0..4).map(windows).collect() }],
        bandwidth: BUDGETS_MB_S.iter().enumerate().map(budget).collect(),
        ..Plan::default()
    };
    (system, plan)
}
