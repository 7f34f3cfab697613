//! `[[containment]]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields, assumed};
use crate::system::Containment;
use quantity::{PartitionId, Ppm};

pub(super) static SECTION: Section = Section {
    head: "[[containment]]",
    summary: "Whom the faults of a partition may reach, judged by a campaign.",
    keys: &[
        Key::required("partition", Kind::Ref("partition"), "The partition that fails."),
        Key::optional(
            "within",
            Kind::List(&Kind::Ref("partition")),
            "Who may feel it beside the partition itself; nobody where not given.",
        ),
        Key::optional(
            "at_most",
            Kind::Share,
            "The share of faults that may still reach another as far as a campaign can tell; \"1 %\" where not given.",
        )
        .above_zero(),
    ],
};

/// The share where none is given.
const USUAL: Ppm = Ppm::new(10_000);

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Containment> {
    doc.root.tables("containment").filter_map(|fields| containment(fields, doc, cx)).collect()
}

fn containment(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Containment> {
    let within = doc.names.partitions.resolve_all(&fields.texts("within"), PartitionId::new, cx);
    let partition = doc.names.partitions.resolve(&fields.text("partition")?, PartitionId::new, cx)?;
    let at_most = fields.share("at_most").unwrap_or_else(|| assumed(USUAL, partition.span));
    Some(Containment { partition, within, at_most, place: fields.span })
}
