//! `[[region]]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields, devicetree, protection};
use crate::system::{Region, RegionOwner, Rights};
use diagnostic::Located;
use diagnostic::codes::channel::AMBIGUOUS_NAME;
use quantity::PartitionId;

pub(super) static SECTION: Section = Section {
    head: "[[region]]",
    summary: "Memory asked for beyond the partitions' own RAM.",
    keys: &[
        Key::required("name", Kind::Name, "The region's name, unlike that of any partition."),
        Key::required("size", Kind::Size, "Its size.").above_zero(),
        Key::required("owner", Kind::Ref("partition, or \"hypervisor\" or \"shared\""), "Whose it is."),
        Key::optional(
            "owner_rights",
            Kind::Text,
            "What its owner may do, in letters as in `access`; anything where not given.",
        ),
        Key::optional("access", Kind::Tables(&ACCESS), ACCESS.summary),
        Key::optional("writable_code", Kind::Text, "Why what somebody may write there may be executed."),
        Key::optional("protocol", Kind::Text, "How several writers keep out of each other's way."),
        protection::KEY,
        Key::optional("guard", Kind::Size, "What must lie free on both sides of it.").above_zero(),
        Key::optional("reserved_as", Kind::Text, "The node of the devicetree, or its label, that reserves it."),
    ],
};

static ACCESS: Section = Section {
    head: "access = [{ … }]",
    summary: "What a partition beside the owner may do with the region.",
    keys: &[
        Key::required("partition", Kind::Ref("partition"), "The partition."),
        Key::required("rights", Kind::Text, "Letters of r (read), w (write) and x (execute), each at most once."),
    ],
};

/// The owners that are no partitions.
const OWNERS: [(&str, RegionOwner); 2] = [("hypervisor", RegionOwner::Hypervisor), ("shared", RegionOwner::Shared)];

/// Whether a region is nobody's own.
pub(crate) fn is_shared(fields: &Fields) -> bool {
    fields.word("owner", &OWNERS).is_some_and(|owner| owner.value == RegionOwner::Shared)
}

/// The owner, where it is a partition.
pub(crate) fn owning_partition(fields: &Fields) -> Option<Located<String>> {
    fields.text("owner").filter(|owner| OWNERS.iter().all(|(word, _)| *word != owner.value))
}

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<Region> {
    let regions = doc.root.tables("region");
    let regions = regions.filter_map(|fields| {
        let owner = fields.text("owner").and_then(|name| owner(&name, doc, cx));
        let access = fields.tables("access").filter_map(|fields| access(fields, doc, cx)).collect();
        let reserved_as = devicetree::reserved_as(fields, doc, cx);
        let measures = protection::read(fields, doc, cx);
        Some(Region {
            name: fields.text("name")?,
            size: fields.size("size")?,
            owner: owner?,
            owner_rights: fields.text("owner_rights").and_then(|letters| rights_of(&letters.value)),
            access,
            writable_code: fields.text("writable_code"),
            protocol: fields.text("protocol"),
            measures,
            guard: fields.size("guard"),
            reserved_as,
        })
    });
    regions.collect()
}

fn owner(name: &Located<String>, doc: &Document, cx: &mut Context) -> Option<RegionOwner> {
    let partitions = &doc.names.partitions;
    let Some((word, owner)) = OWNERS.iter().find(|(word, _)| *word == name.value) else {
        let partition = partitions.resolve(name, PartitionId::new, cx)?;
        return Some(RegionOwner::Partition(partition.value));
    };
    if let Some(place) = partitions.get(word).and_then(|index| partitions.place(index)) {
        let message = format!("the owner `{word}` is both a word of this file and the name of a partition");
        let fault = diagnostic::Diagnostic::new(&AMBIGUOUS_NAME, name.span, message).also(place, "the partition");
        cx.report(fault.help("give the partition another name"));
    }
    Some(*owner)
}

fn access(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<(Located<PartitionId>, Rights)> {
    let partition = fields.text("partition").and_then(|name| doc.names.partitions.resolve(&name, PartitionId::new, cx));
    Some((partition?, rights_of(&fields.text("rights")?.value)?))
}

/// The rights that letters name; `None` for other letters, for a letter twice, and for none.
pub(crate) fn rights_of(letters: &str) -> Option<Rights> {
    let mut rights = Rights::default();
    for letter in letters.chars() {
        let right = match letter {
            'r' => &mut rights.read,
            'w' => &mut rights.write,
            'x' => &mut rights.execute,
            _ => return None,
        };
        if std::mem::replace(right, true) {
            return None;
        }
    }
    (!letters.is_empty()).then_some(rights)
}
