//! The sections of the survey vessel against its description, of which the tables here are copies.

mod common;

use common::{Files, rendered, text, vessel};
use model::System;
use model::read_system;
use model::system::{Channel, ChannelKind, Need, PortEnd, RegionOwner};
use quantity::{Duration, PartitionId};

fn system(mut files: Files) -> System {
    let reading = read_system("system.toml", &mut files);
    assert_eq!(rendered(&reading), "");
    reading.system.expect("a system")
}

/// Name, kind, title, ends, size, and the longest age or the least time between batches in milliseconds.
const CHANNELS: &str = "\
CH01 S StopDemand STOP.estop -> PROP.arb: 8 B, refresh 25
CH02 S Attitude NAVF.imu -> SONR.ping, COLA.assess: 64 B, refresh 20
CH03 S PosState NAVF.fuse -> TRAK.guid, COLA.assess, SONR.ping, MAIN.log: 128 B, refresh 40
CH04 S NavIntegrity NAVF.integ -> STOP.superv, COLA.assess: 32 B, refresh 150
CH05 S TrackDemand TRAK.guid -> PROP.arb: 32 B, refresh 40
CH06 S AvoidDemand COLA.decide -> TRAK.guid: 64 B, refresh 100
CH07 S TrackTable OBJT.trk -> COLA.assess: 6144 B, refresh 100
CH08 S ModeState TRAK.modem -> COLA.assess, SONR.ping: 16 B, refresh 200
CH09 Q ShoreCommand LINK.crypto -> TRAK.modem: 256 B, 50 depth 8
CH10 S ShoreHeartbeat LINK.hb -> STOP.superv: 16 B, refresh 150
CH11 S PowerLimit ENGM.bms -> PROP.alloc: 24 B, refresh 40
CH12 S EngineState ENGM.engine -> PROP.alloc: 48 B, refresh 75
CH13 Q PingRecord SONR.ping -> RECD.writer: 24576 B, 20 depth 6
CH14 Q BeamSet SONR.beam -> BATH.clean: 8192 B, 20 depth 12
CH15 Q CleanSoundings BATH.clean -> RECD.writer: 65536 B, 100 depth 2
CH16 S SoundSpeed SONR.svp -> BATH.clean: 512 B, refresh 150
CH17 S SurveyQuality BATH.qc -> LINK.tx: 1024 B, refresh 200
CH18 Q EventReport MAIN.log -> LINK.tx: 256 B, 100 depth 4
CH19 Q SupervisorEvent STOP.superv -> MAIN.log: 64 B, 10 depth 32
CH20 S ThrusterState PROP.ctrl -> STOP.superv, ENGM.engine: 32 B, refresh 20
CH21 S PropDiagnostics PROP.diag -> MAIN.log: 512 B, refresh 150
CH22 S EnergyTrend ENGM.trend -> LINK.tx: 256 B, refresh 200
CH23 S SafeState STOP.superv -> LINK.tx, TRAK.modem: 16 B, refresh 20
CH24 Q AisTarget OBJT.ais -> COLA.assess: 128 B, 100 x4 depth 12
";

fn ms(time: Duration) -> u64 {
    assert!(time.ns().is_multiple_of(1_000_000));
    time.ns() / 1_000_000
}

fn end(system: &System, end: PortEnd) -> String {
    let PortEnd::Task(task) = end else { panic!("every end of the vessel is a task") };
    system.task_label(task)
}

fn line(system: &System, channel: &Channel) -> String {
    let (kind, numbers) = match &channel.kind {
        ChannelKind::Sampling { refresh } => ("S", format!("refresh {}", ms(refresh.expect("a refresh").value))),
        ChannelKind::Queuing { depth, min_interarrival, batch, .. } => {
            let every = ms(min_interarrival.expect("a time between batches").value);
            let times = if batch.value == 1 { String::new() } else { format!(" x{}", batch.value) };
            ("Q", format!("{every}{times} depth {}", depth.value))
        }
    };
    let to: Vec<_> = channel.destinations.iter().map(|to| end(system, to.value)).collect();
    let (name, title) = (&channel.name.value, channel.title.as_deref().unwrap_or_default());
    let (from, to, size) = (end(system, channel.source.value), to.join(", "), channel.size.get());
    format!("{name} {kind} {title} {from} -> {to}: {size} B, {numbers}\n")
}

#[test]
fn channels() {
    let system = system(vessel());
    assert_eq!(system.channels.len(), 24);
    assert_eq!(system.channels.iter().map(|channel| line(&system, channel)).collect::<String>(), CHANNELS);
    let checked: Vec<_> = system.channels.iter().filter(|c| !c.checks.is_empty()).map(|c| &*c.name.value).collect();
    // Those that flow up in level, for which the description asks for a check by the consumer.
    let upward = ["CH04", "CH05", "CH07", "CH08", "CH09", "CH10", "CH11", "CH12", "CH20", "CH24"];
    assert_eq!(checked, upward);
}

/// Name, need in milliseconds, and the tasks with the channels that lead to them.
const CHAINS: &str = "\
E1 reaction 60: STOP.estop -CH01> PROP.arb -> PROP.ctrl
E2 reaction 350: OBJT.radar -> OBJT.trk -CH07> COLA.assess -> COLA.decide -CH06> TRAK.guid -CH05> PROP.arb -> PROP.ctrl
E3 data age 40: NAVF.imu -CH02> SONR.ping
E4 reaction 150: NAVF.imu -> NAVF.fuse -CH03> TRAK.guid -CH05> PROP.arb -> PROP.ctrl
E5 reaction 400: LINK.rx -> LINK.crypto -CH09> TRAK.modem -> TRAK.guid -CH05> PROP.arb -> PROP.ctrl
E6 reaction 250: SONR.ping -CH13> RECD.writer
E7 reaction 120: ENGM.bms -CH11> PROP.alloc -> PROP.ctrl
";

#[test]
fn chains() {
    let system = system(vessel());
    let lines = system.chains.iter().map(|chain| {
        let need = match chain.need {
            Need::Reaction(time) => format!("reaction {}", ms(time.value)),
            Need::DataAge(time) => format!("data age {}", ms(time.value)),
        };
        let steps = chain.steps.iter().enumerate().map(|(at, step)| {
            let via = step.via.map(|channel| system.channel(channel).name.value.clone()).unwrap_or_default();
            let arrow = if at == 0 { String::new() } else { format!(" -{via}> ") };
            arrow + &system.task_label(step.task.value)
        });
        format!("{} {need}: {}\n", chain.name.value, steps.collect::<String>())
    });
    assert_eq!(lines.collect::<String>(), CHAINS);
}

fn names(system: &System, partitions: &[diagnostic::Located<PartitionId>]) -> String {
    partitions.iter().map(|id| &*system.partition(id.value).name.value).collect::<Vec<_>>().join(" ")
}

#[test]
fn boot() {
    let system = system(vessel());
    let boot = system.boot.as_ref().expect("a boot");
    // 94 MiB at 80 MiB/s are 1175 ms, so the first frame begins at 1545 ms.
    let stage = |at: usize| {
        let load = boot.stages[at].load.map(|(size, rate)| size.get() * 1_000 / rate.bytes_per_s());
        boot.stages[at].time.map_or(0, |time| ms(time.value)) + load.unwrap_or(0)
    };
    assert_eq!((stage(0), stage(1), stage(2)), (250, 1175, 120));
    let before = |at: usize| boot.stages[at].after.iter().map(|after| after.value).collect::<Vec<_>>();
    assert_eq!([before(0), before(1), before(2)], [vec![], vec![0], vec![1]]);
    let needs: Vec<_> =
        boot.needs.iter().map(|need| (names(&system, &need.partitions), ms(need.within.value))).collect();
    let all = "STOP NAVF PROP ENGM TRAK OBJT COLA SONR RECD LINK BATH MAIN";
    let expected = [("STOP NAVF PROP", 2000), ("TRAK OBJT COLA", 3500), (all, 4500)];
    assert_eq!(needs, expected.map(|(names, within)| (names.to_owned(), within)));
    assert!(boot.needs.iter().all(|need| need.from_reset));
}

#[test]
fn flow_policy() {
    let system = system(vessel());
    let flow = system.flow.as_ref().expect("a policy");
    let zone = |id: quantity::ZoneId| &*system.zones[id.index()].name.value;
    let rules = flow.rules.iter().map(|rule| {
        let via = rule.via.map(|task| format!(" via {}", system.task_label(task.value))).unwrap_or_default();
        format!("{} -> {}{via}\n", zone(rule.from.value), zone(rule.to.value))
    });
    let expected = "Z-SAFE -> Z-AUTON\nZ-SAFE -> Z-SURVEY\nZ-SAFE -> Z-EXT\nZ-AUTON -> Z-SAFE via TRAK.guid\n\
        Z-AUTON -> Z-SURVEY\nZ-SURVEY -> Z-EXT\n";
    assert_eq!(rules.collect::<String>(), expected);
    let exceptions = flow.exceptions.iter().map(|it| &*system.channel(it.channel.value).name.value);
    assert_eq!(exceptions.collect::<Vec<_>>(), ["CH09", "CH10"]);
    let filters = flow.filters.iter().map(|(task, _)| system.task_label(task.value));
    assert_eq!(filters.collect::<Vec<_>>(), ["TRAK.modem", "STOP.superv"]);
}

#[test]
fn health_table() {
    let system = system(vessel());
    let health = system.health.as_ref().expect("a table");
    let entries =
        health.entries.iter().map(|e| format!("{:?} {:?} {:?}\n", e.level.value, e.error.value, e.action.value));
    let expected = "Process DeadlineMissed Handler\nProcess ApplicationError RestartProcess\n\
        Process NumericError RestartProcess\nPartition MemoryViolation WarmStart\nPartition IllegalRequest WarmStart\n\
        Partition StackOverflow WarmStart\nModule HardwareFault ModuleReset\nModule PowerFail ModuleShutdown\n";
    assert_eq!(entries.collect::<String>(), expected);
    let climbs = health
        .escalations
        .iter()
        .map(|e| (&*e.from.value, e.count.value, ms(e.window.value), format!("{:?}", e.to.value)));
    let expected = [
        ("deadline missed", 3, 1_000, "WarmStart"),
        ("warm start", 3, 60_000, "ColdStart"),
        ("cold start", 2, 600_000, "Stop"),
    ];
    assert_eq!(
        climbs.collect::<Vec<_>>(),
        expected.map(|(from, count, window, to)| (from, count, window, to.to_owned()))
    );
}

#[test]
fn memory_and_growth() {
    let system = system(vessel());
    let regions = system.regions.iter().map(|region| (&*region.name.value, region.size.get() >> 20, region.owner));
    let expected = [("hypervisor", 32, RegionOwner::Hypervisor), ("port buffers", 8, RegionOwner::Hypervisor)];
    assert_eq!(regions.collect::<Vec<_>>(), expected);
    let shares = system.growth_rules.iter().map(|rule| rule.at_least.get());
    assert_eq!(shares.collect::<Vec<_>>(), [300_000, 300_000]);
    assert_eq!(system.schedules.iter().map(|schedule| &*schedule.name.value).collect::<Vec<_>>(), ["main"]);
    assert!(system.network.is_none());
    let accepted = system.accepted.iter().map(|accepted| &*accepted.claim.value);
    assert_eq!(accepted.collect::<Vec<_>>(), ["criticality/chain/E2", "criticality/chain/E4", "channel/complete"]);
}

/// A row of the table of channels as a table of TOML. Of all cells only some checks are quoted, and those come last.
fn channel(columns: &[&str], row: &str) -> String {
    let mut keys = String::from("[[channel]]\n");
    for (column, cell) in columns.iter().zip(row.splitn(columns.len(), ',')) {
        let cell = cell.trim_matches('"');
        let list = |cell: &str| cell.split("; ").map(|end| format!("\"{end}\"")).collect::<Vec<_>>().join(", ");
        keys += &match *column {
            _ if cell.is_empty() => continue,
            "depth" | "batch" => format!("{column} = {cell}\n"),
            "to" => format!("to = [{}]\n", list(cell)),
            _ => format!("{column} = \"{cell}\"\n"),
        };
    }
    keys
}

#[test]
fn channels_in_a_table_and_in_the_file_are_equal_in_rights() {
    let from_table = system(vessel());
    let mut files = vessel();
    let table = text(&files, "channels.csv");
    let mut lines = table.lines();
    let columns: Vec<_> = lines.next().expect("a header").split(',').collect();
    let channels: String = lines.map(|row| channel(&columns, row)).collect();
    let file = text(&files, "system.toml").replace("channels = [\"channels.csv\"]\n", "") + "\n" + &channels;
    files.remove("channels.csv");
    files.insert("system.toml".into(), file.into_bytes());
    let from_file = system(files);
    assert_eq!(from_table.digest(), from_file.digest());
    let json = |system: &System| serde_json::to_value(system).expect("JSON");
    assert_eq!(json(&from_table), json(&from_file));
}
