//! The keys of the plan file, declared once for reading and documentation.

use model::tables::{Key, Kind, SMALL, Section};

pub(super) static PLAN_FILE: Section = Section {
    head: "the plan file",
    summary: "A plan: windows, places in memory, cache ways, bandwidth budgets.",
    keys: &[
        Key::optional("plan", Kind::Table(&PLAN), "What the plan is."),
        Key::optional("window", Kind::Tables(&WINDOW), "The partition time windows."),
        Key::optional("placement", Kind::Tables(&PLACEMENT), "What lies where in memory."),
        Key::optional("cache_ways", Kind::Tables(&CACHE_WAYS), "Who has which ways of a cache."),
        Key::optional("cache_colours", Kind::Tables(&CACHE_COLOURS), "Who has which page colours of a cache."),
        Key::optional("memory_banks", Kind::Tables(&MEMORY_BANKS), "Who has which banks of a memory."),
        Key::optional("bandwidth", Kind::Tables(&BANDWIDTH), "The bandwidth budgets of the masters."),
    ],
};

static PLAN: Section = Section {
    head: "[plan]",
    summary: "What the plan is.",
    keys: &[Key::optional("made_for", Kind::Text, "The digest of the system that it was made for.")],
};

static WINDOW: Section = Section {
    head: "[[window]]",
    summary: "A partition time window on one core, in every frame.",
    keys: &[
        Key::required("core", Kind::Ref("core"), "The core."),
        Key::required("partition", Kind::Ref("partition"), "The partition that runs."),
        Key::optional("virtual_core", SMALL, "Which of its virtual cores runs, from 0; 0 where not given."),
        Key::optional("schedule", Kind::Ref("schedule"), "The module schedule; the first where not given."),
        Key::required("start", Kind::Time, "The start, counted from the frame's begin."),
        Key::required("length", Kind::Time, "The length, head included."),
        Key::optional(
            "every",
            Kind::Time,
            "Repeats the window at this distance to the frame's end; it divides the frame.",
        ),
        Key::optional("pinned", Kind::Flag, "Whether the planner must leave it where it is; false where not given."),
    ],
};

static PLACEMENT: Section = Section {
    head: "[[placement]]",
    summary: "A range of memory given to a partition or to a region of the system.",
    keys: &[
        Key::optional("partition", Kind::Ref("partition"), "The partition whose RAM this is."),
        Key::optional("region", Kind::Ref("region"), "The region that this is."),
        Key::required("base", Kind::Address, "The first address."),
        Key::required("size", Kind::Size, "The size."),
        Key::optional("pinned", Kind::Flag, "Whether the planner must leave it where it is; false where not given."),
    ],
};

static CACHE_WAYS: Section = Section {
    head: "[[cache_ways]]",
    summary: "Ways of a cache for a core or for one partition.",
    keys: &[
        Key::required("cache", Kind::Ref("cache"), "The cache."),
        Key::optional("core", Kind::Ref("core"), "The core that has them."),
        Key::optional("partition", Kind::Ref("partition"), "The partition that has them."),
        Key::required("ways", Kind::Text, "The ways from 0, such as \"0-3\" or \"0,2,5-7\"."),
    ],
};

static CACHE_COLOURS: Section = Section {
    head: "[[cache_colours]]",
    summary: "Page colours of a cache for one partition, in place of ways.",
    keys: &[
        Key::required("cache", Kind::Ref("cache"), "The cache."),
        Key::required("partition", Kind::Ref("partition"), "The partition whose pages have these colours only."),
        Key::required("colours", Kind::Text, "The colours from 0, such as \"0-7\" or \"0,2,5-7\"."),
    ],
};

static MEMORY_BANKS: Section = Section {
    head: "[[memory_banks]]",
    summary: "Banks of a memory for one partition that lies in it.",
    keys: &[
        Key::required("memory", Kind::Ref("memory"), "The memory."),
        Key::required("partition", Kind::Ref("partition"), "The partition whose pages lie in these banks only."),
        Key::required("banks", Kind::Text, "The banks from 0, such as \"0-7\" or \"0,2,5-7\"."),
    ],
};

static BANDWIDTH: Section = Section {
    head: "[[bandwidth]]",
    summary: "The rate that a master may move memory at, kept in every regulation period.",
    keys: &[
        Key::required("master", Kind::Ref("master"), "The master of the interconnect."),
        Key::required("budget", Kind::Rate, "The budget."),
    ],
};

/// The sections in the order in which people read about them, for the documentation.
pub(super) static ALL: [&Section; 7] =
    [&PLAN, &WINDOW, &PLACEMENT, &CACHE_WAYS, &CACHE_COLOURS, &MEMORY_BANKS, &BANDWIDTH];
