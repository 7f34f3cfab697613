//! One process from its beginning to its end, and the memory that outlives it.

use super::FirstLoad;
use crate::lane::READY;
use crate::orders::{Fault, Orders, Place};
use crate::prepare::Prepared;
use crate::record::{Entry, entries};
use anyhow::{Context, Result, bail};
use rustix::fs::{MemfdFlags, ftruncate, memfd_create};
use rustix::pipe::{PipeFlags, fcntl_setpipe_size, pipe_with};
use rustix::process::{Pid, Signal, getpid, kill_process, kill_process_group};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, Write};
use std::os::fd::{AsRawFd, OwnedFd};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// Memory and pipes that all processes share.
#[derive(Debug)]
pub struct Shared {
    slots: OwnedFd,
    /// Both ends of each queue, by its number.
    pipes: BTreeMap<usize, (OwnedFd, OwnedFd)>,
}

impl Shared {
    /// As many sampling ports and queues as are asked for.
    pub fn new(prepared: &Prepared) -> Result<Self> {
        let slots = memory("rehearsal-ports")?;
        ftruncate(&slots, (prepared.slots * crate::ports::MESSAGE) as u64).context("no memory for the ports")?;
        let mut pipes = BTreeMap::new();
        for (number, bytes) in &prepared.pipes {
            let ends = pipe_with(PipeFlags::CLOEXEC | PipeFlags::NONBLOCK).context("no pipe for a queue")?;
            // A smaller one overflows earlier, which was said.
            let _ = fcntl_setpipe_size(&ends.0, usize::try_from(*bytes).unwrap_or(usize::MAX).max(1 << 16));
            pipes.insert(*number, ends);
        }
        Ok(Self { slots, pipes })
    }
}

fn memory(name: &str) -> Result<OwnedFd> {
    memfd_create(name, MemfdFlags::CLOEXEC).context("the kernel gives no memory to share")
}

/// Where a process that we started finds something that we hold open.
fn path_of(held: &OwnedFd) -> PathBuf {
    PathBuf::from(format!("/proc/{}/fd/{}", getpid().as_raw_nonzero(), held.as_raw_fd()))
}

/// What differs from one life of a lane to the next.
pub struct Told {
    pub seed: u64,
    pub span_ns: u64,
    pub start: Option<FirstLoad>,
    pub faults: Vec<Fault>,
    pub cpu: usize,
    pub real_time: bool,
    /// The group of the partition, where it has one.
    pub group: Option<Pid>,
}

/// A process that stands for a virtual core. It is killed when this is dropped.
#[derive(Debug)]
pub struct Life {
    child: Child,
    group: Pid,
    log: OwnedFd,
}

impl Life {
    /// Starts it, and waits until it is ready.
    pub fn begin(
        program: (&Path, &str),
        prepared: &Prepared,
        lane: usize,
        told: Told,
        shared: &Shared,
    ) -> Result<Self> {
        let log = memory("rehearsal-log")?;
        let orders = serde_json::to_string(&orders(prepared, lane, &told, shared, &log))?;
        let mut command = Command::new(program.0);
        command.arg(program.1).stdin(Stdio::piped()).stdout(Stdio::piped());
        command.process_group(told.group.map_or(0, |group| group.as_raw_nonzero().get()));
        let child = command.spawn().context("the program cannot be started again")?;
        let own = Pid::from_child(&child);
        let mut life = Self { child, group: told.group.unwrap_or(own), log };
        life.say(&orders)?;
        life.wait_until_ready()?;
        Ok(life)
    }

    fn say(&mut self, line: &str) -> Result<()> {
        let input = self.child.stdin.as_mut().context("the process has no input")?;
        writeln!(input, "{line}").and_then(|()| input.flush()).context("the process does not listen")
    }

    fn wait_until_ready(&mut self) -> Result<()> {
        let output = self.child.stdout.take().context("the process has no output")?;
        let mut line = String::new();
        BufReader::new(output.take(64)).read_line(&mut line)?;
        if line.trim_end() == READY { Ok(()) } else { bail!("the process ended before it was ready") }
    }

    /// Tells it the instant of the first frame.
    pub fn release(&mut self, base_ns: u64) -> Result<()> {
        self.say(&base_ns.to_string())
    }

    /// The process.
    pub fn process(&self) -> Pid {
        Pid::from_child(&self.child)
    }

    /// The group of its partition.
    pub fn group(&self) -> Pid {
        self.group
    }

    /// Kills it, with all of its group.
    pub fn kill(&self) {
        // One that is gone cannot be killed, and need not be; we have not waited for it, so its number is still its own.
        let _ = kill_process_group(self.group, Signal::KILL);
        let _ = kill_process(self.process(), Signal::KILL);
    }

    /// How it ended, where it did before it was killed and not in order.
    pub fn ended_by_itself(&mut self) -> Option<String> {
        let status = self.child.try_wait().ok().flatten()?;
        (!status.success()).then(|| status.to_string())
    }

    /// Ends it, and gives what it recorded.
    pub fn end(mut self) -> Vec<Entry> {
        self.kill_and_wait();
        let mut bytes = Vec::new();
        let read = self.log.try_clone().map(File::from).and_then(|mut log| {
            log.rewind()?;
            log.read_to_end(&mut bytes)
        });
        // Memory of our own can be read; where not, nothing of it is known, and the jobs without their end show it.
        read.map(|_| entries(&bytes).collect()).unwrap_or_default()
    }

    fn kill_and_wait(&mut self) {
        if matches!(self.child.try_wait(), Ok(None)) {
            let _ = kill_process(self.process(), Signal::KILL);
        }
        let _ = self.child.wait();
    }
}

impl Drop for Life {
    fn drop(&mut self) {
        self.kill_and_wait();
    }
}

fn orders(prepared: &Prepared, lane: usize, told: &Told, shared: &Shared, log: &OwnedFd) -> Orders {
    let plan = &prepared.lanes[lane];
    Orders {
        place: Place {
            parent: getpid().as_raw_nonzero().get(),
            name: plan.thread.clone(),
            cpu: told.cpu,
            real_time: told.real_time,
            core: u16::try_from(plan.core).unwrap_or(u16::MAX),
            partition: prepared.partitions[plan.partition],
        },
        turns: plan.turns,
        tasks: plan.told.clone(),
        seed: told.seed,
        span_ns: told.span_ns,
        faults: told.faults.clone(),
        start: told.start,
        log: path_of(log),
        slots: path_of(&shared.slots),
        pipes: shared.pipes.iter().map(|(number, (ends, _))| (*number, path_of(ends))).collect(),
    }
}
