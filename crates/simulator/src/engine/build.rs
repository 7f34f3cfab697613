//! The state of a machine, made once for all runs, and set back before each.

use super::agenda::{Agenda, NEVER};
use super::pace::Pace;
use super::world::{
    CoreState, Edge, Fixed, Kind, LaneState, NO_OUTPUT, NONE, Order, PartitionState, Pool, TaskState, Turns, World,
};
use crate::Machine;
use crate::draw::Draw;
use crate::machine::{Arrivals, Grant, Guest, Policy};
use crate::scenario::{Contention, Times};

pub(super) fn world(machine: &Machine) -> World {
    let mut world = World {
        tasks: (0..machine.tasks.len()).map(|task| TaskState::new(fixed(machine, task))).collect(),
        outputs: vec![NO_OUTPUT; machine.tasks.len()],
        lanes: (0..machine.lanes.len()).map(|lane| lane_state(machine, lane)).collect(),
        cores: machine.cores.iter().map(|core| core_state(core.policy)).collect(),
        partitions: vec![PartitionState::default(); machine.partitions.len()],
        cores_next: Agenda::new(machine.cores.len()),
        tasks_next: Agenda::new(machine.tasks.len()),
        enforced: true,
        module_stops_ns: NEVER,
        ..World::default()
    };
    world.measures = world.lanes.iter().any(|lane| lane.measured);
    for (tables, core) in
        machine.schedules.iter().flat_map(|tables| (0..machine.cores.len()).map(move |core| (tables, core)))
    {
        let first = world.windows.len() as u32;
        world
            .windows
            .extend(tables.cores.get(core).into_iter().flatten().filter(|window| window.start_ns < window.end_ns));
        world.tables.push((first, world.windows.len() as u32));
    }
    for partition in 0..machine.partitions.len() {
        add_pools(machine, partition, &mut world);
    }
    add_groups(machine, &mut world);
    add_servers(machine, &mut world);
    world
}

fn fixed(machine: &Machine, index: usize) -> Fixed {
    let task = &machine.tasks[index];
    let forwards = machine.network.is_some_and(|network| network.task == Some(index));
    let in_chain = machine.chains.iter().flat_map(|chain| &chain.steps).any(|step| step.task == index);
    let offset = match task.arrivals {
        Arrivals::Aligned { offset_ns } => offset_ns,
        Arrivals::Free | Arrivals::Sporadic => 0,
    };
    Fixed {
        period: task.period_ns.max(1),
        deadline: task.deadline_ns,
        least: task.least_ns(Contention::Full),
        charged: task.most_ns(Contention::Full),
        requests: task.line_requests,
        jitter: task.jitter_ns,
        blocking: task.blocking_ns,
        partition: task.partition as u32,
        lane: task.lane.map_or(NONE, |lane| lane as u32),
        logical: task.logical,
        sporadic: task.arrivals == Arrivals::Sporadic,
        aligned: matches!(task.arrivals, Arrivals::Aligned { .. }),
        offset,
        woken: forwards && task.arrivals == Arrivals::Sporadic,
        loaded: forwards,
        reads: !task.reads.is_empty() || in_chain,
        writes: !task.writes.is_empty() || forwards || in_chain,
        ..Fixed::default()
    }
}

fn lane_state(machine: &Machine, lane: usize) -> LaneState {
    LaneState {
        partition: machine.lanes[lane].partition as u32,
        pool: NONE,
        plain: NONE,
        core: NONE,
        stalled_until: 0,
        measured: machine.partitions[machine.lanes[lane].partition].lanes.start == lane
            && matches!(
                machine.partitions[machine.lanes[lane].partition].guest,
                Guest::Opaque { budget_ns: Some(1..), .. }
            ),
        grant: machine.lanes[lane].grant,
        left: 0,
        due: 0,
        next_period: NEVER,
        turns: 0,
        late: (0, 0),
    }
}

fn core_state(policy: Policy) -> CoreState {
    let (kind, slip) = match policy {
        Policy::Table { slip_ns, .. } => (Kind::Table, slip_ns),
        Policy::Servers => (Kind::Servers, 0),
        Policy::Share { .. } => (Kind::Share, 0),
        Policy::Dedicated | Policy::Off => (Kind::Whole, 0),
    };
    CoreState {
        kind,
        slip,
        window_end: NEVER,
        lane: NONE,
        usable: false,
        plain: NONE,
        running: NONE,
        shown: NONE,
        untold: false,
        since: 0,
        stop_at: NEVER,
        edge_at: NEVER,
        edge: Edge::None,
        wake_at: NEVER,
        stalled_until: 0,
        pace: Pace::FULL,
        dirty: false,
        overtime: NONE,
        late: (0, 0),
        put_off: false,
        window: 0,
        windows: (0, 0),
        frame_end: 0,
        next_tables: None,
        supplied_since: 0,
        given_since: 0,
        head_end: 0,
        servers: Vec::new(),
        group: NONE,
    }
}

/// One pool for each lane where every task is pinned to one; else one for all lanes of the partition.
fn add_pools(machine: &Machine, partition: usize, world: &mut World) {
    let of = &machine.partitions[partition];
    let pinned = of.lanes.len() > 1 && machine.tasks[of.tasks.clone()].iter().all(|task| task.lane.is_some());
    if pinned {
        for lane in of.lanes.clone() {
            let tasks = of.tasks.clone().filter(|&task| machine.tasks[task].lane == Some(lane)).collect();
            add_pool(machine, partition, lane..lane + 1, tasks, world);
        }
    } else {
        add_pool(machine, partition, of.lanes.clone(), of.tasks.clone().collect(), world);
    }
}

fn add_pool(
    machine: &Machine,
    partition: usize,
    lanes: std::ops::Range<usize>,
    mut tasks: Vec<usize>,
    world: &mut World,
) {
    let order = match machine.partitions[partition].guest {
        Guest::FixedPriority | Guest::Opaque { .. } => Order::Fixed,
        Guest::Edf => Order::Deadline,
        Guest::Cooperative => Order::Cooperative,
    };
    let urgency = |task: &usize| std::cmp::Reverse(machine.tasks[*task].priority);
    if order != Order::Deadline {
        tasks.sort_by_key(urgency);
    }
    let index = world.pools.len() as u32;
    rank(machine, order, index, &tasks, world);
    let mut pool = Pool {
        order,
        ready_beyond: vec![0; tasks.len().div_ceil(64).saturating_sub(1)],
        core: NONE,
        single: lanes.len() <= 1,
        lanes: lanes.clone().map(|lane| lane as u32).collect(),
        partition: partition as u32,
        first: lanes.start == machine.partitions[partition].lanes.start,
        holder: NONE,
        blocking: vec![0; tasks.len()],
        tasks: tasks.iter().map(|&task| task as u32).collect(),
        ..Pool::default()
    };
    pool.blocks = lanes.len() <= 1 && tasks.iter().any(|&task| world.tasks[task].fixed.goes_on > 0);
    let alone = |&task: &usize| world.tasks[task].fixed.group.1 == world.tasks[task].fixed.group.0 + 1;
    pool.plain = order == Order::Fixed && pool.single && !pool.blocks && tasks.iter().all(alone);
    world.blocks |= pool.blocks;
    for lane in lanes {
        world.lanes[lane].pool = index;
        world.lanes[lane].plain = if pool.plain { index } else { NONE };
    }
    world.pools.push(pool);
}

/// The rank of each task of a pool, its group of equals, and how long its jobs may keep more urgent ones waiting.
fn rank(machine: &Machine, order: Order, pool: u32, tasks: &[usize], world: &mut World) {
    for (at, &task) in tasks.iter().enumerate() {
        let equal = |other: &&usize| {
            order != Order::Deadline && machine.tasks[**other].priority == machine.tasks[task].priority
        };
        let (first, equals) = match order {
            Order::Deadline => (at, 1),
            Order::Fixed | Order::Cooperative => {
                (tasks.iter().position(|other| equal(&other)).unwrap_or(at), tasks.iter().filter(equal).count())
            }
        };
        let above = |other: &&usize| match order {
            Order::Deadline => machine.tasks[**other].deadline_ns < machine.tasks[task].deadline_ns,
            Order::Fixed => machine.tasks[**other].priority > machine.tasks[task].priority,
            Order::Cooperative => false,
        };
        let goes_on = tasks.iter().filter(above).map(|&other| machine.tasks[other].blocking_ns).max().unwrap_or(0);
        let fixed = &mut world.tasks[task].fixed;
        fixed.pool = pool;
        fixed.rank = at as u32;
        fixed.group = (first as u32, (first + equals) as u32);
        fixed.goes_on = goes_on;
        fixed.strict = fixed.jitter == 0 && goes_on == 0 && !fixed.sporadic && !fixed.woken;
    }
}

/// Lanes that share cores by turns: those of one core where all are pinned, else those of the whole set.
fn add_groups(machine: &Machine, world: &mut World) {
    let shares = |core: usize| match machine.cores[core].policy {
        Policy::Share { quantum_ns, head_ns } => Some((quantum_ns.max(1), head_ns)),
        _ => None,
    };
    for core in 0..machine.cores.len() {
        let Some((quantum, head)) = shares(core).filter(|_| world.cores[core].group == NONE) else { continue };
        let set = machine.cores[core].set;
        let of_set: Vec<usize> = (0..machine.cores.len()).filter(|&other| machine.cores[other].set == set).collect();
        let in_set = |lane: &usize| machine.lanes[*lane].cores.iter().any(|core| of_set.contains(core));
        let lanes: Vec<usize> = (0..machine.lanes.len()).filter(in_set).collect();
        let pinned = lanes.iter().all(|&lane| machine.lanes[lane].cores.len() == 1);
        let cores = if pinned { vec![core] } else { of_set };
        let mine = |lane: &&usize| machine.lanes[**lane].cores.iter().any(|core| cores.contains(core));
        let lanes = lanes.iter().filter(mine).map(|&lane| lane as u32).collect();
        let group = world.groups.len() as u32;
        cores.iter().for_each(|&core| world.cores[core].group = group);
        let cores = cores.iter().map(|&core| core as u32).collect();
        world.groups.push(Turns { cores, lanes, quantum, head, number: 0 });
    }
}

/// Each server has one core: that to which it is pinned, else the one of its set with the least asked for.
fn add_servers(machine: &Machine, world: &mut World) {
    let mut asked = vec![0u128; machine.cores.len()];
    for (lane, declared) in machine.lanes.iter().enumerate() {
        let Grant::Server { budget_ns, period_ns, head_ns, .. } = declared.grant else { continue };
        let own = &machine.partitions[declared.partition].lanes;
        let taken = |core: usize| world.cores[core].servers.iter().any(|&other| own.contains(&(other as usize)));
        let free = declared.cores.iter().copied().filter(|&core| !taken(core));
        let core = free.min_by_key(|&core| (asked[core], core)).or_else(|| declared.cores.first().copied());
        let Some(core) = core else { continue };
        let need = u128::from(budget_ns) + 2 * u128::from(head_ns);
        asked[core] += (need << 32) / u128::from(period_ns.max(1));
        world.cores[core].servers.push(lane as u32);
    }
}

impl World {
    /// Back to before a run; rooms are kept.
    pub(super) fn reset(&mut self, draw: Draw) {
        self.draw = draw;
        self.tasks.iter_mut().for_each(TaskState::reset);
        self.outputs.fill(NO_OUTPUT);
        self.cores_next.clear();
        self.tasks_next.clear();
        for pool in &mut self.pools {
            (pool.holder, pool.going, pool.going_left, pool.core) = (NONE, false, 0, NONE);
            pool.ready = 0;
            pool.ready_beyond.fill(0);
            pool.blocking.fill(0);
        }
        for lane in &mut self.lanes {
            (lane.core, lane.stalled_until, lane.turns, lane.late) = (NONE, 0, 0, (0, 0));
            (lane.left, lane.due, lane.next_period) = (0, 0, NEVER);
        }
        for core in &mut self.cores {
            let servers = std::mem::take(&mut core.servers);
            let (group, kind, slip) = (core.group, core.kind, core.slip);
            *core = CoreState { servers, group, kind, slip, ..core_state(Policy::Off) };
        }
        for partition in &mut self.partitions {
            partition.duties.clear();
            (partition.up, partition.dead, partition.held_until) = (true, false, 0);
        }
        self.dirty.clear();
        self.writes.clear();
        self.reads.clear();
        (self.quiet, self.holds, self.lates, self.duties) = (true, false, false, false);
        (self.tell_runs, self.module_stops_ns) = (false, NEVER);
    }

    /// From now on jobs execute as long as that leaves to them.
    pub(super) fn take_contention(&mut self, machine: &Machine, contention: Contention) {
        if std::mem::replace(&mut self.contention, contention) == contention {
            return;
        }
        for (state, task) in self.tasks.iter_mut().zip(&machine.tasks) {
            (state.fixed.least, state.fixed.charged) = (task.least_ns(contention), task.most_ns(contention));
        }
    }

    /// The given jobs of each task, the next one last.
    pub(super) fn take_given(&mut self, times: &Times) {
        self.given.clear();
        let Times::Given(jobs) = times else { return };
        self.given.resize(self.tasks.len(), Vec::new());
        for job in jobs {
            if let Some(of_task) = self.given.get_mut(job.task) {
                of_task.push(*job);
            }
        }
        self.given.iter_mut().for_each(|jobs| jobs.sort_unstable_by(|one, other| other.cmp(one)));
    }
}
