//! `[[partition.task]]`, and the rows of a table of tasks.

use super::document::TaskFields;
use super::fields::Datum;
use super::section::{COUNT, Key, Kind, SMALL, Section, words};
use super::{Context, Document, Fields, assumed};
use crate::system::{CriticalSection, Exchange, PeakRate, Provenance, ProvenanceClass, Release, Task};
use diagnostic::Located;
use quantity::{Duration, PartitionId};

pub(super) static SECTION: Section = Section {
    head: "[[partition.task]]",
    summary: "A task of the partition.",
    keys: &[
        Key::column("partition", Kind::Ref("partition"), "The partition that the task belongs to."),
        Key::required("name", Kind::Name, "The task's name, unique in its partition."),
        Key::required("period", Kind::Time, "The time between two arrivals.").above_zero(),
        Key::optional("deadline", Kind::Time, "The deadline, counted from arrival; the period where not given.")
            .above_zero(),
        Key::optional("priority", SMALL, "The priority; larger is more urgent."),
        Key::optional("wcet", Kind::Time, "The longest execution time, alone on the board and without switches.")
            .above_zero(),
        Key::optional("bcet", Kind::Time, "The shortest execution time.").above_zero(),
        Key::optional("provenance", Kind::Table(&PROVENANCE), PROVENANCE.summary),
        Key::optional("line_requests", COUNT, "The line requests of one job to memory."),
        Key::optional("peak_rate", PEAK_RATE, "The highest rate of its memory traffic while it executes."),
        Key::optional(
            "sensitivity",
            Kind::Time,
            "By how much one other master, whatever it does, lengthens a job at the most.",
        ),
        Key::optional("stress", Kind::Time, "By how much a job lengthens all that runs on one other core at the most."),
        Key::optional("jitter", Kind::Time, "The release jitter, where it differs from the platform's."),
        Key::optional("blocking", Kind::Time, "The blocking time, where it differs from the platform's."),
        Key::optional("sections", Kind::Tables(&CRITICAL), CRITICAL.summary),
        Key::optional("release", Kind::Word(RELEASE_WORDS), "When jobs arrive; \"free-running\" where not given."),
        Key::optional("offset", Kind::Time, "The offset of a frame-aligned task; \"0 ms\" where not given."),
        Key::optional("sporadic", Kind::Flag, "Whether the period is only the least time between arrivals."),
        Key::optional("exchange", Kind::Word(EXCHANGE_WORDS), "When a job reads and writes; else \"start-finish\"."),
        Key::optional("output_jitter", Kind::Time, "The most by which the instants of its outputs may vary, a need."),
        Key::optional("stack", Kind::Size, "The memory that its stack takes.").above_zero(),
        Key::optional("virtual_core", SMALL, "The virtual core that the task is pinned to, from 0."),
    ],
};

static PROVENANCE: Section = Section {
    head: "provenance = { … }",
    summary: "Where the execution times come from. In a table each key is a column of its own.",
    keys: &[
        Key::required("class", Kind::Word(CLASS_WORDS), "How they were found."),
        Key::optional("source", Kind::Text, "Who says so: document, version, date."),
        Key::optional("measured_max", Kind::Time, "The highest measured value."),
        Key::optional("samples", COUNT, "The number of measurements.").above_zero(),
    ],
};

static CRITICAL: Section = Section {
    head: "sections = [{ … }]",
    summary: "A resource that the task holds for a while. In a cell: `resource: length; resource: length`.",
    keys: &[
        Key::required("resource", Kind::Name, "The resource's name."),
        Key::required("length", Kind::Time, "The longest time for which it is held.").above_zero(),
    ],
};

const EVEN: &str = "even";
const PEAK_RATE: Kind = Kind::Either(&[Kind::Rate, Kind::Word(&[EVEN])]);

const CLASSES: [(&str, ProvenanceClass); 4] = [
    ("static analysis", ProvenanceClass::StaticAnalysis),
    ("measured", ProvenanceClass::Measured),
    ("estimate", ProvenanceClass::Estimate),
    ("assumed", ProvenanceClass::Assumed),
];
const CLASS_WORDS: &[&str] = &words(&CLASSES);

const RELEASES: [(&str, bool); 2] = [("free-running", false), ("frame-aligned", true)];
const RELEASE_WORDS: &[&str] = &words(&RELEASES);

const EXCHANGES: [(&str, Exchange); 2] = [("start-finish", Exchange::StartFinish), ("logical", Exchange::Logical)];
const EXCHANGE_WORDS: &[&str] = &words(&EXCHANGES);

pub(super) fn read(doc: &Document, _cx: &mut Context) -> Vec<Option<Task>> {
    doc.tasks.iter().map(task).collect()
}

fn task(TaskFields { partition, fields }: &TaskFields) -> Option<Task> {
    let name = fields.text("name")?;
    let period = fields.time("period")?;
    Some(Task {
        release: release(fields).unwrap_or(assumed(Release::FreeRunning, name.span)),
        name,
        partition: PartitionId::new(*partition),
        deadline: fields.time("deadline").unwrap_or(period),
        period,
        priority: fields.small("priority"),
        wcet: fields.time("wcet"),
        bcet: fields.time("bcet"),
        provenance: fields.table("provenance").and_then(provenance),
        line_requests: fields.count("line_requests"),
        peak_rate: peak_rate(fields),
        sensitivity: fields.time("sensitivity"),
        stress: fields.time("stress"),
        jitter: fields.time("jitter"),
        blocking: fields.time("blocking"),
        sections: fields.tables("sections").filter_map(critical).collect(),
        sporadic: fields.flag("sporadic").is_some_and(|flag| flag.value),
        exchange: fields.word("exchange", &EXCHANGES).map_or(Exchange::StartFinish, |exchange| exchange.value),
        output_jitter: fields.time("output_jitter"),
        stack: fields.size("stack"),
        virtual_core: fields.small("virtual_core"),
    })
}

/// Whether the arrivals of a task are tied to the frame.
pub(crate) fn is_aligned(fields: &Fields) -> bool {
    fields.word("release", &RELEASES).is_some_and(|aligned| aligned.value)
}

fn release(fields: &Fields) -> Option<Located<Release>> {
    let aligned = fields.word("release", &RELEASES)?;
    let offset = fields.time("offset").map_or(Duration::ZERO, |offset| offset.value);
    Some(aligned.map(|aligned| if aligned { Release::FrameAligned { offset } } else { Release::FreeRunning }))
}

fn provenance(fields: &Fields) -> Option<Located<Provenance>> {
    let class = fields.word("class", &CLASSES)?;
    let provenance = Provenance {
        class: class.value,
        measured_max: fields.time("measured_max").map(|time| time.value),
        samples: fields.count("samples").map(|samples| samples.value),
        source: fields.words("source"),
    };
    Some(Located::new(provenance, class.span))
}

fn peak_rate(fields: &Fields) -> Option<Located<PeakRate>> {
    let value = fields.value("peak_rate")?;
    match value.value {
        Datum::Text(_) => Some(Located::new(PeakRate::Even, value.span)),
        Datum::Rate(rate) => Some(Located::new(PeakRate::AtMost(rate), value.span)),
        _ => None,
    }
}

fn critical(fields: &Fields) -> Option<CriticalSection> {
    Some(CriticalSection { resource: fields.text("resource")?, length: fields.time("length")? })
}
