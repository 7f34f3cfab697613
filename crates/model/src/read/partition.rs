//! `[[partition]]`

use super::section::{COUNT, Key, Kind, SMALL, Section, words};
use super::{Context, Document, Fields, assumed, devicetree, grant, restart, system, task};
use crate::system::{ChangeAction, Guest, Locking, OpaqueNeed, Partition, Role};
use diagnostic::Located;
use quantity::{CoreId, CoreSetId, PartitionId, TaskId, ZoneId};

pub(super) static SECTION: Section = Section {
    head: "[[partition]]",
    summary: "A partition: what it is, what it asks for, and what must hold for it.",
    keys: &[
        Key::required("name", Kind::Name, "The partition's name."),
        Key::optional("function", Kind::Text, "What it is for."),
        Key::optional("supplier", Kind::Text, "Who delivers it."),
        Key::optional("level", Kind::Ref("level"), "Its criticality level, from the scale in [system]."),
        Key::optional("zone", Kind::Ref("zone"), "Its zone."),
        Key::optional("role", Kind::Word(ROLE_WORDS), "What it does for the others; \"guest\" where not given."),
        Key::required("guest", Kind::Word(GUEST_WORDS), "How its tasks are scheduled inside."),
        Key::optional("need", Kind::Table(&grant::NEED), grant::NEED.summary),
        Key::optional("virtual_cores", SMALL, "The number of its virtual cores; 1 where not given.").above_zero(),
        Key::optional("period", Kind::Time, "The period of its windows; it divides the frame.").above_zero(),
        Key::optional("budget", Kind::Time, "Its time in each period, heads of windows included; else planned.")
            .above_zero(),
        Key::optional("server", Kind::Table(&grant::SERVER), grant::SERVER.summary),
        Key::optional("share", Kind::Table(&grant::SHARE), grant::SHARE.summary),
        Key::optional("core_set", Kind::Ref("core set"), "The core set that it runs in."),
        Key::optional("cores", Kind::List(&Kind::Ref("core")), "The cores that it is pinned to, one a virtual core."),
        Key::optional("apart_from", Kind::List(&Kind::Ref("partition")), "Those that must not share a core with it."),
        Key::optional("together_with", Kind::List(&Kind::Ref("partition")), "Those that must share its core."),
        Key::optional("deadlines_hold_in", system::PHASE, "As in [system], where it differs for this partition."),
        Key::optional("ram", Kind::Size, "The RAM that it asks for.").above_zero(),
        Key::optional("reserved_as", Kind::Text, "The node of the devicetree, or its label, that reserves this RAM."),
        Key::optional("image", Kind::Size, "The size of its image in storage.").above_zero(),
        Key::optional("heap", Kind::Size, "The heap within its RAM; \"0 B\" where it has none."),
        Key::optional(
            "ram_margin",
            Kind::Share,
            "The share of its RAM that image, heap and stacks of its tasks must leave.",
        ),
        Key::optional("guard", Kind::Size, "What must lie free on both sides of its RAM.").above_zero(),
        Key::optional("working_set", Kind::Size, "The working set that its cache ways must hold.").above_zero(),
        Key::optional("useful_lines", COUNT, "The cache lines that it may use again after a pause."),
        Key::optional("evicting_lines", COUNT, "The cache lines that it touches at the most while it runs."),
        Key::optional("schedule_change", Kind::Word(CHANGE_WORDS), "What it does when the module schedule changes."),
        Key::optional("never_stops", Kind::Flag, "Whether every module schedule must hold it."),
        Key::optional("untrusted", Kind::Flag, "Whether it may fail in any way whatever."),
        Key::optional("built_by", Kind::Ref("partition"), "The partition that builds it at boot."),
        Key::optional("build_time", Kind::Time, "The execution time that its builder needs to build it.").above_zero(),
        Key::optional(
            "locking",
            Kind::Word(LOCKING_WORDS),
            "How the resources in its tasks' `sections` are protected.",
        ),
        Key::optional("restart", Kind::Table(&restart::SECTION), restart::SECTION.summary),
        Key::optional("task", Kind::Tables(&task::SECTION), task::SECTION.summary),
    ],
};

const ROLES: [(&str, Role); 3] = [("guest", Role::Guest), ("control", Role::Control), ("forwarder", Role::Forwarder)];
const ROLE_WORDS: &[&str] = &words(&ROLES);

/// The kinds of guest by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum GuestKind {
    FixedPriority,
    Edf,
    Cooperative,
    Opaque,
}

const GUESTS: [(&str, GuestKind); 4] = [
    ("fixed priority", GuestKind::FixedPriority),
    ("EDF", GuestKind::Edf),
    ("cooperative", GuestKind::Cooperative),
    ("opaque", GuestKind::Opaque),
];
const GUEST_WORDS: &[&str] = &words(&GUESTS);

const CHANGES: [(&str, ChangeAction); 3] =
    [("none", ChangeAction::None), ("warm", ChangeAction::Warm), ("cold", ChangeAction::Cold)];
const CHANGE_WORDS: &[&str] = &words(&CHANGES);

const LOCKINGS: [(&str, Locking); 2] =
    [("priority ceiling", Locking::Ceiling), ("priority inheritance", Locking::Inheritance)];
const LOCKING_WORDS: &[&str] = &words(&LOCKINGS);

/// The kind of guest that a partition names.
pub(crate) fn guest_of(fields: &Fields) -> Option<Located<GuestKind>> {
    fields.word("guest", &GUESTS)
}

/// The role that a partition has, with the place that says so.
pub(crate) fn role_of(fields: &Fields) -> Option<Located<Role>> {
    fields.word("role", &ROLES)
}

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Option<Partition>> {
    let mut tasks = tasks_of_partitions(doc).into_iter();
    let partitions = doc.root.tables("partition");
    partitions.map(|fields| partition(fields, tasks.next().unwrap_or_default(), doc, cx)).collect()
}

/// The ids of the tasks of each partition.
fn tasks_of_partitions(doc: &Document) -> Vec<Vec<TaskId>> {
    let mut ids = vec![Vec::new(); doc.names.partitions.len()];
    for (index, task) in doc.tasks.iter().enumerate() {
        if let Some(of) = ids.get_mut(task.partition) {
            of.push(TaskId::new(index));
        }
    }
    ids
}

fn partition(fields: &Fields, tasks: Vec<TaskId>, doc: &Document, cx: &mut Context) -> Option<Partition> {
    let names = &doc.names;
    let others = |key, cx: &mut Context| names.partitions.resolve_all(&fields.texts(key), PartitionId::new, cx);
    let name = fields.text("name");
    let level = fields.text("level").and_then(|name| names.levels.resolve(&name, |index| index, cx));
    let zone = fields.text("zone").and_then(|name| names.zones.resolve(&name, ZoneId::new, cx));
    let core_set = fields.text("core_set").and_then(|name| names.core_sets.resolve(&name, CoreSetId::new, cx));
    let cores = names.cores.resolve_all(&fields.texts("cores"), CoreId::new, cx);
    let (apart_from, together_with) = (others("apart_from", cx), others("together_with", cx));
    let built_by = fields.text("built_by").and_then(|name| names.partitions.resolve(&name, PartitionId::new, cx));
    let reserved_as = devicetree::reserved_as(fields, doc, cx);
    let restart = fields.table("restart").map(|fields| restart::read(fields, doc, cx));
    Some(Partition {
        virtual_cores: fields.small("virtual_cores").unwrap_or(assumed(1, name.as_ref()?.span)),
        name: name?,
        function: fields.words("function"),
        supplier: fields.words("supplier"),
        level,
        zone,
        role: role_of(fields).map_or(Role::Guest, |role| role.value),
        guest: guest(fields)?,
        grant: grant::read(fields),
        core_set,
        cores,
        apart_from,
        together_with,
        deadline_phase: system::phase(fields, "deadlines_hold_in"),
        ram: fields.size("ram"),
        reserved_as,
        image: fields.size("image"),
        heap: fields.size("heap"),
        ram_margin: fields.share("ram_margin"),
        guard: fields.size("guard"),
        working_set: fields.size("working_set"),
        useful_lines: fields.count("useful_lines"),
        evicting_lines: fields.count("evicting_lines"),
        restart,
        schedule_change: fields.word("schedule_change", &CHANGES),
        never_stops: fields.flag("never_stops").is_some_and(|flag| flag.value),
        untrusted: fields.flag("untrusted").is_some_and(|flag| flag.value),
        built_by,
        build_time: fields.time("build_time"),
        locking: fields.word("locking", &LOCKINGS),
        tasks,
    })
}

fn guest(fields: &Fields) -> Option<Located<Guest>> {
    let kind = guest_of(fields)?;
    let guest = match kind.value {
        GuestKind::FixedPriority => Guest::FixedPriority,
        GuestKind::Edf => Guest::Edf,
        GuestKind::Cooperative => Guest::Cooperative,
        GuestKind::Opaque => Guest::Opaque(opaque_need(fields.table("need")?)?),
    };
    Some(Located::new(guest, kind.span))
}

fn opaque_need(need: &Fields) -> Option<OpaqueNeed> {
    match (need.time("budget"), need.time("period"), need.share("rate"), need.time("delay")) {
        (Some(budget), Some(period), ..) => Some(OpaqueNeed::Periodic { budget: budget.value, period: period.value }),
        (_, _, Some(rate), Some(delay)) => Some(OpaqueNeed::Rate { rate: rate.value, delay: delay.value }),
        _ => None,
    }
}
