//! `[boot]`

use super::section::{Key, Kind, Section, words};
use super::{Context, Document, Fields};
use crate::system::{Boot, BootNeed, BootStage};
use quantity::PartitionId;

pub(super) static SECTION: Section = Section {
    head: "[boot]",
    summary: "What happens from reset to the first frame, and by when partitions must be operational.",
    keys: &[
        Key::optional("stage", Kind::Tables(&STAGE), STAGE.summary),
        Key::optional("need", Kind::Tables(&NEED), NEED.summary),
    ],
};

static STAGE: Section = Section {
    head: "[[boot.stage]]",
    summary: "A stage of the boot; the first frame begins when all have ended.",
    keys: &[
        Key::required("name", Kind::Name, "The stage's name."),
        Key::optional("time", Kind::Time, "The time that it takes beside loading."),
        Key::optional("load", Kind::Size, "What it loads or authenticates.").above_zero(),
        Key::optional("rate", Kind::Rate, "The rate at which it does.").above_zero(),
        Key::optional("after", Kind::List(&Kind::Ref("boot stage")), "The stages that must have ended before."),
    ],
};

static NEED: Section = Section {
    head: "[[boot.need]]",
    summary: "A time within which partitions must be operational.",
    keys: &[
        Key::required("partitions", Kind::List(&Kind::Ref("partition")), "The partitions."),
        Key::required("within", Kind::Time, "The time.").above_zero(),
        Key::required("from", Kind::Word(START_WORDS), "Where it counts from."),
        Key::optional("reason", Kind::Text, "Why."),
    ],
};

/// Whether the time counts from reset.
const STARTS: [(&str, bool); 2] = [("reset", true), ("first frame", false)];
const START_WORDS: &[&str] = &words(&STARTS);

pub(super) fn read(doc: &Document, cx: &mut Context) -> Option<Boot> {
    let fields = doc.root.table("boot")?;
    let stages = fields.tables("stage").filter_map(|fields| stage(fields, doc, cx)).collect();
    let needs = fields.tables("need").filter_map(|fields| need(fields, doc, cx)).collect();
    Some(Boot { stages, needs })
}

fn stage(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<BootStage> {
    let after = doc.names.stages.resolve_all(&fields.texts("after"), |index| index, cx);
    Some(BootStage {
        name: fields.text("name")?,
        time: fields.time("time"),
        load: fields.size("load").zip(fields.rate("rate")),
        after,
    })
}

fn need(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<BootNeed> {
    let partitions = doc.names.partitions.resolve_all(&fields.texts("partitions"), PartitionId::new, cx);
    Some(BootNeed {
        partitions,
        within: fields.time("within")?,
        from_reset: fields.word("from", &STARTS)?.value,
        reason: fields.words("reason"),
    })
}
