//! The process that stands for one virtual core of a partition: it takes its orders, says that it is ready, and executes jobs
//! until the rehearsal is over.

mod arrivals;
mod mishaps;

use crate::load::{Memory, Work};
use crate::orders::{Input, Orders, Output, Subject, Turns};
use crate::ports::Ports;
use crate::record::{Entry, Log};
use crate::{clock, cpus};
use anyhow::{Context, Result, bail};
use arrivals::Arrivals;
use mishaps::Mishaps;
use rustix::process::{Signal, getppid, set_parent_process_death_signal};
use simulator::draw::{Draw, Purpose};
use std::collections::BTreeMap;
use std::ffi::CString;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, Write};
use trace::event::Word;

/// What a process says once it waits for its first frame.
pub const READY: &str = "ready";
/// The longest orders that are read: a line of this many bytes.
const MOST_BYTES: u64 = 64 << 20;
/// A thread that does not look at the clock for so long was stopped, or somebody else had its cpu.
const AWAY_NS: u64 = 50_000;

/// Serves one virtual core: reads orders and the first frame's instant, a line each, from standard input.
///
/// # Errors
/// Orders that cannot be read, and what the machine does not let the process have.
pub fn serve() -> Result<()> {
    let mut lines = std::io::BufReader::new(std::io::Read::take(std::io::stdin(), MOST_BYTES)).lines();
    let orders: Orders =
        serde_json::from_str(&lines.next().context("no orders came")??).context("orders are not understood")?;
    let place = &orders.place;
    set_parent_process_death_signal(Some(Signal::KILL))?;
    if getppid().map(|parent| parent.as_raw_nonzero().get()) != Some(place.parent) {
        bail!("this command is for `cofferdam rehearse` only, which starts it");
    }
    cpus::pin(place.cpu).with_context(|| format!("cannot stay on cpu {}", place.cpu))?;
    rustix::thread::set_name(&CString::new(place.name.clone())?)?;
    let log =
        OpenOptions::new().append(true).open(&orders.log).context("cannot open the memory for what is recorded")?;
    let ports = Ports::open(&orders.slots, &orders.pipes).context("cannot open the ports")?;
    let memory = Memory::of_jobs();
    let mut out = std::io::stdout();
    writeln!(out, "{READY}").and_then(|()| out.flush())?;
    let base_ns =
        lines.next().context("no first frame came")??.trim().parse().context("the first frame is no instant")?;
    if place.real_time && !cpus::Rank::Load.take() {
        bail!("the kernel took back the right to real-time priority");
    }
    Lane::new(orders, base_ns, log, ports, memory).run();
    Ok(())
}

/// A job that has been released and has not completed.
#[derive(Debug)]
struct Job {
    task: usize,
    number: u64,
    arrival_ns: u64,
    /// `None` until it starts.
    work: Option<Work>,
}

struct Lane {
    orders: Orders,
    base_ns: u64,
    end_ns: u64,
    draw: Draw,
    log: Log<File>,
    ports: Ports,
    memory: Memory,
    arrivals: Arrivals,
    mishaps: Mishaps,
    ready: Vec<Job>,
    /// Who executes, as recorded, and which of its jobs.
    running: Option<(Subject, Option<u64>)>,
    /// When the clock was last looked at.
    last_ns: u64,
    /// How many messages each channel has taken, and how often each input was read or had no room: several at one instant are
    /// told apart by their numbers.
    messages: BTreeMap<(Word, Subject), u64>,
}

impl Lane {
    fn new(orders: Orders, base_ns: u64, log: File, ports: Ports, memory: Memory) -> Self {
        let draw = Draw::of(orders.seed, 0);
        Self {
            base_ns,
            end_ns: base_ns.saturating_add(orders.span_ns),
            draw,
            log: Log::new(log),
            ports,
            memory,
            arrivals: Arrivals::new(&orders.tasks, draw),
            mishaps: Mishaps::new(&orders.faults, base_ns),
            ready: Vec::new(),
            running: None,
            last_ns: clock::now_ns(),
            messages: BTreeMap::new(),
            orders,
        }
    }

    fn run(mut self) {
        clock::sleep_until(self.base_ns);
        if self.orders.start.is_some() {
            self.initialise();
        }
        while self.now() < self.end_ns && !self.log.is_full() {
            let now = self.last_ns;
            self.mishaps.begin(now);
            self.send_floods(now);
            self.release(now);
            match (self.pick(), self.orders.turns) {
                (Some(index), _) => self.execute(index),
                (None, Turns::All) => self.take_all(),
                (None, _) => self.rest(),
            }
        }
        self.runs(None);
    }

    /// Looks at the clock. Where somebody was said to execute and did not since, that is recorded.
    fn now(&mut self) -> u64 {
        let now = clock::now_ns();
        if let Some((who, number)) = self.running.filter(|_| now.saturating_sub(self.last_ns) > AWAY_NS) {
            let core = self.orders.place.core;
            self.log.put(Entry::on(core, self.last_ns, Word::Idles, None, None));
            self.log.put(Entry::on(core, now, Word::Runs, Some(who), number));
        }
        self.last_ns = now;
        now
    }

    /// Says who executes from now on, where that changes.
    fn runs(&mut self, who: Option<(Subject, Option<u64>)>) {
        let now = self.now();
        if self.running != who {
            let word = if who.is_some() { Word::Runs } else { Word::Idles };
            let (subject, number) = who.map_or((None, None), |(subject, number)| (Some(subject), number));
            self.log.put(Entry::on(self.orders.place.core, now, word, subject, number));
            self.running = who;
        }
    }

    /// Executes the initialisation of a restart; what arrived before its end is gone.
    fn initialise(&mut self) {
        let Some(start) = self.orders.start else { return };
        let partition = self.orders.place.partition;
        let inputs: Vec<Input> = self.orders.tasks.iter().flat_map(|task| &task.reads).copied().collect();
        inputs.iter().for_each(|input| self.ports.clear(input.port));
        self.runs(Some((partition, None)));
        let mut work = Work::new(start.load_ns, 0);
        self.spin(&mut work, self.end_ns);
        self.runs(None);
        let now = self.last_ns;
        self.log.put(Entry::of(now, Word::Operational, partition, None));
        if let Some(fault) = start.ends {
            self.log.put(Entry::of(now, Word::FaultEnds, fault, None));
        }
        self.arrivals.skip_to(&self.orders.tasks, self.draw, now.saturating_sub(self.base_ns));
    }

    /// Executes a piece of work until it is done or an instant comes.
    fn spin(&mut self, work: &mut Work, until_ns: u64) {
        let before = clock::executed_ns().saturating_sub(work.done_ns);
        while !work.is_done() && self.now() < until_ns {
            work.step(&mut self.memory);
            work.done_ns = clock::executed_ns().saturating_sub(before);
        }
    }

    fn release(&mut self, now: u64) {
        let due_ns = self.mishaps.ticks_until(now).saturating_sub(self.base_ns);
        for (task, arrival) in self.arrivals.take_due(&self.orders.tasks, self.draw, due_ns) {
            let arrival_ns = self.base_ns.saturating_add(arrival.at_ns);
            if let Some(declared) = self.orders.tasks.get(task) {
                self.log.put(Entry::of(arrival_ns, Word::Arrives, declared.who, Some(arrival.number)));
                self.ready.push(Job { task, number: arrival.number, arrival_ns, work: None });
            }
        }
    }

    /// The ready job whose turn it is.
    fn pick(&self) -> Option<usize> {
        let urgency = |job: &Job| {
            let task = self.orders.tasks.get(job.task);
            let priority = task.map_or(0, |task| task.priority);
            let deadline = task.map_or(u64::MAX, |task| job.arrival_ns.saturating_add(task.deadline_ns));
            let first = match self.orders.turns {
                Turns::Priority | Turns::All => (0, u64::from(u32::MAX - priority)),
                Turns::Cooperative => (u8::from(job.work.is_none()), u64::from(u32::MAX - priority)),
                Turns::Deadline => (0, deadline),
            };
            (first, job.arrival_ns, job.task)
        };
        (0..self.ready.len()).min_by_key(|index| urgency(&self.ready[*index]))
    }

    /// Executes the job until it completes or something else may be due.
    fn execute(&mut self, index: usize) {
        let Some(job) = self.ready.get(index) else { return };
        let (task, number, begun) = (job.task, job.number, job.work);
        let who = self.orders.tasks[task].who;
        self.runs(Some((who, Some(number))));
        let mut work = begun.unwrap_or_else(|| self.start(task, number));
        self.spin(&mut work, self.next_due());
        if work.is_done() {
            self.complete(index);
        } else {
            self.ready[index].work = Some(work);
        }
    }

    /// A job starts: it reads, and its execution time is drawn.
    fn start(&mut self, task: usize, number: u64) -> Work {
        let declared = &self.orders.tasks[task];
        let inputs: Vec<Input> = declared.reads.clone();
        let (least, most) = declared.execution_ns;
        let drawn = self.draw.between(Purpose::Execution, declared.number, number, least, most);
        let lines = declared.lines;
        for input in inputs {
            self.ports.read(input.port);
            self.tell_of_message(Word::Reads, input.who);
        }
        Work::new(self.mishaps.execution_ns(task, drawn, most, self.last_ns), lines)
    }

    fn complete(&mut self, index: usize) {
        let job = self.ready.swap_remove(index);
        let Some(task) = self.orders.tasks.get(job.task) else { return };
        let who = task.who;
        for output in 0..task.writes.len() {
            if !self.mishaps.is_silent(job.task, output, self.last_ns) {
                self.write(job.task, output, job.number);
            }
        }
        let now = self.now();
        self.log.put(Entry::of(now, Word::Completes, who, Some(job.number)));
        if let Some(fault) = self.mishaps.overrun_ended_by(job.task) {
            self.log.put(Entry::of(now, Word::FaultEnds, fault, None));
        }
    }

    /// Writes one batch to a channel.
    fn write(&mut self, task: usize, output: usize, number: u64) {
        let Some(Output { who, batch, to }) =
            self.orders.tasks.get(task).and_then(|task| task.writes.get(output)).cloned()
        else {
            return;
        };
        for _ in 0..batch {
            self.tell_of_message(Word::Writes, who);
            for input in &to {
                if !self.ports.write(input.port, [number.saturating_add(1), self.last_ns]) {
                    self.tell_of_message(Word::Overflows, input.who);
                }
            }
        }
    }

    fn tell_of_message(&mut self, word: Word, who: Subject) {
        let counter = self.messages.entry((word, who)).or_default();
        self.log.put(Entry::of(self.last_ns, word, who, Some(*counter)));
        *counter += 1;
    }

    fn send_floods(&mut self, now: u64) {
        for message in self.mishaps.messages_due(now) {
            match message {
                mishaps::Message::Send { task, output } => self.write(task, output, 0),
                mishaps::Message::Over(fault) => self.log.put(Entry::of(now, Word::FaultEnds, fault, None)),
            }
        }
    }

    /// Nothing is known of what executes: everything is taken, until something may be due.
    fn take_all(&mut self) {
        self.runs(Some((self.orders.place.partition, None)));
        let mut work = Work::new(u64::MAX, 0);
        self.spin(&mut work, self.next_due());
    }

    fn rest(&mut self) {
        self.runs(None);
        clock::sleep_until(self.next_due());
    }

    /// The next instant at which a job may be released, a message of a fault is due, or all is over.
    fn next_due(&self) -> u64 {
        let release = self.arrivals.next_ns().map_or(u64::MAX, |at| self.base_ns.saturating_add(at));
        self.mishaps.release_at(release).min(self.mishaps.next_ns(self.last_ns)).min(self.end_ns)
    }
}
