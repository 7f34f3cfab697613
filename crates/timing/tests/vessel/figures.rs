//! The survey vessel's figures, typed from its page: times in us, as there.

use timing::supply::{Interval, WindowSupply};
use timing::{Release, Task, TaskSet};

pub const FRAME_US: u64 = 100_000;
/// Four other masters, 50 ns a line each.
pub const LINE_REQUEST_NS: u64 = 200;
const BLOCKING_US: u64 = 60;
const JITTER_US: u64 = 10;
/// Two context switches of 4 us a job.
const SWITCHES_US: u64 = 8;

pub struct TaskRow {
    pub name: &'static str,
    pub period_us: u64,
    pub priority: i64,
    pub execution_us: u64,
    pub line_requests: u64,
    pub charged_us: u64,
    pub response_us: u64,
}

pub struct PartitionRow {
    pub name: &'static str,
    /// Start and length of every window of the frame.
    pub windows: &'static [(u64, u64)],
    pub utilisation_per_mille: u64,
    pub blackout_us: u64,
    /// The largest common factor of all charged times, rounded down.
    pub growth_per_mille: u64,
    pub tasks: &'static [TaskRow],
}

/// The vessel, or what one of its seeded changes makes of it.
pub struct Variant {
    pub line_request_ns: u64,
    pub head_us: u64,
    /// Factor on the charged times of one partition.
    pub growth_per_mille: (&'static str, u64),
    /// Other windows of one partition.
    pub windows: Option<(&'static str, &'static [(u64, u64)])>,
    pub release: Release,
}

impl Default for Variant {
    fn default() -> Self {
        Self {
            line_request_ns: LINE_REQUEST_NS,
            head_us: 40,
            growth_per_mille: ("", 1000),
            windows: None,
            release: Release::FreeRunning,
        }
    }
}

impl Variant {
    pub fn charged_ns(&self, task: &TaskRow) -> u64 {
        us(task.execution_us + SWITCHES_US) + task.line_requests * self.line_request_ns
    }

    pub fn system(&self, partition: &PartitionRow) -> (WindowSupply, TaskSet) {
        (self.supply(partition), TaskSet::new(&self.tasks(partition)).expect("the page's tasks"))
    }

    pub fn tasks(&self, partition: &PartitionRow) -> Vec<Task> {
        let factor = if self.growth_per_mille.0 == partition.name { self.growth_per_mille.1 } else { 1000 };
        let task = |row: &TaskRow| Task {
            priority: row.priority,
            period_ns: us(row.period_us),
            deadline_ns: us(row.period_us),
            charged_ns: self.charged_ns(row) * factor / 1000,
            jitter_ns: us(JITTER_US),
            blocking_ns: us(BLOCKING_US),
            release: self.release,
        };
        partition.tasks.iter().map(task).collect()
    }

    fn supply(&self, partition: &PartitionRow) -> WindowSupply {
        let windows = match self.windows {
            Some((name, windows)) if name == partition.name => windows,
            _ => partition.windows,
        };
        let usable = |&(start_us, length_us): &(u64, u64)| Interval {
            start_ns: us(start_us + self.head_us),
            end_ns: us(start_us + length_us),
        };
        WindowSupply::new(us(FRAME_US), &windows.iter().map(usable).collect::<Vec<_>>()).expect("the page's table")
    }
}

pub fn us(us: u64) -> u64 {
    us * 1000
}

pub fn partition(name: &str) -> &'static PartitionRow {
    PARTITIONS.iter().find(|partition| partition.name == name).expect("a partition of the page")
}

const fn row(
    name: &'static str,
    period_us: u64,
    priority: i64,
    [execution_us, line_requests, charged_us, response_us]: [u64; 4],
) -> TaskRow {
    TaskRow { name, period_us, priority, execution_us, line_requests, charged_us, response_us }
}

pub const PARTITIONS: &[PartitionRow] = &[
    PartitionRow {
        name: "STOP",
        windows: &[
            (0, 1_000),
            (10_000, 1_000),
            (20_000, 1_000),
            (30_000, 1_000),
            (40_000, 1_000),
            (50_000, 1_000),
            (60_000, 1_000),
            (70_000, 1_000),
            (80_000, 1_000),
            (90_000, 1_000),
        ],
        utilisation_per_mille: 788,
        blackout_us: 9_040,
        growth_per_mille: 1_267,
        tasks: &[
            row("estop", 10_000, 3, [180, 400, 268, 9_378]),
            row("superv", 10_000, 2, [260, 500, 368, 9_746]),
            row("selftest", 100_000, 1, [900, 1_500, 1_208, 39_922]),
        ],
    },
    PartitionRow {
        name: "NAVF",
        windows: &[
            (1_000, 2_600),
            (11_000, 2_600),
            (21_000, 2_600),
            (31_000, 2_600),
            (41_000, 2_600),
            (51_000, 2_600),
            (61_000, 2_600),
            (71_000, 2_600),
            (81_000, 2_600),
            (91_000, 2_600),
        ],
        utilisation_per_mille: 816,
        blackout_us: 7_440,
        growth_per_mille: 1_225,
        tasks: &[
            row("imu", 10_000, 4, [520, 1_200, 768, 8_278]),
            row("fuse", 20_000, 3, [1_450, 3_000, 2_058, 18_544]),
            row("gnss", 100_000, 2, [1_100, 2_500, 1_608, 38_626]),
            row("integ", 100_000, 1, [900, 2_000, 1_308, 39_874]),
        ],
    },
    PartitionRow {
        name: "PROP",
        windows: &[
            (3_600, 2_600),
            (13_600, 2_600),
            (23_600, 2_600),
            (33_600, 2_600),
            (43_600, 2_600),
            (53_600, 2_600),
            (63_600, 2_600),
            (73_600, 2_600),
            (83_600, 2_600),
            (93_600, 2_600),
        ],
        utilisation_per_mille: 835,
        blackout_us: 7_440,
        growth_per_mille: 1_197,
        tasks: &[
            row("ctrl", 10_000, 4, [760, 1_500, 1_068, 8_578]),
            row("arb", 20_000, 3, [300, 600, 428, 9_006]),
            row("alloc", 20_000, 2, [900, 1_800, 1_268, 18_782]),
            row("diag", 100_000, 1, [1_600, 3_000, 2_208, 39_642]),
        ],
    },
    PartitionRow {
        name: "ENGM",
        windows: &[(6_200, 1_500), (26_200, 1_500), (46_200, 1_500), (66_200, 1_500), (86_200, 1_500)],
        utilisation_per_mille: 842,
        blackout_us: 18_540,
        growth_per_mille: 1_186,
        tasks: &[
            row("bms", 20_000, 3, [420, 900, 608, 19_218]),
            row("engine", 50_000, 2, [500, 1_000, 708, 19_926]),
            row("trend", 100_000, 1, [1_200, 2_400, 1_688, 79_706]),
        ],
    },
    PartitionRow {
        name: "TRAK",
        windows: &[(0, 2_000), (20_000, 2_000), (40_000, 2_000), (60_000, 2_000), (80_000, 2_000)],
        utilisation_per_mille: 807,
        blackout_us: 18_040,
        growth_per_mille: 1_238,
        tasks: &[
            row("guid", 20_000, 3, [520, 1_100, 748, 18_858]),
            row("line", 50_000, 2, [900, 2_000, 1_308, 38_954]),
            row("modem", 100_000, 1, [1_100, 2_200, 1_548, 79_326]),
        ],
    },
    PartitionRow {
        name: "OBJT",
        windows: &[(2_000, 8_200), (22_000, 8_200), (42_000, 8_200), (62_000, 8_200), (82_000, 8_200)],
        utilisation_per_mille: 805,
        blackout_us: 11_840,
        growth_per_mille: 1_034,
        tasks: &[
            row("radar", 50_000, 4, [3_600, 12_000, 6_008, 17_918]),
            row("cam", 50_000, 3, [4_000, 14_000, 6_808, 36_566]),
            row("trk", 50_000, 2, [1_800, 5_500, 2_908, 39_474]),
            row("ais", 100_000, 1, [900, 2_500, 1_408, 92_066]),
        ],
    },
    PartitionRow {
        name: "COLA",
        windows: &[(10_200, 3_800), (30_200, 3_800), (50_200, 3_800), (70_200, 3_800), (90_200, 3_800)],
        utilisation_per_mille: 832,
        blackout_us: 16_240,
        growth_per_mille: 1_200,
        tasks: &[
            row("assess", 50_000, 3, [2_600, 7_000, 4_008, 36_558]),
            row("decide", 50_000, 2, [1_500, 3_500, 2_208, 38_766]),
            row("rules", 100_000, 1, [2_200, 5_000, 3_208, 96_850]),
        ],
    },
    PartitionRow {
        name: "SONR",
        windows: &[(0, 9_000), (20_000, 9_000), (40_000, 9_000), (60_000, 9_000), (80_000, 9_000)],
        utilisation_per_mille: 928,
        blackout_us: 11_040,
        growth_per_mille: 1_076,
        tasks: &[
            row("ping", 20_000, 3, [1_800, 9_000, 3_608, 14_718]),
            row("beam", 20_000, 2, [2_300, 11_000, 4_508, 19_226]),
            row("svp", 100_000, 1, [700, 1_500, 1_008, 39_330]),
        ],
    },
    PartitionRow {
        name: "RECD",
        windows: &[(9_000, 4_000), (29_000, 4_000), (49_000, 4_000), (69_000, 4_000), (89_000, 4_000)],
        utilisation_per_mille: 835,
        blackout_us: 16_040,
        growth_per_mille: 1_196,
        tasks: &[
            row("writer", 50_000, 3, [2_400, 10_000, 4_408, 36_558]),
            row("index", 50_000, 2, [1_200, 4_000, 2_008, 38_566]),
            row("flush", 100_000, 1, [2_500, 6_000, 3_708, 96_750]),
        ],
    },
    PartitionRow {
        name: "LINK",
        windows: &[(0, 3_000), (20_000, 3_000), (40_000, 3_000), (60_000, 3_000), (80_000, 3_000)],
        utilisation_per_mille: 725,
        blackout_us: 17_040,
        growth_per_mille: 1_317,
        tasks: &[
            row("rx", 20_000, 4, [500, 1_500, 808, 17_918]),
            row("tx", 20_000, 3, [450, 1_500, 758, 18_676]),
            row("crypto", 50_000, 2, [900, 2_000, 1_308, 19_984]),
            row("hb", 100_000, 1, [200, 400, 288, 38_818]),
        ],
    },
    PartitionRow {
        name: "BATH",
        windows: &[(3_000, 14_000), (23_000, 14_000), (43_000, 14_000)],
        utilisation_per_mille: 843,
        blackout_us: 46_040,
        growth_per_mille: 1_185,
        tasks: &[
            row("clean", 100_000, 3, [9_000, 35_000, 16_008, 68_158]),
            row("grid", 100_000, 2, [8_000, 30_000, 14_008, 88_206]),
            row("qc", 100_000, 1, [3_500, 9_000, 5_308, 93_454]),
        ],
    },
    PartitionRow {
        name: "MAIN",
        windows: &[(63_000, 10_000)],
        utilisation_per_mille: 795,
        blackout_us: 90_040,
        growth_per_mille: 1_256,
        tasks: &[
            row("log", 100_000, 2, [1_500, 3_000, 2_108, 92_218]),
            row("load", 100_000, 1, [4_000, 9_000, 5_808, 97_966]),
        ],
    },
];
