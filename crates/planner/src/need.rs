//! What any plan must give a virtual core, whatever the shape of its windows: the ground of every proof that no plan exists.
//!
//! Computes: window time of a frame, with less of which the declared budget falls short or some deadline is missed.
//! Source: own construction. The work of a level must be done; and where a task may be released in any phase, every span
//! of its deadline holds its first job and one job of each more urgent task, so the mean of all such spans does too.
//! Assumptions: those of the responses that judge the plan.
//! Symbols: `Q` usable time of a frame `F`, `C'`, `T`, `D`, `J`, `B` of a task, all in ns.
//! `Q >= sum of C' F / T`; released in any phase `Q >= F (B + C' + sum of (floor(J_j / T_j) + 1) C'_j) / (D - J)`.
//! One head at the least comes on top, but for a window that fills the frame.
//! Invariants and why it ends: one pass over the tasks for each of them; sums are rounded down and the result up.
//! Checked by: all window tables of small systems, in `tests/`.

use crate::workload::Workload;
use timing::Task;

/// The least usable time of a frame that the tasks can do with, in ns.
pub(crate) fn least_usable_ns(workload: &Workload, frame_ns: u64) -> u64 {
    match workload {
        Workload::Nothing | Workload::Unknown(_) => 0,
        Workload::Share { rate, .. } => ceil_share(u128::from(rate.get()) * u128::from(frame_ns), 1_000_000),
        Workload::Tasks { tasks, set, .. } => {
            let in_any_phase = if set.all_frame_aligned() { 0 } else { spans_ns(tasks, frame_ns) };
            sum_ns(tasks, frame_ns).max(in_any_phase)
        }
    }
}

/// Parts of a ns in which fractions are added.
const PARTS: u128 = 1 << 20;

/// The work of a frame in the long run. All times are at most 2^53 ns, so no product passes 128 bits.
fn sum_ns(tasks: &[Task], frame_ns: u64) -> u64 {
    let share = |task: &Task| u128::from(task.charged_ns) * u128::from(frame_ns) * PARTS / u128::from(task.period_ns);
    ceil_share(tasks.iter().map(share).sum(), PARTS)
}

/// What the hardest span of a deadline asks of every frame.
fn spans_ns(tasks: &[Task], frame_ns: u64) -> u64 {
    let of = |task: &Task| {
        let urgent = tasks.iter().filter(|other| other.priority > task.priority);
        let jobs = |task: &Task| u128::from(task.jitter_ns / task.period_ns + 1) * u128::from(task.charged_ns);
        let blocking_ns = match tasks.iter().any(|other| other.priority < task.priority) {
            true => u128::from(task.blocking_ns),
            false => 0,
        };
        let work_ns = urgent.map(jobs).sum::<u128>() + u128::from(task.charged_ns) + blocking_ns;
        // A deadline within the jitter is missed under every supply, and said so before.
        let span_ns = u128::from(task.deadline_ns.saturating_sub(task.jitter_ns)).max(1);
        ceil_share(work_ns.saturating_mul(u128::from(frame_ns)), span_ns)
    };
    tasks.iter().map(of).max().unwrap_or(0)
}

fn ceil_share(amount: u128, of: u128) -> u64 {
    u64::try_from(amount.div_ceil(of)).unwrap_or(u64::MAX)
}
