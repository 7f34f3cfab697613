//! `[platform]`

use super::section::{Key, Kind, Section};
use super::{Context, Document, Fields};
use crate::system::{Platform, PortCost, Regulation};

pub(super) static SECTION: Section = Section {
    head: "[platform]",
    summary: "What the hypervisor costs on this board. A blank is unknown, never zero.",
    keys: &[
        Key::optional("switch", Kind::Time, "The switch to another partition, at the head of every window."),
        Key::optional("refill", Kind::Time, "The refill of caches behind the switch."),
        Key::optional("context_switch", Kind::Time, "One switch between tasks of a partition; a job is charged two."),
        Key::optional("release_jitter", Kind::Time, "The release jitter of every task that gives none of its own."),
        Key::optional("nonpreemptable", Kind::Time, "The longest section of a partition that cannot be preempted."),
        Key::optional("boundary_slip", Kind::Time, "The longest call that cannot be cut at a window's end."),
        Key::optional("synchronised", Kind::Flag, "Whether the frames of all window tables begin together."),
        Key::optional("provenance", Kind::Text, "Where the numbers of this sheet come from."),
        Key::optional("port_cost", Kind::Table(&PORT_COST), PORT_COST.summary),
        Key::optional("regulation", Kind::Table(&REGULATION), REGULATION.summary),
    ],
};

static PORT_COST: Section = Section {
    head: "[platform.port_cost]",
    summary: "The cost of one port call.",
    keys: &[
        Key::required("fixed", Kind::Time, "The fixed part."),
        Key::required("per_kib", Kind::Time, "The part for each KiB copied."),
        Key::required("included", Kind::Flag, "Whether the tasks' execution times hold it already."),
    ],
};

static REGULATION: Section = Section {
    head: "[platform.regulation]",
    summary: "Memory bandwidth regulation: each core has a budget of bytes in each regulation period.",
    keys: &[
        Key::required("period", Kind::Time, "The regulation period.").above_zero(),
        Key::optional("granule", Kind::Size, "The smallest step of a budget.").above_zero(),
    ],
};

/// The platform sheet; all blank where none is declared.
pub(super) fn read(doc: &Document, _cx: &mut Context) -> Platform {
    let Some(fields) = doc.root.table("platform") else { return Platform::default() };
    Platform {
        switch: fields.time("switch"),
        refill: fields.time("refill"),
        context_switch: fields.time("context_switch"),
        release_jitter: fields.time("release_jitter"),
        nonpreemptable: fields.time("nonpreemptable"),
        boundary_slip: fields.time("boundary_slip"),
        port_cost: fields.table("port_cost").and_then(port_cost),
        regulation: fields.table("regulation").and_then(regulation),
        synchronised: fields.flag("synchronised"),
        provenance: fields.text("provenance"),
    }
}

fn port_cost(fields: &Fields) -> Option<PortCost> {
    Some(PortCost {
        fixed: fields.time("fixed")?,
        per_kib: fields.time("per_kib")?,
        included: fields.flag("included")?,
    })
}

fn regulation(fields: &Fields) -> Option<Regulation> {
    Some(Regulation { period: fields.time("period")?, granule: fields.size("granule") })
}
