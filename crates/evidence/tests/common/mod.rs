//! A small system, a plan and verdicts of every status, made by hand.

#![allow(dead_code, reason = "each test binary uses its part")]

mod claims;

#[allow(unused_imports, reason = "each test binary uses its part")]
pub use claims::{claims, made_of, whole_dossier, whole_system};

use claim::{Assumption, Basis, Growth, Kind, Relation, Segment, Status, Unit, Verdict, Witness, WitnessRelease};
use diagnostic::{Diagnostic, Located, Sources, Span, codes};
use evidence::{Dossier, Inputs, ValidationRow};
use jiff::civil::{Date, date};
use model::system::*;
use model::{Digest, System};
use plan::{BandwidthBudget, CoreTable, Placed, Placement, Plan, ScheduleTable, WayGrant, WayHolder, Window};
use quantity::*;
use std::sync::Arc;
use timing::claims::SupplyCurve;

/// The names that a reader must see as text, never as markup.
pub const HOSTILE: &str = "<b>&\"'";

pub const TEXT: &str = "# a system\nname = \"tiny\"\n";

pub fn sources() -> Sources {
    let mut sources = Sources::new();
    sources.add("system.toml", TEXT);
    sources
}

/// A place in the second line of the only text.
pub fn span() -> Span {
    let mut sources = Sources::new();
    Span::new(sources.add("", ""), 11..15)
}

/// Something wrong with an input.
pub fn error() -> Diagnostic {
    Diagnostic::new(&codes::input::TOML_SYNTAX, span(), "no such key")
}

pub fn at<T>(value: T) -> Located<T> {
    Located::new(value, span())
}

pub fn us(us: u64) -> Duration {
    Duration::from_us(us)
}

pub fn ms(ms: u64) -> Duration {
    Duration::from_ms(ms)
}

pub fn core(name: &str) -> Core {
    Core { name: at(name.into()), clock_hz: Some(1_500_000_000), active: true }
}

pub fn partition(name: &str, level: usize, zone: usize, period: Duration, ram_mib: u64) -> Partition {
    Partition {
        name: at(name.into()),
        function: None,
        supplier: None,
        level: Some(at(level)),
        zone: Some(at(ZoneId::new(zone))),
        role: Role::Guest,
        guest: at(Guest::FixedPriority),
        virtual_cores: at(1),
        grant: Some(RunGrant::Windows { period: at(period), budget: None }),
        core_set: None,
        cores: vec![],
        apart_from: vec![],
        together_with: vec![],
        deadline_phase: None,
        ram: Some(at(Bytes::from_mib(ram_mib))),
        reserved_as: None,
        image: None,
        heap: None,
        ram_margin: None,
        guard: None,
        working_set: None,
        useful_lines: None,
        evicting_lines: None,
        restart: None,
        schedule_change: None,
        never_stops: false,
        untrusted: false,
        built_by: None,
        build_time: None,
        locking: None,
        tasks: vec![],
    }
}

pub fn task(partition: usize, name: &str, period: Duration, wcet: Duration, class: Option<ProvenanceClass>) -> Task {
    let provenance =
        |class| at(Provenance { class, measured_max: None, samples: None, source: Some("sheet 1".into()) });
    Task {
        name: at(name.into()),
        partition: PartitionId::new(partition),
        period: at(period),
        deadline: at(period),
        priority: Some(at(1)),
        wcet: Some(at(wcet)),
        bcet: None,
        provenance: class.map(provenance),
        line_requests: Some(at(100)),
        peak_rate: None,
        sensitivity: None,
        stress: None,
        jitter: None,
        blocking: None,
        sections: vec![],
        release: at(Release::FreeRunning),
        sporadic: false,
        exchange: Exchange::StartFinish,
        output_jitter: None,
        stack: None,
        virtual_core: None,
    }
}

pub fn channel(name: &str, from: usize, to: usize, kind: ChannelKind) -> Channel {
    Channel {
        name: at(name.into()),
        title: Some("State".into()),
        kind,
        size: at(Bytes::new(64)),
        source: at(PortEnd::Task(TaskId::new(from))),
        destinations: vec![at(PortEnd::Task(TaskId::new(to)))],
        checks: vec![],
        forwarded: false,
        measures: None,
        passes_on: None,
    }
}

pub fn board(cores: usize) -> Board {
    let mut masters: Vec<_> =
        (0..cores).map(|n| Master { name: at(format!("core{n}")), core: Some(CoreId::new(n)) }).collect();
    masters.push(Master { name: at("DMA".into()), core: None });
    Board {
        name: at("B-2".into()),
        address_bits: 64,
        cores: (0..cores).map(|n| core(&n.to_string())).collect(),
        caches: vec![Cache {
            name: at("L2".into()),
            level: 2,
            size: at(Bytes::from_mib(2)),
            ways: at(16),
            slices: None,
            line: at(Bytes::new(64)),
            cores: (0..cores).map(CoreId::new).collect(),
            partitionable: true,
            coloured: None,
        }],
        memories: vec![Memory {
            name: at("RAM".into()),
            base: at(Address::new(0x8000_0000)),
            size: at(Bytes::from_mib(4096)),
            granule: Bytes::new(4096),
            placeable: true,
        }],
        interconnect: Some(Interconnect {
            line: at(Bytes::new(64)),
            guaranteed: at(Rate::from_bytes_per_s(1_280_000_000)),
            peak: None,
            arbitration: at(Arbitration::RoundRobin),
            waiting: None,
            masters,
        }),
        devices: vec![],
        shared: vec![],
        settings: vec![],
        devicetree: None,
    }
}

pub fn system() -> System {
    let sampling = ChannelKind::Sampling { refresh: Some(at(ms(25))) };
    System {
        name: at("tiny".into()),
        description: None,
        plan: None,
        frame: at(ms(20)),
        deadline_phase: DeadlinePhase::Any,
        levels: vec![at("low".into()), at("high".into())],
        board: board(2),
        platform: Platform {
            switch: Some(at(us(15))),
            refill: Some(at(us(25))),
            provenance: Some(at("platform sheet 2".into())),
            ..Platform::default()
        },
        core_sets: vec![],
        zones: vec![Zone { name: at("Z-A".into()), target: None }, Zone { name: at("Z-B".into()), target: None }],
        partitions: vec![
            partition("SAFE", 1, 0, ms(10), 4),
            partition("WORK", 0, 1, ms(20), 256),
            partition(HOSTILE, 0, 1, ms(20), 64),
        ],
        tasks: vec![
            task(0, "stop", ms(10), us(200), Some(ProvenanceClass::StaticAnalysis)),
            task(1, "run", ms(20), us(1600), Some(ProvenanceClass::Estimate)),
            Task { wcet: None, ..task(2, "log", ms(20), us(1), None) },
        ],
        regions: vec![Region {
            name: at("buffers".into()),
            size: at(Bytes::from_mib(8)),
            owner: RegionOwner::Shared,
            owner_rights: None,
            access: vec![],
            writable_code: None,
            protocol: None,
            measures: None,
            guard: None,
            reserved_as: None,
        }],
        channels: vec![channel("CH01", 0, 1, sampling)],
        chains: vec![Chain {
            name: at("E1".into()),
            title: Some("stop".into()),
            steps: vec![
                ChainStep { task: at(TaskId::new(0)), via: None },
                ChainStep { task: at(TaskId::new(1)), via: Some(ChannelId::new(0)) },
            ],
            need: Need::Reaction(at(ms(60))),
            before: None,
            after: None,
        }],
        schedules: vec![ModuleSchedule { name: at("S1".into()), title: None, changes: vec![], may_follow: vec![] }],
        network: None,
        flow: None,
        boot: None,
        health: None,
        milestone: Some(at("delivery".into())),
        robust_partitioning: None,
        growth_rules: vec![],
        containments: vec![],
        accepted: vec![],
    }
}

pub fn accepted(claim: &str, until: Date) -> Accepted {
    Accepted {
        claim: at(claim.into()),
        reason: at("new sheet promised".into()),
        owner: at("J. Doe".into()),
        until: at(until),
    }
}

pub fn window(partition: usize, start_us: u64, length_us: u64) -> Window {
    Window {
        partition: PartitionId::new(partition),
        virtual_core: 0,
        start: Instant::from_ns(start_us * 1000),
        length: us(length_us),
        pinned: false,
        span: None,
    }
}

pub fn core_table(core: usize, windows: Vec<Window>) -> CoreTable {
    CoreTable { core: CoreId::new(core), windows }
}

pub fn placement(what: Placed, base: u64, mib: u64) -> Placement {
    Placement { what, base: Address::new(base), size: Bytes::from_mib(mib), pinned: false, span: None }
}

pub fn ways(core: usize, mask: u64) -> WayGrant {
    WayGrant { cache: CacheId::new(0), holder: WayHolder::Core(CoreId::new(core)), mask, span: None }
}

pub fn budget(master: usize, mb_per_s: u64) -> BandwidthBudget {
    BandwidthBudget { master, budget: Rate::from_bytes_per_s(mb_per_s * 1_000_000), span: None }
}

pub fn plan_for(made_for: Option<Digest>) -> Plan {
    let cores = vec![
        core_table(0, vec![window(0, 0, 1000), window(1, 1000, 6000), window(0, 10_000, 1000)]),
        core_table(1, vec![window(2, 2000, 8000)]),
    ];
    Plan {
        made_for: made_for.map(at),
        schedules: vec![ScheduleTable { schedule: ScheduleId::new(0), cores }],
        memory: vec![
            placement(Placed::Region(0), 0x8000_0000, 8),
            placement(Placed::Partition(PartitionId::new(0)), 0x8280_0000, 4),
            placement(Placed::Partition(PartitionId::new(1)), 0x8600_0000, 256),
        ],
        cache: vec![ways(0, 0x000f), ways(1, 0xfff0)],
        colours: vec![],
        bandwidth: vec![budget(0, 160), budget(2, 220)],
    }
}

pub fn basis(assumptions: &[Assumption]) -> Basis {
    let source = "Joseph and Pandya 1986, from memory";
    Basis { analysis: "response-time", source, assumptions: assumptions.to_vec() }
}

pub fn verdict(id: &str, kind: Kind, status: Status, bound: u64, limit: u64) -> Verdict {
    Verdict {
        id: id.into(),
        status,
        bound: Some(bound),
        limit: Some(limit),
        reason: None,
        place: Some(span()),
        ..Verdict::not_analysed(kind, id.split_once('/').map_or(id, |(_, s)| s), basis(&[Assumption::InputsValid]), "")
    }
}

pub fn witness() -> Witness {
    let segment = |what: &str, start_ns, end_ns| Segment { what: what.into(), start_ns, end_ns };
    Witness {
        summary: "WORK.run arrives just as its window ends".into(),
        phase_ns: Some(7_000_000),
        releases: vec![WitnessRelease {
            task: "WORK.run".into(),
            job: 0,
            arrival_ns: -10_000,
            release_ns: 0,
            execution_ns: 8_000_000,
        }],
        timeline: vec![
            segment("blackout", 0, 14_040_000),
            segment("WORK.run", 14_040_000, 20_000_000),
            segment("blackout", 20_000_000, 34_040_000),
            segment("WORK.run", 34_040_000, 36_080_000),
        ],
        completes_ns: Some(36_080_000),
    }
}

/// Verdicts of every status, out of order.
pub fn verdicts() -> Vec<Verdict> {
    let violated = Verdict {
        witness: Some(witness()),
        exact: true,
        reason: Some("The second job completes after its deadline.".into()),
        ..verdict("response/WORK.run", Kind::Response, Status::Violated, 36_090_000, 20_000_000)
    };
    let open = Basis { assumptions: vec![Assumption::MapEnforced], ..basis(&[]) };
    let margin = verdict("margin/core/0", Kind::Margin, Status::Shown, 400_000, 300_000);
    vec![
        Verdict { unit: Unit::Ppm, relation: Relation::AtLeast, ..margin },
        Verdict::not_analysed(Kind::Restart, "SAFE/warm", open.clone(), "no detection time is declared"),
        Verdict::not_analysed(Kind::Restart, "SAFE/cold", open.clone(), "no detection time is declared"),
        Verdict::not_analysed(Kind::Boot, "SAFE", open, "no stages are declared"),
        Verdict {
            generic: Some(67_000_000),
            table_aware: Some(34_700_000),
            ..verdict("reaction/E1", Kind::Reaction, Status::Shown, 34_700_000, 60_000_000)
        },
        violated,
        Verdict {
            growth: Some(Growth { charged_ns: 268_000, largest_charged_ns: 300_000 }),
            ..verdict("response/SAFE.stop", Kind::Response, Status::Shown, 9_378_000, 10_000_000)
        },
        Verdict {
            reason: Some("The bound passes the refresh period.".into()),
            ..verdict("refresh/CH01", Kind::Refresh, Status::NotShown, 27_000_000, 25_000_000)
        },
    ]
}

pub fn curve() -> SupplyCurve {
    SupplyCurve {
        partition: "WORK".into(),
        level: "WORK.run".into(),
        blackout_ns: 14_040_000,
        least_supply: vec![(0, 0), (14_040_000, 0), (20_000_000, 5_960_000), (34_040_000, 5_960_000)],
        demand: vec![(0, 1_700_000), (20_000_000, 3_400_000)],
        meets_ns: Some(15_740_000),
    }
}

pub fn validation() -> ValidationRow {
    ValidationRow {
        id: "fp-01".into(),
        title: "Three tasks, R3 = 14".into(),
        what: "response time of task 3".into(),
        source: "Joseph and Pandya 1986, table 1".into(),
        provenance: "from memory".into(),
        kind: "published numbers".into(),
        expected: "14".into(),
        ours: "14".into(),
        agrees: true,
    }
}

/// Whole inputs of a system on 2026-06-30.
pub fn inputs_of(system: System) -> Inputs {
    let plan = plan_for(Some(system.digest()));
    Inputs {
        covert: separation::covert::matrix(&system, &plan),
        exchange: separation::exchange::matrix(&system, &verdicts()),
        tool_version: "0.1.0".into(),
        plan: Some(Arc::new(plan)),
        system: Some(Arc::new(system)),
        sources: Arc::new(sources()),
        verdicts: verdicts(),
        input_digests: vec![("system.toml".into(), Digest::of_bytes(TEXT.as_bytes()))],
        today: Some(date(2026, 6, 30)),
        validation: vec![validation()],
        curves: vec![curve()],
        ..Inputs::default()
    }
}

pub fn dossier_accepting(accepted: Vec<Accepted>) -> Dossier {
    Dossier::compose(inputs_of(System { accepted, ..system() }))
}

pub fn dossier() -> Dossier {
    dossier_accepting(vec![])
}
