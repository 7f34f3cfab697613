//! How long it takes to stop a process and to let it go on, by the two means that the kernel has for it.

use crate::{clock, cpus};
use anyhow::{Context, Result, bail};
use rustix::process::{Pid, Signal, getpid, kill_process};
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::SeqCst};

/// A means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Means {
    /// SIGSTOP and SIGCONT.
    Signals,
    /// The freezer of a control group of version 2.
    Freezer,
}

/// What a number of rounds took, in nanoseconds, in order of size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Latency {
    /// From asking to the last time that the process looked at the clock.
    pub stop_ns: Vec<u64>,
    /// From asking to the first time that it did again.
    pub go_on_ns: Vec<u64>,
}

/// How long a process is left running, and stopped, in each round.
const HALF_NS: u64 = 3_000_000;
/// A look at the clock that comes so late was behind a stop.
const GAP_NS: u64 = 1_000_000;

/// Measures a means in so many rounds, with a process of `program` that is started by `word` and looks at the clock.
///
/// # Errors
/// Why the means cannot be had.
pub fn measure(means: Means, program: &Path, word: &str, rounds: usize) -> Result<Latency> {
    let child = Command::new(program).args([word, "--spin"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
    let mut spinner = Spinner { child, group: None };
    let cpu = cpus::ours().last().copied().context("the kernel does not say on which cpus this program may run")?;
    cpus::pin(cpu)?;
    let real_time = cpus::Rank::Dispatcher.take();
    if means == Means::Freezer {
        spinner.group = Some(Freezer::take(&spinner.child)?);
    }
    spinner.tell(&format!("{} {cpu} {real_time}", getpid().as_raw_nonzero()))?;
    let mut asked = Vec::with_capacity(rounds);
    clock::sleep_until(clock::now_ns() + 20 * HALF_NS);
    for _ in 0..rounds {
        let stop = clock::now_ns();
        spinner.stop()?;
        clock::sleep_until(stop + HALF_NS);
        let go_on = clock::now_ns();
        spinner.go_on()?;
        asked.push((stop, go_on));
        clock::sleep_until(go_on + HALF_NS);
    }
    let gaps = spinner.end()?;
    Ok(latency(&asked, &gaps))
}

/// What the process does that is stopped: it looks at the clock, and tells of each gap once its input ends.
///
/// # Errors
/// Input that is not ours.
pub fn spin() -> Result<()> {
    let mut line = String::new();
    std::io::stdin().read_line(&mut line)?;
    let words: Vec<&str> = line.split_whitespace().collect();
    let [parent, cpu, real_time] = words[..] else { bail!("this is for `cofferdam rehearse` only, which starts it") };
    rustix::process::set_parent_process_death_signal(Some(Signal::KILL))?;
    if rustix::process::getppid().map(|parent| parent.as_raw_nonzero().to_string()).as_deref() != Some(parent) {
        bail!("the process that started this one is gone");
    }
    let ended = Arc::new(AtomicBool::new(false));
    let seen = Arc::clone(&ended);
    // It listens from before the loop has its cpu and its rank, which leave nobody else a turn.
    std::thread::spawn(move || {
        let _ = std::io::stdin().read_line(&mut String::new());
        seen.store(true, SeqCst);
    });
    cpus::pin(cpu.parse()?)?;
    let _ = real_time == "true" && cpus::Rank::Load.take();
    let (mut gaps, mut last) = (Vec::new(), clock::now_ns());
    while !ended.load(SeqCst) {
        let now = clock::now_ns();
        if now - last > GAP_NS {
            gaps.push((last, now));
        }
        last = now;
    }
    let mut out = std::io::stdout().lock();
    for (from, to) in gaps {
        writeln!(out, "{from} {to}")?;
    }
    Ok(())
}

/// Each asking beside the gap that it made.
fn latency(asked: &[(u64, u64)], gaps: &[(u64, u64)]) -> Latency {
    let (mut stop_ns, mut go_on_ns) = (Vec::new(), Vec::new());
    for (stop, go_on) in asked {
        let Some((last, first)) = gaps.iter().find(|(_, first)| first > go_on) else { continue };
        stop_ns.push(last.saturating_sub(*stop));
        go_on_ns.push(first - go_on);
    }
    stop_ns.sort_unstable();
    go_on_ns.sort_unstable();
    Latency { stop_ns, go_on_ns }
}

struct Spinner {
    child: Child,
    group: Option<Freezer>,
}

impl Spinner {
    fn tell(&mut self, line: &str) -> Result<()> {
        let input = self.child.stdin.as_mut().context("the process has no input")?;
        writeln!(input, "{line}").and_then(|()| input.flush()).context("the process does not listen")
    }

    fn stop(&self) -> Result<()> {
        match &self.group {
            Some(group) => group.freeze("1"),
            None => Ok(kill_process(Pid::from_child(&self.child), Signal::STOP)?),
        }
    }

    fn go_on(&self) -> Result<()> {
        match &self.group {
            Some(group) => group.freeze("0"),
            None => Ok(kill_process(Pid::from_child(&self.child), Signal::CONT)?),
        }
    }

    /// Ends it, and reads the gaps that it saw.
    fn end(mut self) -> Result<Vec<(u64, u64)>> {
        self.tell("end")?;
        let output = self.child.stdout.take().context("the process has no output")?;
        let mut gaps = Vec::new();
        for line in BufReader::new(output).lines() {
            let line = line?;
            let (from, to) = line.split_once(' ').context("the process says something else")?;
            gaps.push((from.parse()?, to.parse()?));
        }
        Ok(gaps)
    }
}

impl Drop for Spinner {
    fn drop(&mut self) {
        // The group can be removed once nobody is in it.
        let _ = self.go_on();
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A control group with one process in it.
struct Freezer {
    folder: PathBuf,
}

impl Freezer {
    fn take(child: &Child) -> Result<Self> {
        let mut roots = ["/sys/fs/cgroup", "/sys/fs/cgroup/unified"].map(Path::new).into_iter();
        let root = roots.find(|root| root.join("cgroup.controllers").is_file());
        let root = root.context("no control groups of version 2 are mounted")?;
        let folder = root.join(format!("cofferdam-rehearsal-{}", std::process::id()));
        fs::create_dir(&folder).with_context(|| format!("cannot make {}", folder.display()))?;
        let group = Self { folder };
        group.set("cgroup.procs", &child.id().to_string())?;
        Ok(group)
    }

    fn freeze(&self, value: &str) -> Result<()> {
        self.set("cgroup.freeze", value)
    }

    fn set(&self, file: &str, value: &str) -> Result<()> {
        let path = self.folder.join(file);
        fs::write(&path, value).with_context(|| format!("cannot write {}", path.display()))
    }
}

impl Drop for Freezer {
    fn drop(&mut self) {
        // A killed process leaves its group a moment later.
        for _ in 0..50 {
            if fs::remove_dir(&self.folder).is_ok() {
                return;
            }
            clock::sleep_until(clock::now_ns() + 1_000_000);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_asking_is_beside_its_own_gap() {
        let found = latency(&[(100, 200), (300, 400)], &[(105, 230), (302, 410)]);
        assert_eq!(found, Latency { stop_ns: vec![2, 5], go_on_ns: vec![10, 30] });
    }
}
