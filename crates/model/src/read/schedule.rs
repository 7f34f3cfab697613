//! `[[schedule]]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields, assumed};
use crate::system::{ModuleSchedule, RunGrant, ScheduledPartition};
use diagnostic::Located;
use quantity::{Duration, PartitionId, TaskId};

pub(super) static SECTION: Section = Section {
    head: "[[schedule]]",
    summary: "A module schedule; the first is current after boot. Where none is given there is one, \"main\".",
    keys: &[
        Key::required("name", Kind::Name, "The schedule's name."),
        Key::optional("title", Kind::Text, "What it is for."),
        Key::optional("may_follow", Kind::List(&Kind::Ref("schedule")), "The schedules that may come next; else any."),
        Key::optional("partition", Kind::Tables(&PARTITION), PARTITION.summary),
    ],
};

static PARTITION: Section = Section {
    head: "[[schedule.partition]]",
    summary: "A partition that this schedule changes; every other one is as it is declared.",
    keys: &[
        Key::required("name", Kind::Ref("partition"), "The partition."),
        Key::optional("idle", Kind::Flag, "Whether it has no windows here."),
        Key::optional("active_tasks", Kind::List(&Kind::Ref("task")), "The tasks that are active here; else all."),
        Key::optional("period", Kind::Time, "The period of its windows here; else as declared.").above_zero(),
        Key::optional("budget", Kind::Time, "Its time in each period here; else planned.").above_zero(),
    ],
};

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<ModuleSchedule> {
    if doc.names.schedules.len() == 0 {
        let about = doc.root.table("system").map_or(doc.root.span, |system| system.span);
        let name = assumed("main".to_owned(), about);
        return vec![ModuleSchedule { name, title: None, changes: Vec::new(), may_follow: Vec::new() }];
    }
    let periods: Vec<_> = doc.root.tables("partition").map(|partition| partition.time("period")).collect();
    doc.root.tables("schedule").filter_map(|fields| schedule(fields, doc, &periods, cx)).collect()
}

/// The periods of the partitions as they are declared.
type Periods = [Option<Located<Duration>>];

fn schedule(fields: &Fields, doc: &Document, periods: &Periods, cx: &mut Context) -> Option<ModuleSchedule> {
    let may_follow = fields.texts("may_follow");
    for name in &may_follow {
        // The schedule keeps the names themselves.
        doc.names.schedules.resolve(name, |index| index, cx);
    }
    let changes = fields.tables("partition").filter_map(|fields| scheduled(fields, doc, periods, cx)).collect();
    Some(ModuleSchedule { name: fields.text("name")?, title: fields.words("title"), changes, may_follow })
}

fn scheduled(fields: &Fields, doc: &Document, periods: &Periods, cx: &mut Context) -> Option<ScheduledPartition> {
    let tasks = doc.names.tasks.resolve_all(&fields.texts("active_tasks"), TaskId::new, cx);
    let tasks = tasks.into_iter().map(|task| task.value).collect();
    let partition = doc.names.partitions.resolve(&fields.text("name")?, PartitionId::new, cx)?;
    Some(ScheduledPartition {
        partition,
        idle: fields.flag("idle").is_some_and(|flag| flag.value),
        active_tasks: fields.has("active_tasks").then_some(tasks),
        grant: grant(fields, periods.get(partition.index()).copied().flatten()),
    })
}

/// The changed time: a budget alone keeps the partition's own period.
fn grant(fields: &Fields, own: Option<Located<Duration>>) -> Option<RunGrant> {
    let budget = fields.time("budget");
    match fields.time("period") {
        Some(period) => Some(RunGrant::Windows { period, budget }),
        None => Some(RunGrant::Windows { period: own?, budget: Some(budget?) }),
    }
}
