//! `[[board.device]]`

use super::names::report_unknown;
use super::section::{Key, Kind, SMALL, Section, words};
use super::{Context, Document, Fields};
use crate::system::{Device, Interrupt, InterruptPolicy, Placed};
use diagnostic::Located;
use quantity::{CoreId, MemoryId, PartitionId};

pub(super) static SECTION: Section = Section {
    head: "[[board.device]]",
    summary: "A device of the board.",
    keys: &[
        Key::required("name", Kind::Name, "The device's name."),
        Key::optional("owner", Kind::Ref("partition"), "The partition that owns it."),
        Key::optional("shared_with", Kind::List(&Kind::Ref("partition")), "Those that share it through the owner."),
        Key::optional("service", Kind::Text, "What the owner lets through of what those ask that share it."),
        Key::optional("registers", Kind::Table(&REGISTERS), REGISTERS.summary),
        Key::optional("dma_stream", Kind::Text, "Its stream at the I/O memory unit, where it moves memory by itself."),
        Key::optional("dma_rate", Kind::Rate, "The rate at which it moves memory by itself.").above_zero(),
        Key::optional(
            "dma_burst",
            Kind::Size,
            "The most that it asks for at once: in any time no more than this and its rate through that time.",
        )
        .above_zero(),
        Key::optional("dma_address_bits", SMALL, "The widest address that it can form, in bits.").above_zero(),
        Key::optional("memory", Kind::Ref("memory region"), "A memory of the board that its stream reaches whole."),
        Key::optional(
            "reaches",
            Kind::List(&Kind::Ref("partition or region")),
            "The partitions whose RAM, and the regions, that its stream reaches.",
        ),
        Key::optional("capacity", Kind::Rate, "The rate that the device itself can carry.").above_zero(),
        Key::optional("interrupt", Kind::Tables(&INTERRUPT), INTERRUPT.summary),
    ],
};

static REGISTERS: Section = Section {
    head: "registers = { … }",
    summary: "The device's register range.",
    keys: &[
        Key::required("base", Kind::Address, "The first address."),
        Key::required("size", Kind::Size, "The size.").above_zero(),
    ],
};

static INTERRUPT: Section = Section {
    head: "[[board.device.interrupt]]",
    summary: "An interrupt line of the device.",
    keys: &[
        Key::required("line", Kind::Text, "The line's number or name."),
        Key::optional("core", Kind::Ref("core"), "The core that it is routed to."),
        Key::optional("policy", Kind::Word(POLICY_WORDS), "What happens outside the owner's windows."),
        Key::optional("min_interarrival", Kind::Time, "The least time between two of them.").above_zero(),
        Key::optional("handler", Kind::Time, "The time that the handler takes."),
    ],
};

const POLICIES: [(&str, InterruptPolicy); 2] =
    [("pended", InterruptPolicy::Pended), ("immediate", InterruptPolicy::Immediate)];
const POLICY_WORDS: &[&str] = &words(&POLICIES);

pub(super) fn read(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Device> {
    let partitions = &doc.names.partitions;
    let owner = fields.text("owner").and_then(|name| partitions.resolve(&name, PartitionId::new, cx));
    let shared_with = partitions.resolve_all(&fields.texts("shared_with"), PartitionId::new, cx);
    let memory = fields.text("memory").and_then(|name| doc.names.memories.resolve(&name, MemoryId::new, cx));
    let interrupts: Vec<_> = fields.tables("interrupt").map(|f| interrupt(f, doc, cx)).collect();
    let registers = fields.table("registers").and_then(|range| Some((range.address("base")?, range.size("size")?)));
    Some(Device {
        name: fields.text("name")?,
        owner,
        shared_with,
        service: fields.text("service"),
        registers,
        dma_stream: fields.text("dma_stream"),
        dma_rate: fields.rate("dma_rate"),
        dma_burst: fields.size("dma_burst"),
        dma_address_bits: fields.small("dma_address_bits").map(|bits| bits.value),
        memory: memory.map(|memory| memory.value),
        reaches: fields.texts("reaches").iter().filter_map(|name| reached(name, doc, cx)).collect(),
        capacity: fields.rate("capacity"),
        interrupts: interrupts.into_iter().collect::<Option<_>>()?,
    })
}

/// What a plan places under a name.
fn reached(name: &Located<String>, doc: &Document, cx: &mut Context) -> Option<Located<Placed>> {
    let (partitions, regions) = (&doc.names.partitions, &doc.names.regions);
    let partition = partitions.get(&name.value).map(|index| Placed::Partition(PartitionId::new(index)));
    let placed = partition.or_else(|| regions.get(&name.value).map(Placed::Region));
    if placed.is_none() {
        report_unknown(name, "partition or region", &[partitions, regions], cx);
    }
    placed.map(|placed| Located::new(placed, name.span))
}

fn interrupt(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Interrupt> {
    let core = fields.text("core").and_then(|core| doc.names.cores.resolve(&core, CoreId::new, cx));
    Some(Interrupt {
        line: fields.text("line")?,
        core,
        policy: fields.word("policy", &POLICIES),
        min_interarrival: fields.time("min_interarrival"),
        handler: fields.time("handler"),
    })
}
