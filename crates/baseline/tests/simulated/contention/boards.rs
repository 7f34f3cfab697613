//! Boards that look drawn, of one to four cores.

use super::parsed;
use model::System;
use plan::Plan;
use std::fmt::Write;

/// What limits how much others can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    Jobs,
    Windows,
    Both,
    /// The rates and bursts of devices.
    Devices,
}

/// Numbers that look drawn: a linear congruential generator, common practice.
pub struct Chance(pub u64);

impl Chance {
    pub fn within(&mut self, from: u64, to: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        from + (self.0 >> 33) % (to - from + 1)
    }
}

const FRAME_US: u64 = 10_000;

/// A board of that many cores, each with up to two partitions of up to two tasks. A line takes 50 ns.
pub fn drawn_board(chance: &mut Chance, cores: u64, by: By) -> (System, Plan) {
    let head = if matches!(by, By::Jobs | By::Devices) { 0 } else { chance.within(0, 30) };
    let mut system = format!(
        "[system]\nname = \"S\"\nframe = \"{FRAME_US} us\"\ndeadlines_hold_in = \"any phase\"\n[board]\nname = \"B\"\n\
         [board.interconnect]\nline = \"64 B\"\nguaranteed = \"1280 MB/s\"\narbitration = \"round-robin\"\n\
         waiting = \"window-overlap\"\n\
         [platform]\nswitch = \"{head} us\"\nrefill = \"{head} us\"\ncontext_switch = \"2 us\"\nrelease_jitter = \"3 us\"\n\
         nonpreemptable = \"{} us\"\nsynchronised = true\n",
        chance.within(0, 20)
    );
    if by == By::Devices {
        let (rate, burst) = (chance.within(10, 300), chance.within(1, 256));
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.interconnect.master]]\nname = \"DMA\"\n[[board.device]]\nname = \"D\"\ndma_stream = \"1\"\n\
             dma_rate = \"{rate} MB/s\"\ndma_burst = \"{burst} KiB\"\n"
        );
    }
    let mut plan = String::new();
    for core in 0..cores {
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.core]]\nname = \"{core}\"\n[[board.interconnect.master]]\nname = \"core{core}\"\ncore = \"{core}\"\n"
        );
        let middle = chance.within(3_000, 7_000);
        let windows = match by {
            By::Jobs | By::Devices => vec![(0, FRAME_US)],
            By::Windows | By::Both => vec![(0, middle), (middle, FRAME_US - chance.within(0, 2_000))],
        };
        for (number, (start, end)) in windows.into_iter().enumerate() {
            let trusted = by != By::Windows || core == 0;
            system += &partition(chance, (core, number), (end - start, trusted));
            let _ = write!(
                plan,
                "[[window]]\ncore = \"{core}\"\npartition = \"P{core}{number}\"\nstart = \"{start} us\"\nlength = \"{} us\"\n",
                end - start
            );
        }
    }
    parsed(&system, &plan)
}

/// A partition whose tasks use about half of its window, and ask for memory in up to all of that.
fn partition(chance: &mut Chance, (core, number): (u64, usize), (window, trusted): (u64, bool)) -> String {
    let untrusted = if trusted { "" } else { "untrusted = true\n" };
    let mut text = format!(
        "[[partition]]\nname = \"P{core}{number}\"\nguest = \"fixed priority\"\ncores = [\"{core}\"]\n{untrusted}"
    );
    text += &tasks(chance, window, None);
    text
}

/// One or two tasks that use about half of a window, as their form has them.
fn tasks(chance: &mut Chance, window: u64, form: Option<Form>) -> String {
    let mut text = String::new();
    for task in 0..chance.within(1, 2) {
        let frames = chance.within(1, 3);
        let wcet = chance.within(window / 20, window / 8) * frames;
        let requests = wcet * 20 * chance.within(0, 100) / 100;
        let priority = if form == Some(Form::Deadline) { String::new() } else { format!("priority = {}\n", 9 - task) };
        // Writing to a text cannot fail.
        let _ = write!(
            text,
            "[[partition.task]]\nname = \"t{task}\"\nperiod = \"{} us\"\ndeadline = \"{} us\"\n{priority}\
             wcet = \"{wcet} us\"\nbcet = \"{} us\"\nline_requests = {requests}\n",
            frames * FRAME_US,
            frames * FRAME_US * 4,
            wcet / 2,
        );
        if form == Some(Form::InPhase) {
            let _ = write!(text, "release = \"frame-aligned\"\noffset = \"{} us\"\n", chance.within(0, FRAME_US));
        }
    }
    text
}

/// How partitions choose among their jobs, and how they have their time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Windows, arrivals in the frame's phase.
    InPhase,
    /// Windows, cooperative guests.
    Cooperative,
    /// Windows, earliest deadline first.
    Deadline,
    /// Budget servers on core 0.
    Servers,
    /// Shares on core 0.
    Shares,
    /// A core of one's own each on the cores 0 and 1, windows on others.
    Dedicated,
    /// Windows, and an interrupt on core 0 that is handled at once.
    Interrupted,
    /// Windows, and bandwidth budgets that may run out.
    Stalled,
    /// Windows, those of one partition on two cores, one after the other.
    Moving,
    /// Windows, those of two virtual cores of one partition on two cores, tasks pinned to each.
    Pinned,
}

/// Where the window on a second core begins.
const MOVED_US: u64 = 7_200;

impl Form {
    fn guest(self) -> &'static str {
        match self {
            Self::Cooperative => "cooperative",
            Self::Deadline => "EDF",
            _ => "fixed priority",
        }
    }

    /// The policy of a core's set.
    fn policy(self, core: u64) -> &'static str {
        match (self, core) {
            (Self::Servers, 0) => "policy = \"budget server\"",
            (Self::Shares, 0) => "policy = \"proportional share\"\nquantum = \"200 us\"",
            (Self::Dedicated, 0 | 1) => "policy = \"dedicated\"",
            _ => "policy = \"window table\"\nsynchronised = true",
        }
    }

    /// How much of a core each of its partitions has, and where that begins, in us.
    fn parts(self, chance: &mut Chance, core: u64) -> Vec<(u64, u64)> {
        let middle = chance.within(4_000, 6_000);
        match (self, core) {
            (Self::Dedicated, 0 | 1) => vec![(0, FRAME_US)],
            (Self::Moving | Self::Pinned, _) => vec![(0, middle), (middle, MOVED_US - 200)],
            _ => vec![(0, middle), (middle, FRAME_US - chance.within(500, 2_000))],
        }
    }
}

/// A board of that many cores of a form. A line takes 50 ns.
pub fn board_of(chance: &mut Chance, cores: u64, form: Form) -> (System, Plan) {
    let phase = if form == Form::InPhase { "frame phase" } else { "any phase" };
    let mut system = format!(
        "[system]\nname = \"S\"\nframe = \"{FRAME_US} us\"\ndeadlines_hold_in = \"{phase}\"\n[board]\nname = \"B\"\n\
         [board.interconnect]\nline = \"64 B\"\nguaranteed = \"1280 MB/s\"\narbitration = \"round-robin\"\n\
         waiting = \"window-overlap\"\n\
         [platform]\nswitch = \"5 us\"\nrefill = \"5 us\"\ncontext_switch = \"2 us\"\nrelease_jitter = \"3 us\"\n\
         nonpreemptable = \"{} us\"\n",
        chance.within(0, 20)
    );
    let mut plan = String::new();
    let one_set = matches!(form, Form::Moving | Form::Pinned);
    if one_set {
        let names: Vec<_> = (0..cores).map(|core| format!("\"{core}\"")).collect();
        // Writing to a text cannot fail.
        let _ = write!(system, "[[core_set]]\nname = \"all\"\ncores = [{}]\n{}\n", names.join(", "), form.policy(0));
    }
    for core in 0..cores {
        let policy = form.policy(core);
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.core]]\nname = \"{core}\"\n[[board.interconnect.master]]\nname = \"core{core}\"\ncore = \"{core}\"\n"
        );
        if !one_set {
            let _ = write!(system, "[[core_set]]\nname = \"{core}\"\ncores = [\"{core}\"]\n{policy}\n");
        }
        for (number, (start, end)) in form.parts(chance, core).into_iter().enumerate() {
            let (name, length) = (format!("P{core}{number}"), end - start);
            let home = match (form, core, number) {
                (Form::Servers, 0, _) => {
                    format!(
                        "cores = [\"0\"]\nserver = {{ budget = \"{} us\", period = \"{FRAME_US} us\" }}\n",
                        length - 100
                    )
                }
                (Form::Shares, 0, _) => format!("cores = [\"0\"]\nshare = {{ share = {length} }}\n"),
                (Form::Moving, 0, 0) => String::new(),
                (Form::Pinned, 0, 0) => "cores = [\"0\", \"1\"]\nvirtual_cores = 2\n".to_owned(),
                _ => format!("cores = [\"{core}\"]\n"),
            };
            let _ = write!(system, "[[partition]]\nname = \"{name}\"\nguest = \"{}\"\n{home}", form.guest());
            let tasks_here = tasks(chance, length, Some(form));
            let on_virtual_core =
                |tasks: &str, core: u64| tasks.replace("priority", &format!("virtual_core = {core}\npriority"));
            system += &match (form, core, number) {
                (Form::Pinned, 0, 0) => {
                    let others = tasks(chance, 2_000, Some(form)).replace("\"t", "\"u");
                    on_virtual_core(&tasks_here, 0) + &on_virtual_core(&others, 1)
                }
                _ => tasks_here,
            };
            let mut window = |core: u64, start: u64, length: u64, virtual_core: u64| {
                let _ = write!(
                    plan,
                    "[[window]]\ncore = \"{core}\"\npartition = \"{name}\"\nstart = \"{start} us\"\nlength = \"{length} us\"\n\
                     virtual_core = {virtual_core}\n"
                );
            };
            if policy.contains("window table") {
                window(core, start, length, 0);
            }
            if one_set && (core, number) == (0, 0) {
                window(1, MOVED_US, 2_000, u64::from(form == Form::Pinned));
            }
        }
    }
    if form == Form::Interrupted {
        let gap = chance.within(300, 900);
        // Writing to a text cannot fail.
        let _ = write!(
            system,
            "[[board.device]]\nname = \"D\"\nowner = \"P00\"\n\
             interrupt = [{{ line = \"40\", core = \"0\", policy = \"immediate\", min_interarrival = \"{gap} us\", handler = \"20 us\" }}]\n"
        );
    }
    if form == Form::Stalled {
        system += "[platform.regulation]\nperiod = \"100 us\"\n";
        for core in 0..cores {
            // Writing to a text cannot fail.
            let _ =
                write!(plan, "[[bandwidth]]\nmaster = \"core{core}\"\nbudget = \"{} MB/s\"\n", chance.within(200, 640));
        }
    }
    parsed(&system, &plan)
}
