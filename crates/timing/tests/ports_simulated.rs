//! Ports and the internal network of small whole systems, read from text and judged by the claims, against a run of
//! their own: windows, priorities, jobs, ports and frames tick by tick. A tick is one ms. No run passes a claimed bound.

use claim::Verdict;
use quantity::Duration;
use std::collections::{BTreeMap, VecDeque};
use timing::claims::check;

const FRAME: u64 = 12;
const RUN: u64 = 1_500;
const NS_PER_TICK: u64 = 1_000_000;
const NAMES: [&str; 3] = ["W", "R", "F"];
const FORWARDER: usize = 2;

/// The splitmix64 generator: Steele, Lea and Flood 2014, constants from memory.
struct Draws(u64);

impl Draws {
    fn within(&mut self, low: u64, high: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        low + (mixed ^ (mixed >> 31)) % (high - low + 1)
    }

    fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.within(0, choices.len() as u64 - 1) as usize]
    }
}

#[derive(Clone, Copy, Debug)]
struct Task {
    period: u64,
    wcet: u64,
    bcet: u64,
}

/// Three partitions, each alone on a core with two tasks: W writes, R reads, F forwards. `hi` goes before `lo`.
#[derive(Clone, Debug)]
struct Scenario {
    windows: [Vec<(u64, u64)>; 3],
    tasks: [[Task; 2]; 3],
    forwarded: bool,
    batch: u64,
    most: Option<u64>,
    cost: u64,
}

impl Scenario {
    fn draw(draws: &mut Draws) -> Self {
        let cuts = |draws: &mut Draws| {
            let first = (draws.within(0, 2), draws.within(4, 6));
            let second = (draws.within(7, 8), draws.within(10, 12));
            vec![first, second]
        };
        let task = |draws: &mut Draws, periods: &[u64], longest| {
            let wcet = draws.within(1, longest);
            Task { period: draws.pick(periods), wcet, bcet: draws.within(1, wcet) }
        };
        let pair = |draws: &mut Draws| [task(draws, &[12, 24], 1), task(draws, &[6, 12, 24], 3)];
        Self {
            windows: [cuts(draws), cuts(draws), cuts(draws)],
            tasks: [pair(draws), pair(draws), pair(draws)],
            forwarded: draws.within(0, 2) > 0,
            batch: draws.within(1, 2),
            most: draws.pick(&[None, Some(1), Some(2), Some(3)]),
            cost: draws.pick(&[1, 1, 2]),
        }
    }

    fn text(&self) -> String {
        let mut text = format!(
            "[system]\nname = \"small\"\nframe = \"{FRAME} ms\"\n[board]\nname = \"board\"\n\
             [platform]\nswitch = \"0 ns\"\nrefill = \"0 ns\"\ncontext_switch = \"0 ns\"\nrelease_jitter = \"1 ms\"\n\
             nonpreemptable = \"0 ns\"\n[network]\nforwarder = \"F\"\ntask = \"F.lo\"\nfixed = \"{} ms\"\n\
             per_byte_ps = 0\ndepth = 1000\n",
            self.cost
        );
        for (index, name) in NAMES.iter().enumerate() {
            let role = if index == FORWARDER { "role = \"forwarder\"\n" } else { "" };
            text += &format!("[[board.core]]\nname = \"{index}\"\n[[partition]]\nname = \"{name}\"\n{role}");
            text += &format!("guest = \"fixed priority\"\nperiod = \"{FRAME} ms\"\ncores = [\"{index}\"]\n");
            for ((task, name), priority) in self.tasks[index].iter().zip(["hi", "lo"]).zip([2, 1]) {
                text += &format!("[[partition.task]]\nname = \"{name}\"\nperiod = \"{} ms\"\n", task.period);
                text += &format!("priority = {priority}\nwcet = \"{} ms\"\n", task.wcet);
                text += &format!("bcet = \"{} ms\"\nline_requests = 0\n", task.bcet);
            }
        }
        let channel = |name, kind, from, to| {
            let ends = format!(
                "[[channel]]\nname = \"{name}\"\nkind = \"{kind}\"\nsize = \"8 B\"\nfrom = \"{from}\"\nto = [\"{to}\"]\n"
            );
            ends + &format!("forwarded = {}\n", self.forwarded)
        };
        text += &(channel("S", "sampling", "W.lo", "R.lo") + "refresh = \"1 ms\"\n");
        text += &(channel("X", "sampling", "R.hi", "W.hi") + "refresh = \"1 ms\"\n");
        text += &(channel("Q", "queuing", "W.lo", "R.lo") + &format!("depth = 1000\nbatch = {}\n", self.batch));
        text += &self.most.map_or(String::new(), |most| format!("read = {most}\n"));
        text
    }

    fn plan(&self) -> String {
        let windows = self.windows.iter().enumerate().flat_map(|(k, windows)| windows.iter().map(move |w| (k, w)));
        let window = |(k, (start, end)): (usize, &(u64, u64))| {
            let (name, length) = (NAMES[k], end - start);
            format!(
                "[[window]]\ncore = \"{k}\"\npartition = \"{name}\"\nstart = \"{start} ms\"\nlength = \"{length} ms\"\n"
            )
        };
        "[plan]\n".to_owned() + &windows.map(window).collect::<String>()
    }

    /// None where reading already refuses the system, as it does for reads that are too slow.
    fn verdicts(&self) -> Option<Vec<Verdict>> {
        let mut files = BTreeMap::from([("small.toml".to_owned(), self.text().into_bytes())]);
        let mut reading = model::read_system("small.toml", &mut files);
        let system = reading.system?;
        let (plan, complaints) = plan::read_plan("plan.toml", self.plan().as_bytes(), &system, &mut reading.sources);
        Some(check(&system, &plan.unwrap_or_else(|| panic!("{complaints:?}"))))
    }
}

/// A message or frame on its way: which channel, and when it was written.
#[derive(Clone, Copy, Debug)]
struct Message {
    channel: char,
    written: u64,
}

#[derive(Clone, Copy, Debug)]
struct Job {
    arrival: u64,
    release: u64,
    left: u64,
    begun: bool,
}

/// What the run saw at the most.
#[derive(Debug, Default)]
struct Seen {
    age: u64,
    waiting: u64,
    depth: u64,
    way: BTreeMap<char, u64>,
    at_forwarder: [u64; 2],
}

struct Run<'a> {
    scenario: &'a Scenario,
    draws: Draws,
    next: [[u64; 2]; 3],
    jobs: [[VecDeque<Job>; 2]; 3],
    /// The queues of W and R at the forwarder.
    frames: [VecDeque<Message>; 2],
    /// The frame under way and what is left of it.
    under_way: Option<(usize, u64)>,
    /// What was written last of those that reached R: none yet, or when.
    sampled: Option<u64>,
    queue: VecDeque<u64>,
    seen: Seen,
}

impl<'a> Run<'a> {
    fn of(scenario: &'a Scenario, seed: u64) -> Self {
        let mut draws = Draws(seed);
        let phase = |task: Task, draws: &mut Draws| draws.within(0, task.period - 1);
        let next = scenario.tasks.map(|tasks| tasks.map(|task| phase(task, &mut draws)));
        let (jobs, seen) = (Default::default(), Seen::default());
        let (frames, queue) = (Default::default(), VecDeque::new());
        Self { scenario, draws, next, jobs, frames, under_way: None, sampled: None, queue, seen }
    }

    fn whole(mut self) -> Seen {
        let mut done = Vec::new();
        for now in 0..RUN {
            for (partition, task) in std::mem::take(&mut done) {
                self.write(partition, task, now);
            }
            self.arrive_frame(now);
            self.watch(now);
            for partition in 0..3 {
                self.release(partition, now);
                if self.scenario.windows[partition].iter().any(|w| (w.0..w.1).contains(&(now % FRAME))) {
                    done.extend(self.execute(partition, now).map(|task| (partition, task)));
                }
            }
        }
        self.seen
    }

    fn release(&mut self, partition: usize, now: u64) {
        for index in 0..2 {
            let task = self.scenario.tasks[partition][index];
            if self.next[partition][index] != now {
                continue;
            }
            let forwards = partition == FORWARDER && index == 1;
            // A forwarding job has its whole time, and ends when nothing is left for it.
            let left = if forwards { task.wcet } else { self.draws.within(task.bcet, task.wcet) };
            let release = now + self.draws.within(0, 1);
            self.jobs[partition][index].push_back(Job { arrival: now, release, left, begun: false });
            self.next[partition][index] += task.period;
        }
    }

    /// Executes one tick of the partition's most urgent job; the task whose job is done by the tick's end.
    fn execute(&mut self, partition: usize, now: u64) -> Option<usize> {
        loop {
            let ready = |jobs: &VecDeque<Job>| jobs.front().is_some_and(|job| job.release <= now);
            let index = (0..2).find(|&index| ready(&self.jobs[partition][index]))?;
            let job = self.jobs[partition][index].front().copied().expect("it is ready");
            assert!(job.arrival <= now);
            if (partition, index) == (FORWARDER, 1) && self.under_way.is_none() && !self.begin_frame(job) && job.begun {
                self.jobs[partition][index].pop_front();
                continue;
            }
            if !job.begun && (partition, index) == (1, 1) {
                self.read(now);
            }
            let front = self.jobs[partition][index].front_mut().expect("it is ready");
            (front.begun, front.left) = (true, front.left - 1);
            if let (FORWARDER, 1, Some((_, left))) = (partition, index, &mut self.under_way) {
                *left -= 1;
            }
            return (front.left == 0).then(|| {
                self.jobs[partition][index].pop_front();
                index
            });
        }
    }

    /// Takes up a frame that fits into the job, of any sender that has one.
    fn begin_frame(&mut self, job: Job) -> bool {
        let waiting: Vec<usize> = (0..2).filter(|&sender| !self.frames[sender].is_empty()).collect();
        if waiting.is_empty() || self.scenario.cost > job.left {
            return false;
        }
        self.under_way = Some((self.draws.pick(&waiting), self.scenario.cost));
        true
    }

    /// A job that is done writes what its task writes.
    fn write(&mut self, partition: usize, task: usize, now: u64) {
        let channels: &[(char, u64)] = match (partition, task) {
            (0, 1) => &[('S', 1), ('Q', self.scenario.batch)],
            (1, 0) => &[('X', 1)],
            _ => &[],
        };
        for &(channel, count) in channels {
            for _ in 0..count {
                let message = Message { channel, written: now };
                if self.scenario.forwarded {
                    self.frames[partition].push_back(message)
                } else {
                    self.deliver(message, now)
                }
            }
        }
        for sender in 0..2 {
            self.seen.at_forwarder[sender] = self.seen.at_forwarder[sender].max(self.frames[sender].len() as u64);
        }
    }

    /// Frames leave after those that come at the same instant.
    fn arrive_frame(&mut self, now: u64) {
        if let Some((sender, 0)) = self.under_way {
            self.under_way = None;
            let message = self.frames[sender].pop_front().expect("it was under way");
            self.deliver(message, now);
        }
    }

    fn deliver(&mut self, message: Message, now: u64) {
        let way = self.seen.way.entry(message.channel).or_default();
        *way = (*way).max(now - message.written);
        match message.channel {
            'S' => self.sampled = Some(message.written),
            'Q' => self.queue.push_back(now),
            _ => {}
        }
    }

    fn watch(&mut self, now: u64) {
        self.seen.depth = self.seen.depth.max(self.queue.len() as u64);
        self.seen.age = self.seen.age.max(self.sampled.map_or(0, |written| now - written));
    }

    fn read(&mut self, now: u64) {
        let taken = self.scenario.most.map_or(self.queue.len(), |most| self.queue.len().min(most as usize));
        self.seen.waiting = self.queue.drain(..taken).map(|came| now - came).fold(self.seen.waiting, u64::max);
    }
}

/// The bound of a claim in ticks or messages; how long messages wait is in the words about their queue.
fn bound(verdicts: &[Verdict], id: &str) -> Option<u64> {
    let find = |id: &str| verdicts.iter().find(|verdict| verdict.id == id);
    if id == "waiting/Q" {
        let (_, waits) = find("queue_depth/Q")?.reason.as_ref()?.split_once("a message waits at most ")?;
        return Some(waits.parse::<Duration>().expect("a time").ns() / NS_PER_TICK);
    }
    let verdict = find(id)?;
    let scale = if verdict.unit == claim::Unit::Nanoseconds { NS_PER_TICK } else { 1 };
    verdict.bound.map(|bound| bound / scale)
}

#[test]
fn no_run_of_a_whole_system_passes_what_is_claimed_of_its_ports() {
    let mut draws = Draws(2_026);
    let mut judged = BTreeMap::<&str, (u32, u32)>::new();
    for seed in 0..400 {
        let scenario = Scenario::draw(&mut draws);
        let Some(verdicts) = scenario.verdicts() else { continue };
        let runs: Vec<Seen> = (0..3).map(|run| Run::of(&scenario, 1_000 * seed + run).whole()).collect();
        type Look = fn(&Seen) -> u64;
        let looks: [(&str, u64, Look); 8] = [
            // Every read finds the message younger than the gap.
            ("refresh/S", 1, |seen| seen.age),
            ("queue_depth/Q", 0, |seen| seen.depth),
            ("waiting/Q", 0, |seen| seen.waiting),
            ("forwarding/S", 0, |seen| seen.way.get(&'S').copied().unwrap_or(0)),
            ("forwarding/Q", 0, |seen| seen.way.get(&'Q').copied().unwrap_or(0)),
            ("forwarding/X", 0, |seen| seen.way.get(&'X').copied().unwrap_or(0)),
            ("queue_depth/F/W", 0, |seen| seen.at_forwarder[0]),
            ("queue_depth/F/R", 0, |seen| seen.at_forwarder[1]),
        ];
        for (id, less, look) in looks {
            let Some(bound) = bound(&verdicts, id) else { continue };
            let most = runs.iter().map(look).max().expect("three runs");
            assert!(most + less <= bound, "{id}: {most} seen, {bound} claimed, seed {seed}: {scenario:?}");
            let (count, attained) = judged.entry(id).or_default();
            (*count, *attained) = (*count + 1, *attained + u32::from(most + less == bound));
        }
    }
    assert_eq!(judged.len(), 8, "every kind of claim was held to runs: {judged:?}");
    assert!(judged.values().all(|&(count, _)| count >= 30), "{judged:?}");
    assert!(judged["refresh/S"].1 > 0 && judged["queue_depth/Q"].1 > 0, "some bounds are attained: {judged:?}");
}
