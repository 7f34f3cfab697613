//! The machine's cpus and priorities: which cpu stands for which core, and what the kernel lets us have.

use rustix::thread::{CpuSet, sched_getaffinity, sched_setaffinity};
use thread_priority::unix::{
    NormalThreadSchedulePolicy, RealtimeThreadSchedulePolicy, ThreadSchedulePolicy, set_thread_priority_and_policy,
    thread_native_id,
};
use thread_priority::{ThreadPriority, ThreadPriorityValue};

/// Who goes before whom among the threads of a rehearsal; larger is more urgent. All stay far below what the kernel's own
/// threads may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rank {
    /// Begins and ends windows.
    Dispatcher,
    /// Executes jobs.
    Load,
    /// Starts processes and lets faults happen: before everybody else on the machine, but never before a job.
    Conductor,
}

impl Rank {
    const fn priority(self) -> u8 {
        match self {
            Self::Dispatcher => 50,
            Self::Load => 30,
            Self::Conductor => 20,
        }
    }

    /// Gives the calling thread this rank by fixed real-time priority. Whether the kernel lets us.
    pub fn take(self) -> bool {
        let Ok(value) = ThreadPriorityValue::try_from(self.priority()) else { return false };
        let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
        set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Crossplatform(value), policy).is_ok()
    }
}

/// Takes the calling thread back to where everybody is, behind everybody.
pub fn take_no_rank() {
    let policy = ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Batch);
    // A thread that stays where it was is only more urgent than it need be.
    let _ = set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Min, policy);
}

/// Keeps the calling thread on one cpu.
pub fn pin(cpu: usize) -> std::io::Result<()> {
    let mut set = CpuSet::new();
    set.set(cpu);
    sched_setaffinity(None, &set).map_err(Into::into)
}

/// The cpus on which we may run.
pub fn ours() -> Vec<usize> {
    sched_getaffinity(None).map(|set| (0..CpuSet::MAX_CPU).filter(|cpu| set.is_set(*cpu)).collect()).unwrap_or_default()
}

/// Whether the kernel keeps a share of each cpu for everybody else, however much a real-time thread wants.
pub fn is_throttled() -> bool {
    let path = "/proc/sys/kernel/sched_rt_runtime_us";
    std::fs::read_to_string(path).is_ok_and(|text| text.trim().parse::<i64>().is_ok_and(|time| time >= 0))
}

/// The cpu that stands for each of so many cores: one of its own where there are enough, and the first one left to the rest of
/// the machine where there are more.
pub fn stand_in(cores: usize, cpus: &[usize]) -> Vec<usize> {
    let spare = usize::from(cpus.len() > cores);
    let used = cpus.get(spare..).unwrap_or_default();
    used.iter().copied().cycle().take(if used.is_empty() { 0 } else { cores }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_core_has_a_cpu_of_its_own_where_there_are_enough() {
        assert_eq!(stand_in(2, &[0, 1]), [0, 1]);
        assert_eq!(stand_in(2, &[0, 1, 2, 5]), [1, 2]);
        assert_eq!(stand_in(3, &[4, 6]), [4, 6, 4]);
        assert!(stand_in(2, &[]).is_empty());
    }
}
