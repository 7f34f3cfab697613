//! A claim of every kind, with parts of every kind, on a system in which everything is declared.

use super::*;
use claim::{Part, PartKind};
use diagnostic::Located;

fn part(what: &str, kind: PartKind, us: u64) -> Part {
    Part::new(what, kind, us * 1000)
}

/// A verdict whose bound is the sum of its parts.
pub fn made_of(id: &str, kind: Kind, limit_us: u64, parts: Vec<Part>) -> Verdict {
    let bound = claim::sum_of_parts(&parts);
    let status = if bound <= limit_us * 1000 { Status::Shown } else { Status::NotShown };
    let reason = (status == Status::NotShown).then(|| "the bound passes the need".to_owned());
    Verdict { parts, reason, ..verdict(id, kind, status, bound, limit_us * 1000) }
}

/// From a sensor through two partitions and a channel to an actuator.
fn chain_parts() -> Vec<Part> {
    vec![
        part("radar", PartKind::Device, 1_000),
        part("SAFE.stop", PartKind::Waiting, 10_000),
        part("SAFE.stop", PartKind::Blackout, 9_040),
        part("SAFE.stop", PartKind::Executing, 268),
        part("CH01", PartKind::Port, 1_200),
        part("WORK.run", PartKind::Waiting, 7_440),
        part("WORK.run", PartKind::Delay, 2_058),
        part("WORK.run", PartKind::Executing, 1_600),
        part("WORK.run", PartKind::Alignment, 94),
        part("thruster", PartKind::Device, 2_000),
    ]
}

fn boot_parts(partition: &str, blackout: u64, work: u64) -> Vec<Part> {
    vec![
        part("reset to loader", PartKind::Stage, 250_000),
        part("authenticate and load", PartKind::Stage, 1_175_000),
        part("hypervisor", PartKind::Stage, 120_000),
        part(partition, PartKind::Blackout, blackout),
        part(partition, PartKind::Initialisation, work),
    ]
}

fn restart_parts(partition: &str, work: u64) -> Vec<Part> {
    vec![
        part(partition, PartKind::Detection, 20_000),
        part(partition, PartKind::Action, 500),
        part(partition, PartKind::Blackout, work * 9),
        part(partition, PartKind::Initialisation, work),
        part("SAFE.stop", PartKind::Alignment, 9_000),
        part("SAFE.stop", PartKind::Executing, 268),
    ]
}

fn counted(id: &str, kind: Kind, unit: Unit, bound: u64, limit: u64) -> Verdict {
    Verdict { unit, ..verdict(id, kind, Status::Shown, bound, limit) }
}

fn left(id: &str, unit: Unit, bound: u64, limit: Option<u64>) -> Verdict {
    Verdict { limit, unit, relation: Relation::AtLeast, ..verdict(id, Kind::Margin, Status::Shown, bound, 0) }
}

/// Kinds of which this test needs no more than one claim each.
const OF_SPACE: [Kind; 7] = [
    Kind::Containment,
    Kind::Channel,
    Kind::Setting,
    Kind::RobustTime,
    Kind::RobustResources,
    Kind::Covert,
    Kind::Exchange,
];

/// At least one claim of every kind, and parts of every kind.
pub fn claims() -> Vec<Verdict> {
    let mut claims = verdicts();
    claims.retain(|verdict| !matches!(verdict.kind, Kind::Reaction | Kind::Boot | Kind::Restart));
    let chain = made_of("reaction/E1", Kind::Reaction, 60_000, chain_parts());
    claims.push(Verdict { generic: Some(67_000_000), table_aware: chain.bound, ..chain });
    let age = made_of("data_age/E2", Kind::DataAge, 30_000, chain_parts());
    claims.push(Verdict { generic: age.bound, table_aware: None, ..age });
    claims.extend([
        made_of("boot/SAFE", Kind::Boot, 2_000_000, boot_parts("SAFE", 108_600, 12_000)),
        made_of("boot/WORK", Kind::Boot, 3_500_000, boot_parts("WORK", 1_760_000, 600_000)),
        made_of("restart/SAFE/warm", Kind::Restart, 100_000, restart_parts("SAFE", 4_000)),
        made_of("restart/SAFE/cold", Kind::Restart, 5_000_000, restart_parts("SAFE", 12_000)),
        made_of("restart/WORK/warm", Kind::Restart, 200_000, restart_parts("WORK", 45_000)),
        counted("queue_depth/CH02", Kind::QueueDepth, Unit::Messages, 4, 6),
        counted("forwarding/CH03/delay", Kind::Forwarding, Unit::Nanoseconds, 3_000_000, 9_000_000),
        counted("forwarding/CH03/backlog", Kind::Forwarding, Unit::Messages, 3, 8),
        counted("output_jitter/SAFE.stop", Kind::OutputJitter, Unit::Nanoseconds, 9_000_000, 10_000_000),
        counted("schedule_change/S1/S2", Kind::ScheduleChange, Unit::Nanoseconds, 120_000_000, 200_000_000),
        counted("window/core/0", Kind::Window, Unit::Count, 0, 0),
        counted("bandwidth/memory", Kind::Bandwidth, Unit::Ppm, 900_000, 1_000_000),
        left("margin/partition/WORK", Unit::Ppm, 1_034_088, Some(1_000_000)),
        left("margin/overhead/refill", Unit::Nanoseconds, 227_200, Some(25_000)),
        left("margin/new_partition/0", Unit::Nanoseconds, 500_000, None),
        left("margin/bandwidth", Unit::Ppm, 100_000, Some(50_000)),
        left("margin/ram", Unit::Ppm, 390_625, Some(300_000)),
        left("margin/port/CH02", Unit::Ppm, 333_333, Some(100_000)),
    ]);
    let others =
        [Kind::Memory, Kind::Device, Kind::Interrupt, Kind::Cache, Kind::Flow, Kind::Criticality, Kind::Health];
    for kind in others.into_iter().chain(OF_SPACE) {
        claims.push(Verdict::not_analysed(kind, "SAFE", basis(&[]), "nothing is given"));
    }
    claims
}

fn queue(depth: u64) -> ChannelKind {
    ChannelKind::Queuing { depth: at(depth), min_interarrival: None, batch: at(1), burst: None, read: QueueRead::All }
}

fn stage(name: &str, ms_time: u64, after: Vec<Located<usize>>) -> BootStage {
    BootStage { name: at(name.into()), time: Some(at(ms(ms_time))), load: None, after }
}

fn schedule(name: &str, may_follow: Vec<Located<String>>) -> ModuleSchedule {
    ModuleSchedule { name: at(name.into()), title: None, changes: vec![], may_follow }
}

/// The small system with everything declared that a part of the report draws.
pub fn whole_system() -> System {
    let mut system = system();
    system.channels.push(channel("CH02", 0, 1, queue(6)));
    system.channels.push(Channel { forwarded: true, ..channel("CH03", 1, 2, queue(8)) });
    system.schedules = vec![schedule("S1", vec![]), schedule("S2", vec![at("S3".into())]), schedule("S3", vec![])];
    system.network = Some(Network {
        forwarder: at(PartitionId::new(1)),
        task: Some(at(TaskId::new(1))),
        fixed: Some(at(us(3))),
        per_byte_ps: None,
        depth: Some(at(16)),
    });
    let stages = vec![stage("reset to loader", 250, vec![]), stage("hypervisor", 120, vec![at(0)])];
    system.boot = Some(Boot { stages, needs: vec![] });
    let entry = HealthEntry {
        error: at(HealthError::MemoryViolation),
        level: at(HealthLevel::Partition),
        action: at(HealthAction::WarmStart),
        partitions: vec![],
    };
    let escalation = Escalation {
        from: at("warm start".into()),
        count: at(3),
        window: at(ms(60_000)),
        to: at(HealthAction::ColdStart),
        partitions: vec![at(PartitionId::new(0))],
        safe_within: Some(at(ms(100))),
    };
    system.health = Some(Health { entries: vec![entry], escalations: vec![escalation] });
    let set = |name: &str, core, policy| CoreSet { name: at(name.into()), cores: vec![CoreId::new(core)], policy };
    system.core_sets = vec![
        set("safe", 0, CorePolicy::WindowTable { synchronised: true, drift_ppm: Some(20) }),
        set("guests", 1, CorePolicy::BudgetServer),
    ];
    system.partitions[2].core_set = Some(at(CoreSetId::new(1)));
    system.partitions[2].grant = Some(RunGrant::Server { budget: at(ms(2)), period: at(ms(10)), deadline: at(ms(8)) });
    system
}

/// The whole system with a claim of every kind.
pub fn whole_dossier() -> Dossier {
    Dossier::compose(Inputs { verdicts: claims(), ..inputs_of(whole_system()) })
}
