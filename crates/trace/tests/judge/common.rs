//! A small system, and recordings of it made by hand.

use diagnostic::{Look, render_text};
use model::{Reading, System, read_system};
use plan::Plan;
use quantity::{ChannelId, CoreId, PartitionId, TaskId};
use std::collections::BTreeMap;
use std::num::NonZeroU32;
use trace::judge::{Allowed, Finding, Judge, Judgement};
use trace::moment::Clock;
use trace::rebuild::Rebuild;
use trace::seen::{Happening, Seen, Who};

/// Two partitions on one core, a frame of 1 ms: `A` has [0, 400) us, `B` [400, 700) us, and `A` again [800, 900) us.
const SYSTEM: &str = r#"
[system]
name = "Pair"
frame = "1 ms"

[board]
name = "board"

[[board.core]]
name = "0"

[platform]
switch = "8 us"
refill = "2 us"
context_switch = "1 us"
release_jitter = "5 us"

[[partition]]
name = "A"
guest = "fixed priority"
period = "1 ms"
budget = "500 us"

[partition.restart]
cold_init = "50 us"
warm_init = "20 us"
detection = "1 ms"
action = "0 ms"
warm_need = "3 ms"
ends_with = "A.work"

[[partition.task]]
name = "work"
period = "1 ms"
deadline = "800 us"
priority = 1
wcet = "100 us"

[[partition]]
name = "B"
guest = "fixed priority"
period = "1 ms"
budget = "300 us"

[[partition.task]]
name = "log"
period = "1 ms"
deadline = "1 ms"
priority = 1
wcet = "50 us"

[[channel]]
name = "VALUE"
kind = "sampling"
size = "8 B"
from = "A.work"
to = ["B.log"]
refresh = "1500 us"

[[channel]]
name = "ORDERS"
kind = "queuing"
size = "8 B"
from = "B.log"
to = ["A.work"]
depth = 2
min_interarrival = "2 ms"
"#;

const PLAN: &str = r#"
[[window]]
core = "0"
partition = "A"
start = "0 us"
length = "400 us"

[[window]]
core = "0"
partition = "B"
start = "400 us"
length = "300 us"

[[window]]
core = "0"
partition = "A"
start = "800 us"
length = "100 us"
"#;

pub fn core() -> CoreId {
    CoreId::new(0)
}

pub fn a() -> PartitionId {
    PartitionId::new(0)
}

pub fn b() -> PartitionId {
    PartitionId::new(1)
}

pub fn work() -> TaskId {
    TaskId::new(0)
}

pub fn log() -> TaskId {
    TaskId::new(1)
}

pub fn system() -> (System, Plan) {
    resolved(SYSTEM, PLAN)
}

/// The system with more in its file.
pub fn system_with(more: &str) -> (System, Plan) {
    resolved(&format!("{SYSTEM}{more}"), PLAN)
}

/// The same system with another plan.
pub fn system_with_plan(plan: &str) -> (System, Plan) {
    resolved(SYSTEM, plan)
}

/// The same system on a board with a second core, which serves nobody.
pub fn two_cores() -> (System, Plan) {
    let cores = "[[board.core]]\nname = \"0\"\n\n[[board.core]]\nname = \"1\"\n";
    resolved(&SYSTEM.replace("[[board.core]]\nname = \"0\"\n", cores), PLAN)
}

fn resolved(system: &str, plan: &str) -> (System, Plan) {
    let mut files = BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]);
    let Reading { mut sources, system, diagnostics } = read_system("system.toml", &mut files);
    let shown = |list: &[diagnostic::Diagnostic], sources: &diagnostic::Sources| -> String {
        list.iter().map(|d| render_text(d, sources, Look::Plain)).collect()
    };
    let system = system.unwrap_or_else(|| panic!("{}", shown(&diagnostics, &sources)));
    let (plan, wrong) = plan::read_plan("plan.toml", plan.as_bytes(), &system, &mut sources);
    let plan = plan.unwrap_or_else(|| panic!("{}", shown(&wrong, &sources)));
    (system, plan)
}

/// A recording under construction: everything happens on the one core, instants in microseconds.
#[derive(Default)]
pub struct Recording {
    pub seen: Vec<Seen>,
}

impl Recording {
    pub fn at(&mut self, us: u64, what: Happening) -> &mut Self {
        self.ns(us * 1000, what)
    }

    pub fn ns(&mut self, at_ns: u64, what: Happening) -> &mut Self {
        self.seen.push(Seen { at_ns, clock: Clock::exact(0), what });
        self
    }

    /// A frame as planned, with one job of each task; the number of the frame counts jobs.
    pub fn frame(&mut self, frame: u64) -> &mut Self {
        let t = frame * 1000;
        self.arrives(t, work(), frame).window(t, t + 400, a(), |recording| {
            recording.runs(t + 10, work());
            recording.at(t + 110, read("ORDERS")).at(t + 110, written("VALUE"));
            recording.completes(t + 110, work(), frame).idles(t + 110);
        });
        self.arrives(t + 400, log(), frame).window(t + 400, t + 700, b(), |recording| {
            recording.runs(t + 410, log());
            recording.at(t + 410, read("VALUE")).at(t + 460, written("ORDERS"));
            recording.completes(t + 460, log(), frame).idles(t + 460);
        });
        self.window(t + 800, t + 900, a(), |_| {})
    }

    pub fn window(&mut self, from: u64, to: u64, partition: PartitionId, within: impl FnOnce(&mut Self)) -> &mut Self {
        self.at(from, Happening::WindowBegins { core: core(), partition });
        within(self);
        self.at(to, Happening::WindowEnds { core: core(), partition })
    }

    pub fn arrives(&mut self, us: u64, task: TaskId, number: u64) -> &mut Self {
        self.at(us, Happening::Arrives { task, number: counted(number) })
    }

    pub fn completes(&mut self, us: u64, task: TaskId, number: u64) -> &mut Self {
        self.at(us, Happening::Completes { task, number: counted(number) })
    }

    pub fn runs(&mut self, us: u64, task: TaskId) -> &mut Self {
        self.at(us, Happening::Runs { core: core(), who: Some(Who::Task(task)), leaves: None })
    }

    pub fn idles(&mut self, us: u64) -> &mut Self {
        self.at(us, Happening::Runs { core: core(), who: None, leaves: None })
    }

    pub fn judged(&self, window_us: u64) -> Judgement {
        self.judged_by(Allowed { window_ns: Some(window_us * 1000), origin_ns: Some(0) })
    }

    pub fn judged_by(&self, allowed: Allowed) -> Judgement {
        self.judged_in(&system(), allowed)
    }

    pub fn judged_in(&self, (system, plan): &(System, Plan), allowed: Allowed) -> Judgement {
        let mut judge = Judge::new(system, plan, allowed);
        let mut rebuild = Rebuild::new(system);
        self.seen.iter().for_each(|seen| rebuild.take(seen, &mut judge));
        rebuild.finish(&mut judge);
        judge.finish()
    }
}

/// Frames as planned, with the recording made by `change` of them.
pub fn frames(count: u64, change: impl FnOnce(&mut Recording)) -> Recording {
    let mut recording = Recording::default();
    (0..count).for_each(|frame| _ = recording.frame(frame));
    change(&mut recording);
    recording.seen.sort_by_key(|seen| seen.at_ns);
    recording
}

pub fn counted(number: u64) -> Option<NonZeroU32> {
    NonZeroU32::new(u32::try_from(number + 1).expect("small"))
}

pub fn written(channel: &str) -> Happening {
    Happening::Writes { channel: self::channel(channel), bytes: None }
}

pub fn read(channel: &str) -> Happening {
    Happening::Reads { channel: self::channel(channel), receiver: 0 }
}

pub fn channel(name: &str) -> ChannelId {
    ChannelId::new(usize::from(name == "ORDERS"))
}

pub fn finding<'a>(judgement: &'a Judgement, id: &str) -> &'a Finding {
    let found = judgement.findings.iter().find(|finding| finding.id() == id);
    found.unwrap_or_else(|| {
        panic!("no finding {id}: {:?}", judgement.findings.iter().map(Finding::id).collect::<Vec<_>>())
    })
}
