//! Small systems with one chain, drawn from a seed, and as the files that the program reads.

use claim::Verdict;
use model::{System, read_system};
use plan::{Plan, read_plan};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Which systems are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// All tasks keep to the frame.
    Aligned,
    /// And read and write at arrival and deadline.
    Logical,
    /// Some tasks are free-running.
    Mixed,
    /// All keep to the frame; queues lead from task to task.
    Queues,
}

#[derive(Clone, Debug)]
pub struct Task {
    pub partition: usize,
    pub priority: u64,
    pub period: u64,
    pub offset: u64,
    pub wcet: u64,
    pub bcet: u64,
    pub jitter: u64,
    pub aligned: bool,
    pub logical: bool,
}

/// The queue before a task of the chain: its depth, and what a read takes; 0 for all.
#[derive(Clone, Copy, Debug)]
pub struct Queue {
    pub depth: u64,
    pub at_most: u64,
}

/// A system of some partitions, each on a core of its own or sharing one, and a chain.
#[derive(Clone, Debug)]
pub struct Made {
    pub frame: u64,
    pub head: u64,
    pub blocking: u64,
    /// Core, start and length of each window, by partition.
    pub windows: Vec<Vec<(usize, u64, u64)>>,
    pub tasks: Vec<Task>,
    /// The tasks of the chain, each with the queue before it where one leads there.
    pub chain: Vec<(usize, Option<Queue>)>,
    factor: u64,
}

/// The splitmix64 generator: Steele, Lea and Flood 2014, constants from memory.
pub struct Draws(pub u64);

impl Draws {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    pub fn within(&mut self, low: u64, high: u64) -> u64 {
        low + self.next() % (high - low + 1)
    }

    pub fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.within(0, choices.len() as u64 - 1) as usize]
    }
}

const FRAME: u64 = 24;

impl Made {
    pub fn draw(seed: u64, shape: Shape) -> Self {
        let mut draws = Draws(seed ^ 0xC0FF_EE00);
        let partitions = draws.within(1, 3) as usize;
        let windows = (0..partitions).map(|partition| windows(&mut draws, partition)).collect();
        let mut tasks = Vec::new();
        for partition in 0..partitions {
            for place in 0..draws.within(1, 3) {
                tasks.push(task(&mut draws, partition, place, shape));
            }
        }
        let chain = chain(&mut draws, &tasks, shape);
        let (head, blocking) = (draws.within(0, 1), draws.pick(&[0, 0, 2]));
        Self { frame: FRAME, head, blocking, windows, tasks, chain, factor: 1 }
    }

    /// The same with one job longer by one.
    pub fn with_longer_job(&self, seed: u64) -> Self {
        let mut made = self.clone();
        let place = seed as usize % made.tasks.len();
        made.tasks[place].wcet += 1;
        made
    }

    pub fn scaled(self, factor: u64) -> Self {
        Self { factor, ..self }
    }

    pub fn verdict(&self, id: &str) -> Verdict {
        let (system, plan) = self.read();
        let verdicts = timing::claims::check(&system, &plan);
        verdicts.into_iter().find(|verdict| verdict.id == id).expect("the chain is claimed")
    }

    fn read(&self) -> (System, Plan) {
        let mut files = BTreeMap::from([("s.toml".to_owned(), self.system().into_bytes())]);
        let mut reading = read_system("s.toml", &mut files);
        let system = reading.system.unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
        let (plan, found) = read_plan("p.toml", self.plan().as_bytes(), &system, &mut reading.sources);
        (system, plan.unwrap_or_else(|| panic!("{found:?}")))
    }

    fn time(&self, ticks: u64) -> String {
        format!("\"{} ns\"", ticks * self.factor)
    }

    fn system(&self) -> String {
        let time = |ticks| self.time(ticks);
        let cores = self.windows.iter().flatten().map(|window| window.0).max().unwrap_or(0) + 1;
        let mut text = format!(
            "[system]\nname = \"made\"\nframe = {}\ndeadlines_hold_in = \"frame phase\"\n[board]\nname = \"b\"\n",
            time(self.frame)
        );
        for core in 0..cores {
            write!(text, "[[board.core]]\nname = \"{core}\"\n").expect("a text takes it");
        }
        write!(
            text,
            "[platform]\nswitch = {}\nrefill = \"0 ns\"\n\
             context_switch = \"0 ns\"\nnonpreemptable = {}\nsynchronised = true\n",
            time(self.head),
            time(self.blocking)
        )
        .expect("a text takes it");
        for partition in 0..self.windows.len() {
            write!(text, "[[partition]]\nname = \"P{partition}\"\nguest = \"fixed priority\"\n")
                .expect("a text takes it");
            let tasks = self.tasks.iter().enumerate().filter(|(_, task)| task.partition == partition);
            tasks.for_each(|(k, task)| text.push_str(&self.task(k, task)));
        }
        text.push_str(&self.channels());
        let path = self.chain.iter().map(|(k, _)| format!("\"{}\"", self.label(*k))).collect::<Vec<_>>().join(", ");
        for (name, need) in [("C", "reaction"), ("A", "data_age")] {
            write!(text, "[[chain]]\nname = \"{name}\"\npath = [{path}]\n{need} = \"1 s\"\n").expect("a text takes it");
        }
        text
    }

    fn task(&self, k: usize, task: &Task) -> String {
        let time = |ticks| self.time(ticks);
        let offset = if task.aligned { format!("offset = {}\n", time(task.offset)) } else { String::new() };
        format!(
            "[[partition.task]]\nname = \"t{k}\"\nperiod = {}\ndeadline = {}\npriority = {}\nwcet = {}\nbcet = {}\n\
             line_requests = 0\njitter = {}\nrelease = \"{}\"\n{offset}exchange = \"{}\"\n",
            time(task.period),
            time(task.period),
            task.priority,
            time(task.wcet),
            time(task.bcet),
            time(task.jitter),
            if task.aligned { "frame-aligned" } else { "free-running" },
            if task.logical { "logical" } else { "start-finish" },
        )
    }

    fn label(&self, k: usize) -> String {
        format!("P{}.t{k}", self.tasks[k].partition)
    }

    /// A channel for each step that needs one.
    fn channels(&self) -> String {
        let steps = self.chain.windows(2).enumerate();
        let channel = |(k, pair): (usize, &[(usize, Option<Queue>)])| {
            let (from, (to, queue)) = (pair[0].0, pair[1]);
            if queue.is_none() && self.tasks[from].partition == self.tasks[to].partition {
                return None;
            }
            let kind = match queue {
                None => "kind = \"sampling\"\n".to_owned(),
                Some(Queue { depth, at_most: 0 }) => format!("kind = \"queuing\"\ndepth = {depth}\n"),
                Some(Queue { depth, at_most }) => format!("kind = \"queuing\"\ndepth = {depth}\nread = {at_most}\n"),
            };
            let (from, to) = (self.label(from), self.label(to));
            Some(format!("[[channel]]\nname = \"H{k}\"\nsize = \"8 B\"\nfrom = \"{from}\"\nto = [\"{to}\"]\n{kind}"))
        };
        steps.filter_map(channel).collect()
    }

    fn plan(&self) -> String {
        let windows = self.windows.iter().enumerate().flat_map(|(partition, windows)| {
            windows.iter().map(move |&(core, start, length)| {
                format!(
                    "[[window]]\ncore = \"{core}\"\npartition = \"P{partition}\"\nstart = {}\nlength = {}\n",
                    self.time(start),
                    self.time(length)
                )
            })
        });
        windows.collect()
    }
}

/// Partition 2 shares core 0 with partition 0.
fn windows(draws: &mut Draws, partition: usize) -> Vec<(usize, u64, u64)> {
    let core = partition % 2;
    let (begin, end) = match partition {
        0 => (0, 6),
        1 => (0, 12),
        _ => (6, 12),
    };
    let mut found = Vec::new();
    for half in [0, FRAME / 2] {
        let start = draws.within(begin, end - 4);
        let length = draws.within(4, end - start);
        found.push((core, half + start, length));
    }
    found
}

fn task(draws: &mut Draws, partition: usize, place: u64, shape: Shape) -> Task {
    let period = draws.pick(&[8, 12, 12, 24, 24, 48]);
    let wcet = draws.within(1, 3);
    Task {
        partition,
        priority: if draws.within(0, 9) == 0 { 1 } else { 9 - place },
        period,
        offset: draws.pick(&[0, 0, 0, 1, 3, 5]),
        wcet,
        bcet: draws.within(1, wcet),
        jitter: draws.pick(&[0, 0, 1, 3]),
        aligned: shape != Shape::Mixed || draws.within(0, 3) > 0,
        logical: match shape {
            Shape::Logical => true,
            Shape::Queues => false,
            _ => draws.within(0, 5) == 0,
        },
    }
}

fn chain(draws: &mut Draws, tasks: &[Task], shape: Shape) -> Vec<(usize, Option<Queue>)> {
    let mut order: Vec<usize> = (0..tasks.len()).collect();
    for k in (1..tasks.len()).rev() {
        order.swap(k, draws.within(0, k as u64) as usize);
    }
    order.truncate(draws.within(2, 4) as usize);
    let mut chain = vec![(order[0], None)];
    for pair in order.windows(2) {
        let [writer, reader] = [&tasks[pair[0]], &tasks[pair[1]]];
        // What reads less than is sent is refused before it is analysed.
        let least = reader.period.div_ceil(writer.period);
        let at_most = draws.pick(&[0, least, least + 1]);
        let queue = Queue { depth: draws.within(3, 9), at_most };
        chain.push((pair[1], (shape == Shape::Queues && draws.within(0, 3) > 0).then_some(queue)));
    }
    chain
}
