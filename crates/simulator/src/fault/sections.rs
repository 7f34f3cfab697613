//! The keys of the scenario file, declared once for reading and documentation.

use crate::scenario::{Begin, Contention, Spread};
use model::tables::{Key, Kind, Section};

pub(super) const BEGINS: [(&str, Begin); 2] = [("running", Begin::Running), ("first-frame", Begin::FirstFrame)];
pub(super) const CONTENTIONS: [(&str, Contention); 2] =
    [("full", Contention::Full), ("concurrent", Contention::Concurrent)];
pub(super) const SPREADS: [(&str, Spread); 4] =
    [("even", Spread::Even), ("least", Spread::Least), ("most", Spread::Most), ("ends", Spread::Ends)];

const COUNT: Kind = Kind::Count(quantity::LIMIT);
const SPREAD: Kind = Kind::Word(&["even", "least", "most", "ends"]);

pub(super) static SCENARIO_FILE: Section = Section {
    head: "the scenario file",
    summary: "How one run goes: its times, its faults, the protections that are off.",
    keys: &[
        Key::optional("run", Kind::Table(&RUN), "How the run goes."),
        Key::optional("off", Kind::List(&Kind::Text), "The protections that are off; none where not given."),
        Key::optional("fault", Kind::Tables(&FAULT), "The faults."),
        Key::optional("change", Kind::Tables(&CHANGE), "Requests for another module schedule."),
        Key::optional("job", Kind::Tables(&JOB), "Jobs, where they are given one by one."),
    ],
};

static RUN: Section = Section {
    head: "[run]",
    summary: "How the run goes.",
    keys: &[
        Key::optional("span", Kind::Time, "How long it lasts; ten frames where not given.").above_zero(),
        Key::optional(
            "seed",
            Kind::Either(&[COUNT, Kind::Text]),
            "The seed of every draw; 1 where not given. One above 9007199254740991 is written in quotes.",
        ),
        Key::optional("run", Kind::Either(&[COUNT, Kind::Text]), "The number of the run; 0 where not given."),
        Key::optional(
            "begin",
            Kind::Word(&["running", "first-frame"]),
            "Where it begins: everything operational, or at boot's first frame; \"running\" where not given.",
        ),
        Key::optional(
            "schedule",
            Kind::Ref("schedule"),
            "The module schedule at its begin; the first where not given.",
        ),
        Key::optional(
            "times",
            Kind::Word(&["drawn", "given"]),
            "Whether jobs are drawn or given one by one; \"given\" where there is a [[job]], else \"drawn\".",
        ),
        Key::optional("execution", SPREAD, "Where in their range execution times are drawn; \"even\" where not given."),
        Key::optional("phases", SPREAD, "First arrivals of free-running tasks, likewise."),
        Key::optional("jitters", SPREAD, "Release jitters, and gaps of sporadic tasks, likewise."),
        Key::optional("blocking", SPREAD, "How long begun jobs go on, likewise."),
        Key::optional(
            "contention",
            Kind::Word(&["full", "concurrent"]),
            "For what line requests wait: each for a request of every other master, or for what others ask for at the same time; \
             \"full\" where not given.",
        ),
    ],
};

static FAULT: Section = Section {
    head: "[[fault]]",
    summary: "A fault.",
    keys: &[
        Key::required("kind", Kind::Text, "Its kind."),
        Key::required(
            "target",
            Kind::Text,
            "What it happens to: the name of a partition, `PARTITION.task`, port, device or core.",
        ),
        Key::optional("at", Kind::Time, "When it begins, from the run's begin; 0 where not given."),
        Key::optional("parameters", Kind::Table(&PARAMETERS), "Those of its kind; each has a default."),
    ],
};

pub(super) static PARAMETERS: Section = Section {
    head: "[fault.parameters]",
    summary: "Parameters of a fault; the table of its kind says which it has.",
    keys: &[
        Key::optional("extra", Kind::Time, "By how much jobs pass their charged time.").above_zero(),
        Key::optional("jobs", COUNT, "How many jobs.").above_zero(),
        Key::optional("start", Kind::Word(&["warm", "cold"]), "How the partition is started again."),
        Key::optional("count", COUNT, "How many times.").above_zero(),
        Key::optional("every", Kind::Time, "The time from one to the next.").above_zero(),
        Key::optional("for", Kind::Time, "For how long.").above_zero(),
        Key::optional("messages", COUNT, "How many messages.").above_zero(),
        Key::optional("lines", COUNT, "How many lines in a turn.").above_zero(),
        Key::optional("by", Kind::Time, "By how much windows are late.").above_zero(),
        Key::optional("windows", COUNT, "How many windows.").above_zero(),
    ],
};

static CHANGE: Section = Section {
    head: "[[change]]",
    summary: "A request for another module schedule, which takes effect at the frame's end.",
    keys: &[
        Key::required("at", Kind::Time, "When it is asked for, from the run's begin."),
        Key::required("to", Kind::Ref("schedule"), "The schedule."),
    ],
};

static JOB: Section = Section {
    head: "[[job]]",
    summary: "A job of a scenario that is replayed; a task without one has no jobs.",
    keys: &[
        Key::required("task", Kind::Ref("task"), "The task, as `PARTITION.task`."),
        Key::required("arrival", Kind::Time, "Its arrival, from the run's begin."),
        Key::optional("release", Kind::Time, "Its release, its jitter later at most; its arrival where not given."),
        Key::required("execution", Kind::Time, "How long it executes.").above_zero(),
        Key::optional(
            "goes_on",
            Kind::Time,
            "How long it goes on once a more urgent job is released while it has begun; 0 where not given.",
        ),
    ],
};

pub(super) static ALL: [&Section; 6] = [&SCENARIO_FILE, &RUN, &FAULT, &PARAMETERS, &CHANGE, &JOB];
