//! The planning problem: what each virtual core asks for, in each schedule, and which cores may hold it.

use crate::answer::Report;
use crate::ask::{Ask, AskSource};
use crate::text::{list, share};
use crate::workload::Workload;
use model::System;
use model::system::{CorePolicy, CoreSet, GrowthSubject, RunGrant, ScheduledPartition};
use num_integer::gcd;
use plan::{Plan, Window};
use quantity::{CoreId, PartitionId, ScheduleId};
use std::collections::BTreeMap;

/// The most windows that a frame of one core may hold; a plan with more serves nobody.
const MOST_WINDOWS: u64 = 100_000;

/// Everything that the search for window tables needs.
pub(crate) struct Problem<'a> {
    pub(crate) system: &'a System,
    pub(crate) frame_ns: u64,
    /// What a window loses at its head: switch, refill and boundary slip.
    pub(crate) head_ns: u64,
    /// Every start and length is a multiple of this.
    pub(crate) grid_ns: u64,
    pub(crate) items: Vec<Item>,
    /// By core id, then by schedule: the time of a frame that windows may take; none where the core takes no windows.
    pub(crate) capacity_ns: Vec<Option<Vec<u64>>>,
    /// Partitions in core sets without window tables, with a virtual core, on every core where they may run.
    pub(crate) without_windows: Vec<(CoreId, (PartitionId, u32))>,
}

/// One virtual core of one partition.
pub(crate) struct Item {
    pub(crate) partition: PartitionId,
    pub(crate) virtual_core: u32,
    /// The name in sentences.
    pub(crate) name: String,
    /// By schedule: what it asks for, where it runs.
    pub(crate) asks: Vec<Option<Ask>>,
    pub(crate) workloads: Vec<Workload>,
    /// By schedule: the window time of a frame that any plan must give it.
    pub(crate) needed_ns: Vec<u64>,
    /// By schedule: the windows that stay as they are.
    pub(crate) pinned: Vec<Vec<Window>>,
    /// By core id.
    pub(crate) allowed: Vec<bool>,
}

impl<'a> Problem<'a> {
    /// The problem of a system; what stands in its way goes into the report.
    pub(crate) fn new(system: &'a System, keep: Option<&Plan>, report: &mut Report) -> Option<Self> {
        let head_ns = head_ns(system, report)?;
        let pinned = Pinned::of(system, keep, report);
        let mut problem = Self {
            system,
            frame_ns: system.frame.ns(),
            head_ns,
            grid_ns: grid_ns(system, head_ns, &pinned),
            items: Vec::new(),
            capacity_ns: capacities(system),
            without_windows: Vec::new(),
        };
        for id in system.partition_ids() {
            problem.add_partition(id, &pinned, report);
        }
        let windows = problem.items.iter().flat_map(|item| item.asks.iter().flatten());
        let fewest = windows.map(|ask| problem.frame_ns / ask.period_ns).fold(0, u64::saturating_add);
        if fewest > MOST_WINDOWS {
            report.open(format!(
                "the periods ask for {fewest} windows a frame; the planner makes at most {MOST_WINDOWS}"
            ));
            return None;
        }
        Some(problem)
    }

    pub(crate) fn schedules(&self) -> usize {
        self.system.schedules.len()
    }

    pub(crate) fn core_name(&self, core: usize) -> String {
        format!("core {}", self.system.board.cores[core].name.value)
    }

    /// ` in schedule X`, or nothing where there is only one.
    pub(crate) fn in_schedule(&self, schedule: usize) -> String {
        match self.schedules() {
            1 => String::new(),
            _ => format!(" in schedule {}", self.system.schedules[schedule].name.value),
        }
    }

    /// The time that an item takes of a frame with the windows that it asks for.
    pub(crate) fn load_ns(&self, item: usize, schedule: usize) -> u64 {
        let item = &self.items[item];
        let asked = item.asks[schedule].map_or(0, |ask| ask.length_ns.saturating_mul(self.frame_ns / ask.period_ns));
        let pinned: u64 = item.pinned[schedule].iter().map(|w| w.length.ns()).sum();
        asked.max(pinned)
    }

    /// The time that an item takes of a frame in any plan.
    pub(crate) fn needed_ns(&self, item: usize, schedule: usize) -> u64 {
        let item = &self.items[item];
        let pinned: u64 = item.pinned[schedule].iter().map(|w| w.length.ns()).sum();
        item.needed_ns[schedule].max(pinned)
    }

    fn add_partition(&mut self, id: PartitionId, pinned: &Pinned, report: &mut Report) {
        let partition = self.system.partition(id);
        let name = &partition.name.value;
        if let Some(set) = set_without_table(self.system, id) {
            let kind = policy_words(&set.policy);
            report.note(format!("{name} runs in a core set of its own kind ({kind}) and has no windows in the plan."));
            for virtual_core in 0..partition.virtual_cores.value.min(set.cores.len() as u32) {
                let own = partition.cores.get(virtual_core as usize).map(|core| core.value);
                let cores = set.cores.iter().filter(|core| own.is_none_or(|own| own == **core));
                self.without_windows.extend(cores.map(|core| (*core, (id, virtual_core))));
            }
            return;
        }
        let cores = self.capacity_ns.iter().flatten().count();
        if partition.virtual_cores.value as usize > cores {
            let wish = partition.virtual_cores.value;
            report.impossible(format!("{name} has {wish} virtual cores, and {cores} cores have window tables"));
            return;
        }
        for virtual_core in 0..partition.virtual_cores.value {
            let name = match partition.virtual_cores.value {
                1 => name.clone(),
                _ => format!("{name} (virtual core {virtual_core})"),
            };
            self.add_item(id, virtual_core, name, pinned, report);
        }
    }

    fn add_item(&mut self, id: PartitionId, virtual_core: u32, name: String, pinned: &Pinned, report: &mut Report) {
        let pinned_here = pinned.windows.get(&(id, virtual_core));
        let allowed = self.allowed_cores(id, virtual_core, pinned_here.map(|p| p.core));
        if !allowed.contains(&true) {
            report.impossible(format!("no core may hold {name}: {}", self.why_no_core(id, virtual_core)));
            return;
        }
        let none = vec![Vec::new(); self.schedules()];
        let mut item = Item {
            partition: id,
            virtual_core,
            name,
            asks: Vec::new(),
            workloads: Vec::new(),
            needed_ns: Vec::new(),
            pinned: pinned_here.map_or(none, |p| p.by_schedule.clone()),
            allowed,
        };
        for schedule in 0..self.schedules() {
            self.add_ask(&mut item, schedule, report);
        }
        if item.asks.iter().any(Option::is_some) {
            self.items.push(item);
        }
    }

    fn add_ask(&self, item: &mut Item, schedule: usize, report: &mut Report) {
        let change = change_in(self.system, schedule, item.partition);
        let idle = change.is_some_and(|c| c.idle);
        let workload = match idle {
            true => Workload::Nothing,
            false => self.workload(item, schedule),
        };
        let own = self.system.partition(item.partition).grant.as_ref();
        let grant = change.and_then(|c| c.grant.as_ref()).or(own);
        let source = AskSource {
            name: format!("{}{}", item.name, self.in_schedule(schedule)),
            grant,
            workload: &workload,
            frame_ns: self.frame_ns,
            head_ns: self.head_ns,
            grid_ns: self.grid_ns,
            any_phase: matches!(self.system.deadline_phase(item.partition), model::system::DeadlinePhase::Any),
        };
        item.asks.push(if idle { None } else { source.ask(report) });
        item.needed_ns.push(if idle { 0 } else { source.needed_ns() });
        item.workloads.push(workload);
    }

    /// The work of an item in a schedule, on the core where it has it hardest: one whose frame begins at no known instant
    /// comes first, then one that is no master of its own and so waits for one more.
    fn workload(&self, item: &Item, schedule: usize) -> Workload {
        let cores = (0..item.allowed.len()).filter(|core| item.allowed[*core]).map(CoreId::new);
        let hardest = cores.min_by_key(|core| (self.is_synchronised(*core), self.is_master(*core), *core));
        // An item without a core is reported and dropped before it is asked for its work.
        let core = hardest.unwrap_or(CoreId::new(0));
        Workload::of(self.system, ScheduleId::new(schedule), item.partition, item.virtual_core, core)
    }

    fn is_synchronised(&self, core: CoreId) -> bool {
        let sets = self.system.core_sets.iter().filter(|set| set.cores.contains(&core));
        sets.into_iter().any(|set| matches!(set.policy, CorePolicy::WindowTable { synchronised: true, .. }))
    }

    fn is_master(&self, core: CoreId) -> bool {
        self.system.board.interconnect.iter().flat_map(|path| &path.masters).any(|master| master.core == Some(core))
    }

    fn allowed_cores(&self, id: PartitionId, virtual_core: u32, pinned: Option<CoreId>) -> Vec<bool> {
        let partition = self.system.partition(id);
        let set = partition.core_set.map(|set| &self.system.core_sets[set.index()].cores);
        let own = partition.cores.get(virtual_core as usize).map(|core| core.value);
        let may = |core: CoreId| {
            set.is_none_or(|cores| cores.contains(&core))
                && own.is_none_or(|own| own == core)
                && pinned.is_none_or(|pinned| pinned == core)
        };
        let open = |(index, capacity): (usize, &Option<Vec<u64>>)| capacity.is_some() && may(CoreId::new(index));
        self.capacity_ns.iter().enumerate().map(open).collect()
    }

    fn why_no_core(&self, id: PartitionId, virtual_core: u32) -> String {
        let partition = self.system.partition(id);
        let set =
            partition.core_set.map(|set| format!("the core set {}", self.system.core_sets[set.index()].name.value));
        let own = partition.cores.get(virtual_core as usize).map(|core| self.core_name(core.index()));
        let wishes: Vec<String> = set.into_iter().chain(own).collect();
        match wishes.is_empty() {
            true => "the board has no active core with a window table".to_owned(),
            false => format!("it asks for {}, and no active core with a window table is left", list(&wishes)),
        }
    }
}

/// The core set of the partition where it is one without window tables.
fn set_without_table(system: &System, id: PartitionId) -> Option<&CoreSet> {
    let partition = system.partition(id);
    let of_core = |core: CoreId| system.core_sets.iter().find(|set| set.cores.contains(&core));
    let own = partition.core_set.map(|set| &system.core_sets[set.index()]);
    let set = own.or_else(|| partition.cores.first().and_then(|core| of_core(core.value)))?;
    (!matches!(set.policy, CorePolicy::WindowTable { .. })).then_some(set)
}

fn policy_words(policy: &CorePolicy) -> &'static str {
    match policy {
        CorePolicy::WindowTable { .. } => "window table",
        CorePolicy::BudgetServer => "budget servers",
        CorePolicy::ProportionalShare { .. } => "proportional share",
        CorePolicy::Dedicated => "dedicated",
    }
}

/// What a schedule changes of a partition.
fn change_in(system: &System, schedule: usize, id: PartitionId) -> Option<&ScheduledPartition> {
    system.schedules[schedule].changes.iter().find(|change| change.partition.value == id)
}

fn head_ns(system: &System, report: &mut Report) -> Option<u64> {
    let platform = &system.platform;
    let (Some(switch), Some(refill)) = (platform.switch, platform.refill) else {
        report.open("the platform's partition switch or refill is not given, so no window's usable time is known");
        return None;
    };
    let slip = platform.boundary_slip.map_or(0, |slip| slip.ns());
    Some(switch.ns().saturating_add(refill.ns()).saturating_add(slip))
}

/// One microsecond, or finer where a declared time is.
fn grid_ns(system: &System, head_ns: u64, pinned: &Pinned) -> u64 {
    let own = system.partitions.iter().filter_map(|p| p.grant.as_ref());
    let changed = system.schedules.iter().flat_map(|s| &s.changes).filter_map(|c| c.grant.as_ref());
    let mut grid = gcd(gcd(1_000, system.frame.ns()), head_ns);
    for grant in own.chain(changed) {
        if let RunGrant::Windows { period, budget } = grant {
            grid = gcd(gcd(grid, period.ns()), budget.map_or(0, |b| b.ns()));
        }
    }
    let windows = pinned.windows.values().flat_map(|p| p.by_schedule.iter().flatten());
    windows.fold(grid, |grid, w| gcd(gcd(grid, w.start.ns()), w.length.ns()))
}

/// What the growth rules in force leave of every core with a window table, by schedule.
fn capacities(system: &System) -> Vec<Option<Vec<u64>>> {
    let tables = |core: CoreId| {
        let set = system.core_sets.iter().find(|set| set.cores.contains(&core));
        set.is_some_and(|set| matches!(set.policy, CorePolicy::WindowTable { .. }))
    };
    let of = |(index, core): (usize, &model::system::Core)| {
        let open = core.active && tables(CoreId::new(index));
        open.then(|| (0..system.schedules.len()).map(|s| capacity_ns(system, &core.name.value, s)).collect())
    };
    system.board.cores.iter().enumerate().map(of).collect()
}

fn capacity_ns(system: &System, core: &str, schedule: usize) -> u64 {
    let frame = system.frame.ns();
    let margin = format!("margin/core/{core}");
    let in_schedule = format!("{margin}@{}", system.schedules[schedule].name.value);
    // An accepted deviation of this core's margin lifts the rule: the claim stays, the plan may be made.
    if system.accepted.iter().any(|a| a.claim.value == margin || a.claim.value == in_schedule) {
        return frame;
    }
    let left = growth_ppm(system, GrowthSubject::Cores);
    let kept = (u128::from(frame) * u128::from(left)).div_ceil(1_000_000);
    frame.saturating_sub(u64::try_from(kept).unwrap_or(u64::MAX))
}

/// The share that a growth rule in force wants left of a subject, in parts per million; 0 where none does.
pub(crate) fn growth_ppm(system: &System, subject: GrowthSubject) -> u64 {
    system.growth_rule(subject).map_or(0, |rule| rule.at_least.get())
}

/// The windows of a plan that stay as they are.
#[derive(Default)]
struct Pinned {
    windows: BTreeMap<(PartitionId, u32), PinnedWindows>,
}

struct PinnedWindows {
    core: CoreId,
    by_schedule: Vec<Vec<Window>>,
}

impl Pinned {
    fn of(system: &System, keep: Option<&Plan>, report: &mut Report) -> Self {
        let mut pinned = Self::default();
        for table in keep.into_iter().flat_map(|plan| &plan.schedules) {
            for core in &table.cores {
                let kept: Vec<Window> = core.windows.iter().copied().filter(|w| w.pinned).collect();
                report_overlaps(system, core.core, &kept, report);
                kept.into_iter().for_each(|w| pinned.add(system, core.core, table.schedule, w, report));
            }
        }
        pinned
    }

    fn add(&mut self, system: &System, core: CoreId, schedule: ScheduleId, window: Window, report: &mut Report) {
        let name = &system.partition(window.partition).name.value;
        if window.end().ns() > system.frame.ns() {
            report.impossible(format!("the pinned window of {name} at {} runs past the frame's end", window.start));
            return;
        }
        let fresh = PinnedWindows { core, by_schedule: vec![Vec::new(); system.schedules.len()] };
        let known = self.windows.entry((window.partition, window.virtual_core)).or_insert(fresh);
        if known.core != core {
            report.impossible(format!("the pinned windows of {name} lie on two cores; one virtual core has one core"));
        } else if let Some(windows) = known.by_schedule.get_mut(schedule.index()) {
            windows.push(window);
        }
    }
}

fn report_overlaps(system: &System, core: CoreId, sorted: &[Window], report: &mut Report) {
    for pair in sorted.windows(2).filter(|pair| pair[0].end() > pair[1].start) {
        let name = |w: &Window| &system.partition(w.partition).name.value;
        report.impossible(format!(
            "on core {} the pinned windows of {} at {} and of {} at {} overlap",
            system.core(core).name.value,
            name(&pair[0]),
            pair[0].start,
            name(&pair[1]),
            pair[1].start
        ));
    }
}

/// What windows take of a frame, for sentences: `42 ms of the 100 ms frame (42 %)`.
pub(crate) fn load_text(load_ns: u64, frame_ns: u64) -> String {
    format!(
        "{} of the {} frame ({})",
        quantity::Duration::from_ns(load_ns),
        quantity::Duration::from_ns(frame_ns),
        share(load_ns, frame_ns)
    )
}
