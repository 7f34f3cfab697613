//! Conducts a rehearsal: starts the processes, lets faults happen from outside, and leaves nothing behind.

mod life;

use crate::dispatcher::{Core, Slot};
use crate::faults::{Again, Crash, Mark};
use crate::kernel::Recorder;
use crate::orders::{Fault, Start as FirstLoad, Subject};
use crate::prepare::Prepared;
use crate::record::{Entry, Log};
use crate::recorded::Recorded;
use crate::{clock, cpus};
use anyhow::{Context, Result, bail};
use life::{Life, Shared, Told};
use simulator::event::Start;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering::SeqCst};
use trace::event::Word;

/// The time from the last process's readiness to the first frame.
const LEAD_NS: u64 = 100_000_000;
/// How often the conductor looks whether it is to stop.
const LOOK_UP_NS: u64 = 20_000_000;

/// What is asked for.
pub struct Asked<'a> {
    /// What everybody is told.
    pub prepared: &'a Prepared,
    /// This program, and the word by which it becomes the process of a partition.
    pub program: (&'a Path, &'a str),
    /// The seed of every draw.
    pub seed: u64,
    /// How long it lasts, in nanoseconds.
    pub span_ns: u64,
    /// Whether the user asked to stop.
    pub stopped: &'a (dyn Fn() -> bool + Sync),
}

/// Rehearses. The calling thread waits; nothing is left behind when it returns, however it does.
///
/// # Errors
/// What the machine does not let us have, where nothing can be rehearsed without it.
pub fn rehearse(asked: &Asked<'_>) -> Result<Recorded> {
    // Its own thread, so that the rank ends with it. The kernel kills what it started should it die.
    std::thread::scope(|scope| {
        let conducted = scope.spawn(|| conduct(asked)).join();
        conducted.unwrap_or_else(|_| bail!("internal alarm: the conductor of the rehearsal broke"))
    })
}

/// What this machine gives.
struct Given {
    /// The cpu of each core.
    cpus: Vec<usize>,
    is_folded: bool,
    /// Whether dispatchers have real-time priority, and whether jobs have.
    dispatchers: bool,
    loads: bool,
    remarks: Vec<String>,
}

fn given(prepared: &Prepared) -> Result<Given> {
    let ours = cpus::ours();
    let cores = prepared.cores.len();
    let cpus = cpus::stand_in(cores, &ours);
    if cpus.len() < cores {
        bail!("the kernel does not say on which cpus this program may run");
    }
    let mut remarks = Vec::new();
    let is_folded = ours.len() < cores;
    if is_folded {
        remarks.push(format!(
            "{cores} cores share {} cpus of this machine: windows that the plan has at one time wait for each other here, so \
             windows, responses and ages are worse than the plan; and the kernel's events cannot be told apart by core.",
            ours.len()
        ));
    }
    let dispatchers = cpus::Rank::Conductor.take();
    let loads = dispatchers && cpus::is_throttled();
    if !dispatchers {
        remarks.push(
            "no right to real-time priority: other programs of this machine delay windows and jobs, and what is late may be \
             their doing. Run it with the right to it (CAP_SYS_NICE, or a limit by `ulimit -r` of 50)."
                .to_owned(),
        );
    } else if !loads {
        remarks.push(
            "the kernel keeps no share of a cpu back from real-time threads here, so jobs run without real-time priority, to \
             leave the machine usable: other programs delay them."
                .to_owned(),
        );
    }
    Ok(Given { cpus, is_folded, dispatchers, loads, remarks })
}

fn conduct(asked: &Asked<'_>) -> Result<Recorded> {
    let prepared = asked.prepared;
    let given = given(prepared)?;
    let shared = Shared::new(prepared)?;
    let recorder =
        if given.is_folded { Err("several cores share a cpu".to_owned()) } else { Recorder::start(&given.cpus) };
    let remarks = given.remarks.iter().cloned().chain(recorder.iter().filter_map(Recorder::remark)).collect();
    let slots: Vec<Slot> = prepared.lanes.iter().map(|_| Slot::default()).collect();
    let mut stage = Stage {
        asked,
        given: &given,
        shared: &shared,
        slots: &slots,
        base_ns: 0,
        lives: BTreeMap::new(),
        entries: Vec::new(),
        log: Log::new(Vec::new()),
        remarks,
    };
    let windows = stage.play()?;
    let interrupted = stage.is_stopped();
    stage.strike();
    let kernel = recorder.and_then(Recorder::finish);
    let (mut entries, log) = (stage.entries, stage.log.into_keeper());
    entries.extend(windows.iter().chain(&log));
    entries.sort_by_key(|entry| entry.at_ns);
    Ok(Recorded {
        names: prepared.names.clone(),
        cores: prepared.cores.iter().map(|core| core.name.clone()).collect(),
        cpus: (!given.is_folded).then(|| given.cpus.clone()),
        threads: prepared.lanes.iter().map(|lane| (lane.thread.clone(), prepared.partitions[lane.partition])).collect(),
        entries,
        kernel,
        remarks: stage.remarks,
        interrupted,
    })
}

/// What is to be done at an instant.
#[derive(Debug, Clone, Copy)]
enum Step {
    Say(Mark, Subject),
    Kill(Crash),
    Notice(Crash, Again),
    Release(usize),
}

/// Everything that is there while it is played.
struct Stage<'a> {
    asked: &'a Asked<'a>,
    given: &'a Given,
    shared: &'a Shared,
    slots: &'a [Slot],
    base_ns: u64,
    /// The process of each lane.
    lives: BTreeMap<usize, Life>,
    /// What processes that are gone have recorded.
    entries: Vec<Entry>,
    log: Log<Vec<Entry>>,
    remarks: Vec<String>,
}

impl Stage<'_> {
    fn is_stopped(&self) -> bool {
        (self.asked.stopped)()
    }

    /// Plays the whole rehearsal; what the dispatchers recorded.
    fn play(&mut self) -> Result<Vec<Entry>> {
        let prepared = self.asked.prepared;
        for lane in 0..prepared.lanes.len() {
            self.bring(lane, None)?;
        }
        self.base_ns = clock::now_ns().saturating_add(LEAD_NS);
        for lane in 0..prepared.lanes.len() {
            self.release(lane)?;
        }
        self.log.put(Entry::of(self.base_ns, Word::Frame, prepared.frame, None));
        let (base_ns, end_ns) = (self.base_ns, self.base_ns.saturating_add(self.asked.span_ns));
        let partitions: Vec<Subject> = prepared.lanes.iter().map(|lane| prepared.partitions[lane.partition]).collect();
        let over = AtomicBool::new(false);
        let (slots, given) = (self.slots, self.given);
        std::thread::scope(|scope| {
            let keep = |(number, plan)| {
                let core = Core {
                    plan,
                    number: u16::try_from(number).unwrap_or(u16::MAX),
                    cpu: given.cpus[number],
                    real_time: given.dispatchers,
                    slots,
                    partitions: &partitions,
                };
                let over = &over;
                let keep = move || core.keep((base_ns, end_ns), prepared.frame_ns, over);
                std::thread::Builder::new().spawn_scoped(scope, keep)
            };
            let started: Vec<_> = prepared.cores.iter().enumerate().map(keep).collect();
            let played = if started.iter().all(Result::is_ok) { self.follow(end_ns) } else { Ok(()) };
            over.store(true, SeqCst);
            let mut entries = Vec::new();
            for dispatcher in started {
                let recorded = dispatcher.context("cannot start the thread of a core")?.join();
                entries.extend(recorded.map_err(|_| anyhow::anyhow!("internal alarm: the thread of a core broke"))?);
            }
            played.map(|()| entries)
        })
    }

    /// Does each thing at its instant, until the end or until the user asks to stop.
    fn follow(&mut self, end_ns: u64) -> Result<()> {
        let outside = &self.asked.prepared.outside;
        let mut agenda: Vec<(u64, Step)> = Vec::new();
        agenda.extend(outside.marks.iter().map(|(at, mark, who)| (self.base_ns + at, Step::Say(*mark, *who))));
        agenda.extend(outside.crashes.iter().map(|crash| (self.base_ns + crash.at_ns, Step::Kill(*crash))));
        loop {
            // Of several at one instant the first one that was put there comes first; the list is short.
            let next = agenda.iter().enumerate().min_by_key(|(index, (at, _))| (*at, *index)).map(|(index, _)| index);
            let at_ns = next.map_or(end_ns, |next| agenda[next].0.min(end_ns));
            while clock::now_ns() < at_ns {
                if self.is_stopped() {
                    return Ok(());
                }
                clock::sleep_until(at_ns.min(clock::now_ns().saturating_add(LOOK_UP_NS)));
            }
            let Some(next) = next.filter(|_| at_ns < end_ns) else { return Ok(()) };
            let (at_ns, step) = agenda.remove(next);
            self.step(at_ns, step, &mut agenda)?;
        }
    }

    fn step(&mut self, at_ns: u64, step: Step, agenda: &mut Vec<(u64, Step)>) -> Result<()> {
        let now = clock::now_ns();
        match step {
            // Processes read the same clock, and may have begun already: it began when it was to.
            Step::Say(mark, who) => self.say(at_ns, mark, who),
            Step::Kill(crash) => {
                let was_there = self.kill(crash.partition);
                if let Some(again) = crash.again.filter(|_| was_there) {
                    agenda.push((now.saturating_add(again.detection_ns), Step::Notice(crash, again)));
                } else if crash.again.is_some_and(|again| again.is_last) {
                    self.say(now, Mark::Ends, crash.fault);
                }
            }
            Step::Notice(crash, again) => {
                self.start_again(&crash, &again)?;
                agenda.push((now.saturating_add(again.action_ns), Step::Release(crash.partition)));
            }
            Step::Release(partition) => {
                for lane in self.lanes_of(partition) {
                    self.release(lane)?;
                }
            }
        }
        Ok(())
    }

    fn say(&mut self, at_ns: u64, mark: Mark, who: Subject) {
        let word = match mark {
            Mark::Begins => Word::FaultBegins,
            Mark::Ends => Word::FaultEnds,
        };
        self.log.put(Entry::of(at_ns, word, who, None));
    }

    fn lanes_of(&self, partition: usize) -> Vec<usize> {
        let lanes = self.asked.prepared.lanes.iter().enumerate();
        lanes.filter(|(_, lane)| lane.partition == partition).map(|(index, _)| index).collect()
    }

    /// Kills all processes of a partition; whether there were any.
    fn kill(&mut self, partition: usize) -> bool {
        let lanes = self.lanes_of(partition);
        lanes.iter().filter_map(|lane| self.lives.get(lane)).for_each(Life::kill);
        let now = clock::now_ns();
        let mut were_there = false;
        for lane in lanes {
            let Some(life) = self.lives.remove(&lane) else { continue };
            were_there = true;
            let core = u16::try_from(self.asked.prepared.lanes[lane].core).unwrap_or(u16::MAX);
            if self.slots[lane].is_open() {
                self.log.put(Entry::on(core, now, Word::Idles, None, None));
            }
            self.slots[lane].leave();
            self.entries.extend(life.end());
        }
        were_there
    }

    fn start_again(&mut self, crash: &Crash, again: &Again) -> Result<()> {
        let who = self.asked.prepared.partitions[crash.partition];
        let word = match again.start {
            Start::Warm => Word::RestartsWarm,
            Start::Cold => Word::RestartsCold,
        };
        let now = clock::now_ns();
        self.log.put(Entry::of(now, Word::Noticed, who, None));
        self.log.put(Entry::of(now, word, who, None));
        for (number, lane) in self.lanes_of(crash.partition).into_iter().enumerate() {
            // One of a partition's virtual cores initialises it.
            let (load_ns, ends) = match number {
                0 => (again.load_ns, again.is_last.then_some(crash.fault)),
                _ => (0, None),
            };
            self.bring(lane, Some(FirstLoad { load_ns, ends }))?;
        }
        Ok(())
    }

    /// Starts the process of a lane, and waits until it is ready for its first frame.
    fn bring(&mut self, lane: usize, start: Option<FirstLoad>) -> Result<()> {
        let prepared = self.asked.prepared;
        let plan = &prepared.lanes[lane];
        let since_ns = clock::now_ns().saturating_sub(self.base_ns);
        // What happened to the process before this one does not happen to it again.
        let is_to_come = |fault: &&Fault| start.is_none() || fault.at_ns > since_ns;
        let told = Told {
            seed: self.asked.seed,
            span_ns: self.asked.span_ns,
            start,
            faults: plan.faults.iter().filter(is_to_come).cloned().collect(),
            cpu: self.given.cpus[plan.core],
            real_time: self.given.loads,
            group: self.lanes_of(plan.partition).iter().find_map(|lane| self.lives.get(lane)).map(Life::group),
        };
        let life = Life::begin(self.asked.program, prepared, lane, told, self.shared).with_context(|| {
            format!("cannot start the process of {}", prepared.names[prepared.partitions[plan.partition].0 as usize])
        })?;
        self.lives.insert(lane, life);
        Ok(())
    }

    /// Lets the process of a lane begin with the first frame, or in its next window.
    fn release(&mut self, lane: usize) -> Result<()> {
        let Some(life) = self.lives.get_mut(&lane) else { return Ok(()) };
        life.release(self.base_ns)?;
        self.slots[lane].take(life.process());
        Ok(())
    }

    /// Everything is over: what still runs is killed, and what it recorded is kept.
    fn strike(&mut self) {
        self.slots.iter().for_each(Slot::leave);
        for (lane, mut life) in std::mem::take(&mut self.lives) {
            if let Some(why) = life.ended_by_itself() {
                let plan = &self.asked.prepared.lanes[lane];
                let name = &self.asked.prepared.names[self.asked.prepared.partitions[plan.partition].0 as usize];
                self.remarks.push(format!(
                    "the process of {name} ended by itself ({why}): nothing of it was seen from then on."
                ));
            }
            life.kill();
            self.entries.extend(life.end());
        }
    }
}
