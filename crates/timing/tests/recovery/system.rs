//! Small systems as text, read and judged as the program does it, and the ticks that their windows leave usable.

use claim::Verdict;
use model::{Reading, System, read_system};
use plan::{Plan, read_plan};
use std::collections::BTreeMap;
use timing::claims::check;

/// What every small system begins with: one board, and a platform of which only the head of windows takes time.
pub fn preamble(frame: u64, head: u64, cores: usize) -> String {
    let mut text = format!("[system]\nname = \"Small\"\nframe = \"{frame} ns\"\n\n[board]\nname = \"B\"\n");
    for core in 0..cores {
        text += &format!("\n[[board.core]]\nname = \"{core}\"\n");
    }
    text + &format!(
        "\n[platform]\nswitch = \"{head} ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"0 ns\"\n\
         nonpreemptable = \"0 ns\"\nsynchronised = true\n"
    )
}

pub fn task(name: &str, period: u64, priority: u32, wcet: u64, release: &str) -> String {
    format!(
        "\n[[partition.task]]\nname = \"{name}\"\nperiod = \"{period} ns\"\npriority = {priority}\nwcet = \"{wcet} ns\"\n\
         line_requests = 0\nrelease = \"{release}\"\n"
    )
}

pub fn window(core: usize, partition: &str, (start, end): (u64, u64)) -> String {
    let length = end - start;
    format!(
        "\n[[window]]\ncore = \"{core}\"\npartition = \"{partition}\"\nstart = \"{start} ns\"\nlength = \"{length} ns\"\n"
    )
}

pub fn read(system: &str, plan: &str) -> (System, Plan) {
    let mut files = BTreeMap::from([("system.toml".to_owned(), system.as_bytes().to_vec())]);
    let Reading { mut sources, system: found, diagnostics } = read_system("system.toml", &mut files);
    let found = found.unwrap_or_else(|| panic!("{diagnostics:?}\n{system}"));
    let (plan, diagnostics) = read_plan("plan.toml", plan.as_bytes(), &found, &mut sources);
    (found, plan.unwrap_or_else(|| panic!("{diagnostics:?}")))
}

pub fn judge(system: &str, plan: &str) -> Vec<Verdict> {
    let (system, plan) = read(system, plan);
    check(&system, &plan)
}

pub fn find<'a>(verdicts: &'a [Verdict], id: &str) -> &'a Verdict {
    let ids = || verdicts.iter().map(|verdict| verdict.id.as_str()).collect::<Vec<_>>();
    verdicts.iter().find(|verdict| verdict.id == id).unwrap_or_else(|| panic!("no verdict {id} among {:?}", ids()))
}

pub fn reason(verdict: &Verdict) -> &str {
    verdict.reason.as_deref().unwrap_or("")
}

/// Tick by tick from the very first one: whether it lies in a window whose head is over. Windows that touch, across
/// the frame's end too, are one and pay one head; at the first tick of all no window has begun yet.
pub fn usable(frame: u64, head: u64, windows: &[(u64, u64)], ticks: u64) -> Vec<bool> {
    let mut since = 0;
    let mut usable = Vec::new();
    for tick in 0..ticks {
        let within = tick % frame;
        let owned = windows.iter().any(|&(start, end)| (start..end).contains(&within));
        since = if owned { since + 1 } else { 0 };
        usable.push(since > head);
    }
    usable
}

/// Numbers that look drawn and are the same in every run.
pub struct Draw(u64);

impl Draw {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(1))
    }

    pub fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % bound
    }

    /// Windows longer than the head, apart by at least a tick, inside the frame; at least one.
    pub fn windows(&mut self, frame: u64, head: u64) -> Vec<(u64, u64)> {
        let mut windows = Vec::new();
        let mut at = self.below(4);
        while at + head < frame {
            let length = (head + 1 + self.below(4)).min(frame - at);
            windows.push((at, at + length));
            at += length + 1 + self.below(5);
        }
        windows
    }
}
