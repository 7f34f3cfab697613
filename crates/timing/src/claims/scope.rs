//! One module schedule of a system, with its table in the plan.

use super::windows;
use claim::{Basis, Kind, Verdict};
use diagnostic::Span;
use model::System;
use model::system::{CorePolicy, Interrupt, ModuleSchedule, RunGrant, ScheduledPartition};
use plan::{CoreTable, Plan, ScheduleTable, Window};
use quantity::{CoreId, PartitionId, ScheduleId, TaskId};
use std::cell::OnceCell;

/// What the claims of one schedule look at.
pub(super) struct Scope<'a> {
    pub(super) system: &'a System,
    pub(super) plan: &'a Plan,
    schedule: ScheduleId,
    table: Option<&'a ScheduleTable>,
    /// What is wrong with the table of each core, found when first asked for.
    faults: Vec<OnceCell<Vec<String>>>,
}

impl<'a> Scope<'a> {
    pub(super) fn of_each_schedule(system: &'a System, plan: &'a Plan) -> Vec<Self> {
        (0..system.schedules.len()).map(ScheduleId::new).map(|schedule| Self::of(system, plan, schedule)).collect()
    }

    pub(super) fn of(system: &'a System, plan: &'a Plan, schedule: ScheduleId) -> Self {
        let table = plan.schedules.iter().find(|table| table.schedule == schedule);
        Self { system, plan, schedule, table, faults: vec![OnceCell::new(); system.board.cores.len()] }
    }

    /// What makes the table of a core no table: then its supply means nothing.
    pub(super) fn table_faults(&self, core: CoreId) -> &[String] {
        self.faults[core.index()].get_or_init(|| windows::faults(self, core))
    }

    /// A claim of this schedule about which nothing is known yet.
    pub(super) fn claim(&self, kind: Kind, subject: String, basis: Basis, place: Span, reason: String) -> Verdict {
        let verdict = Verdict::not_analysed(kind, subject, basis, reason);
        Verdict { id: self.id(&verdict.id), place: Some(place), ..verdict }
    }

    /// The id of a claim here: with several module schedules each one's name is behind.
    fn id(&self, of_claim: &str) -> String {
        if self.system.schedules.len() > 1 { format!("{of_claim}@{}", self.name()) } else { of_claim.to_owned() }
    }

    /// The id of the claim about a task's response.
    pub(super) fn response_id(&self, task: TaskId) -> String {
        self.id(&format!("{}/{}", Kind::Response.key(), self.system.task_label(task)))
    }

    pub(super) fn name(&self) -> &str {
        &self.module_schedule().name.value
    }

    pub(super) fn module_schedule(&self) -> &'a ModuleSchedule {
        &self.system.schedules[self.schedule.index()]
    }

    pub(super) fn frame_ns(&self) -> u64 {
        self.system.frame.value.ns()
    }

    fn change(&self, partition: PartitionId) -> Option<&'a ScheduledPartition> {
        let changes = &self.system.schedules[self.schedule.index()].changes;
        changes.iter().find(|change| change.partition.value == partition)
    }

    pub(super) fn is_idle(&self, partition: PartitionId) -> bool {
        self.change(partition).is_some_and(|change| change.idle)
    }

    pub(super) fn running_partitions(&self) -> impl Iterator<Item = PartitionId> {
        self.system.partition_ids().filter(|&partition| !self.is_idle(partition))
    }

    /// What the partition asks for in this schedule.
    pub(super) fn grant(&self, partition: PartitionId) -> Option<&'a RunGrant> {
        let here = self.change(partition).and_then(|change| change.grant.as_ref());
        here.or(self.system.partition(partition).grant.as_ref())
    }

    /// The tasks of the partition that are active in this schedule.
    pub(super) fn tasks(&self, partition: PartitionId) -> &'a [TaskId] {
        let here = self.change(partition).and_then(|change| change.active_tasks.as_deref());
        here.unwrap_or(&self.system.partition(partition).tasks)
    }

    /// The plan's table of the schedule.
    ///
    /// # Errors
    /// That the plan has none.
    pub(super) fn table(&self) -> Result<&'a ScheduleTable, String> {
        self.table.ok_or_else(|| format!("the plan has no windows for the module schedule `{}`", self.name()))
    }

    pub(super) fn windows_on(&self, core: CoreId) -> &'a [Window] {
        let table = self.table.and_then(|table| table.cores.iter().find(|table| table.core == core));
        table.map_or(&[], |table| &table.windows)
    }

    /// The tables of the cores on which one virtual core of a partition has windows.
    pub(super) fn tables_of(&self, partition: PartitionId, virtual_core: u32) -> Vec<&'a CoreTable> {
        let mine = |window: &Window| window.partition == partition && window.virtual_core == virtual_core;
        let tables = self.table.map_or(&[][..], |table| &table.cores);
        tables.iter().filter(|table| table.windows.iter().any(mine)).collect()
    }

    /// The cores that have a window table.
    pub(super) fn table_cores(&self) -> impl Iterator<Item = CoreId> {
        let cores = (0..self.system.board.cores.len()).map(CoreId::new);
        cores.filter(|&core| matches!(self.policy(core), Some(CorePolicy::WindowTable { .. })))
    }

    pub(super) fn policy(&self, core: CoreId) -> Option<&'a CorePolicy> {
        self.system.core_sets.iter().find(|set| set.cores.contains(&core)).map(|set| &set.policy)
    }

    /// How the cores are scheduled on which a virtual core of the partition has windows, or else belongs.
    pub(super) fn policies_of(&self, partition: PartitionId, virtual_core: u32) -> Vec<&'a CorePolicy> {
        let tables = self.tables_of(partition, virtual_core);
        let policies: Vec<_> = tables.iter().filter_map(|table| self.policy(table.core)).collect();
        let home = || self.home_set(partition, virtual_core).map(|set| &set.policy).into_iter().collect();
        if policies.is_empty() { home() } else { policies }
    }

    /// The interrupts that come on a core. One of which it is not said where it goes may come anywhere.
    pub(super) fn interrupts_on(&self, core: CoreId) -> impl Iterator<Item = &'a Interrupt> {
        let interrupts = self.system.board.devices.iter().flat_map(|device| &device.interrupts);
        interrupts.filter(move |interrupt| interrupt.core.as_ref().is_none_or(|routed| routed.value == core))
    }

    pub(super) fn partition_name(&self, partition: PartitionId) -> &'a str {
        &self.system.partition(partition).name.value
    }

    pub(super) fn core_name(&self, core: CoreId) -> &'a str {
        &self.system.core(core).name.value
    }
}
