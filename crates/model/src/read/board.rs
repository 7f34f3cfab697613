//! `[board]` with its cores, caches, memories, interconnect and devices.

use super::section::{Key, Kind, SMALL, Section, words};
use super::{Context, Document, Fields, device, devicetree, shared};
use crate::system::{Arbitration, Board, Cache, Core, Interconnect, Master, Memory, Waiting};
use diagnostic::Located;
use quantity::{Bytes, CoreId, Rate};

pub(super) static SECTION: Section = Section {
    head: "[board]",
    summary: "The board that everything runs on.",
    keys: &[
        Key::required("name", Kind::Name, "The board's name."),
        Key::optional("address_bits", SMALL, "The width of a physical address in bits; 64 where not given.")
            .above_zero(),
        Key::required("core", Kind::Tables(&CORE), CORE.summary),
        Key::optional("cache", Kind::Tables(&CACHE), CACHE.summary),
        Key::optional("memory", Kind::Tables(&MEMORY), MEMORY.summary),
        Key::optional("interconnect", Kind::Table(&INTERCONNECT), INTERCONNECT.summary),
        Key::optional("device", Kind::Tables(&device::SECTION), device::SECTION.summary),
        Key::optional("shared", Kind::Tables(&shared::SHARED), shared::SHARED.summary),
        Key::optional("setting", Kind::Tables(&shared::SETTING), shared::SETTING.summary),
        Key::optional("devicetree", Kind::Table(&devicetree::SECTION), devicetree::SECTION.summary),
    ],
};

static CORE: Section = Section {
    head: "[[board.core]]",
    summary: "A core of the board.",
    keys: &[
        Key::required("name", Kind::Name, "The core's name, such as \"0\"."),
        Key::optional("clock_mhz", SMALL, "The clock in MHz, for display.").above_zero(),
        Key::optional("active", Kind::Flag, "Whether the core is in use at all; it is where not given."),
    ],
};

static CACHE: Section = Section {
    head: "[[board.cache]]",
    summary: "A cache of the board.",
    keys: &[
        Key::required("name", Kind::Name, "The cache's name."),
        Key::required("level", SMALL, "Its level, from 1.").above_zero(),
        Key::required("size", Kind::Size, "Its whole size: ways times sets times line.").above_zero(),
        Key::required("ways", SMALL, "The number of ways.").above_zero(),
        Key::optional("slices", SMALL, "The slices that addresses are hashed over; 1 where not given.").above_zero(),
        Key::required("line", Kind::Size, "The size of a line.").above_zero(),
        Key::required("cores", Kind::List(&Kind::Ref("core")), "The cores that use it."),
        Key::optional("partitionable", Kind::Flag, "Whether its ways can be given apart; not where not given."),
        Key::optional("coloured", Kind::Flag, "Whether it is shared out by the colours of pages; not where not given."),
    ],
};

static MEMORY: Section = Section {
    head: "[[board.memory]]",
    summary: "A range of the address map that is memory.",
    keys: &[
        Key::required("name", Kind::Name, "The range's name."),
        Key::required("base", Kind::Address, "Its first address."),
        Key::required("size", Kind::Size, "Its size.").above_zero(),
        Key::optional("granule", Kind::Size, "The smallest unit of access rights; \"4 KiB\" where not given.")
            .above_zero(),
        Key::optional("placeable", Kind::Flag, "Whether partitions may be placed here; not where not given."),
        Key::optional(
            "bank_bits",
            Kind::List(&Kind::List(&Kind::Count(63))),
            "For each bit of the bank's number the bits of the address of which it is the exclusive-or.",
        ),
        Key::optional("coloured", Kind::Flag, "Whether its banks are given out by pages; not where not given."),
    ],
};

static INTERCONNECT: Section = Section {
    head: "[board.interconnect]",
    summary: "The path to memory and everything that competes on it.",
    keys: &[
        Key::required("line", Kind::Size, "The bytes moved by one line request.").above_zero(),
        Key::required("guaranteed", Kind::Rate, "The rate that the memory keeps up in the worst case.").above_zero(),
        Key::optional("peak", PEAK, "The rate on the data sheet, which the guaranteed one must not pass.").above_zero(),
        Key::required("arbitration", Kind::Word(ARBITRATION_WORDS), "How masters take turns."),
        Key::optional(
            "waiting",
            Kind::Word(WAITING_WORDS),
            "Which bound on the waiting judges response times; \"request-driven\" where not given.",
        ),
        Key::required("master", Kind::Tables(&MASTER), MASTER.summary),
    ],
};

const PEAK: Kind = Kind::Either(&[Kind::Rate, Kind::Table(&TRANSFERS)]);

static TRANSFERS: Section = Section {
    head: "peak = { … }",
    summary: "The peak rate of the memory as its data sheet names it.",
    keys: &[
        Key::required("transfers_million", Kind::Count(1_000_000), "The transfers a second, in millions.").above_zero(),
        Key::required("bus_bits", Kind::Count(65_536), "The width of all its channels together.").above_zero(),
    ],
};

static MASTER: Section = Section {
    head: "[[board.interconnect.master]]",
    summary: "Something that asks for memory lines; one that is not listed voids every bound on interference.",
    keys: &[
        Key::required("name", Kind::Name, "The master's name."),
        Key::optional("core", Kind::Ref("core"), "The core, where the master is one."),
    ],
};

const ARBITRATIONS: [(&str, Arbitration); 1] = [("round-robin", Arbitration::RoundRobin)];
const ARBITRATION_WORDS: &[&str] = &words(&ARBITRATIONS);

const WAITINGS: [(&str, Waiting); 2] =
    [("request-driven", Waiting::RequestDriven), ("window-overlap", Waiting::WindowOverlap)];
const WAITING_WORDS: &[&str] = &words(&WAITINGS);

/// The width of an address where the board does not say.
pub(crate) const ADDRESS_BITS: u32 = 64;
/// The granule of a memory where it does not say.
pub(crate) const GRANULE: Bytes = Bytes::new(4096);

pub(super) fn read(doc: &Document, cx: &mut Context) -> Option<Board> {
    let fields = doc.root.table("board")?;
    // Each part is read before any missing one ends the reading, so that every unknown name is found.
    let cores: Option<_> = fields.tables("core").map(core).collect();
    let caches: Vec<_> = fields.tables("cache").map(|f| cache(f, doc, cx)).collect();
    let interconnect = fields.table("interconnect").map(|f| interconnect(f, doc, cx));
    let devices: Vec<_> = fields.tables("device").map(|f| device::read(f, doc, cx)).collect();
    let shared: Vec<_> = fields.tables("shared").map(|f| shared::read(f, doc, cx)).collect();
    let devicetree = fields.table("devicetree").and_then(|f| devicetree::read(f, doc, cx));
    Some(Board {
        name: fields.text("name")?,
        address_bits: fields.small("address_bits").map_or(ADDRESS_BITS, |bits| bits.value),
        cores: cores?,
        caches: caches.into_iter().collect::<Option<_>>()?,
        memories: fields.tables("memory").map(memory).collect::<Option<_>>()?,
        interconnect: match interconnect {
            Some(interconnect) => Some(interconnect?),
            None => None,
        },
        devices: devices.into_iter().collect::<Option<_>>()?,
        shared: shared.into_iter().collect::<Option<_>>()?,
        settings: fields.tables("setting").map(shared::setting).collect::<Option<_>>()?,
        devicetree,
    })
}

fn core(fields: &Fields) -> Option<Core> {
    Some(Core {
        name: fields.text("name")?,
        clock_hz: fields.small("clock_mhz").map(|mhz| u64::from(mhz.value) * 1_000_000),
        active: fields.flag("active").is_none_or(|active| active.value),
    })
}

fn cache(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Cache> {
    let cores = doc.names.cores.resolve_all(&fields.texts("cores"), CoreId::new, cx);
    Some(Cache {
        name: fields.text("name")?,
        level: fields.small("level")?.value,
        size: fields.size("size")?,
        ways: fields.small("ways")?,
        slices: fields.small("slices").map(|slices| slices.value),
        line: fields.size("line")?,
        cores: cores.into_iter().map(|core| core.value).collect(),
        partitionable: fields.flag("partitionable").is_some_and(|flag| flag.value),
        coloured: fields.flag("coloured").map(|flag| flag.value),
    })
}

fn memory(fields: &Fields) -> Option<Memory> {
    Some(Memory {
        name: fields.text("name")?,
        base: fields.address("base")?,
        size: fields.size("size")?,
        granule: fields.size("granule").map_or(GRANULE, |granule| granule.value),
        placeable: fields.flag("placeable").is_some_and(|flag| flag.value),
        bank_masks: fields.number_lists("bank_bits").iter().map(|bits| mask(&bits.value)).collect(),
        coloured: fields.flag("coloured").map(|flag| flag.value),
    })
}

/// The mask of some bits, none of which is above 63.
pub(crate) fn mask(bits: &[Located<u64>]) -> u64 {
    bits.iter().fold(0, |mask, bit| mask | 1 << bit.value)
}

fn interconnect(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Interconnect> {
    let masters: Vec<_> = fields.tables("master").map(|f| master(f, doc, cx)).collect();
    Some(Interconnect {
        line: fields.size("line")?,
        guaranteed: fields.rate("guaranteed")?,
        peak: peak(fields),
        arbitration: fields.word("arbitration", &ARBITRATIONS)?,
        waiting: fields.word("waiting", &WAITINGS),
        masters: masters.into_iter().collect::<Option<_>>()?,
    })
}

/// The peak rate, given or made of transfers.
pub(crate) fn peak(interconnect: &Fields) -> Option<Located<Rate>> {
    let of_sheet = |sheet: &Fields| {
        let rate = Rate::of_transfers(sheet.count("transfers_million")?.value, sheet.count("bus_bits")?.value)?;
        Some(Located::new(rate, sheet.span))
    };
    interconnect.rate("peak").or_else(|| interconnect.table("peak").and_then(of_sheet))
}

fn master(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Master> {
    let core = fields.text("core").and_then(|core| doc.names.cores.resolve(&core, CoreId::new, cx));
    Some(Master { name: fields.text("name")?, core: core.map(|core| core.value) })
}
