//! The keys of the map file, declared once for reading and documentation.

use crate::event::Word;
use model::tables::{Key, Kind, Section};

/// What a mark can mean: every word of the plan.
const WORDS: [&str; Word::TEXTS.len()] = {
    let mut words = [""; Word::TEXTS.len()];
    let mut index = 0;
    while index < words.len() {
        words[index] = Word::TEXTS[index].1;
        index += 1;
    }
    words
};

pub(super) static MAP_FILE: Section = Section {
    head: "the map file",
    summary: "Which names, ids and cpus of a recording are which partitions, tasks, ports and cores.",
    keys: &[
        Key::optional("tolerance", Kind::Time, "By how much windows may begin and end earlier or later than planned."),
        Key::optional("frame_at", Kind::Time, "An instant of the first source's clock at which a frame begins."),
        Key::optional(
            "rehearsal",
            Kind::Flag,
            "Whether another machine stood in for the target: then nothing is held against bounds.",
        ),
        Key::optional("sync", Kind::Text, "The texts of marks that several sources record at the same instants."),
        Key::optional("cpu", Kind::Tables(&CPU), "Cores that are not named as the recording numbers them."),
        Key::optional("thread", Kind::Tables(&THREAD), "Threads."),
        Key::optional("mark", Kind::Tables(&MARK), "Marks that say something in the plan's words."),
        Key::optional("span", Kind::Tables(&SPAN), "Spans that are windows or executions."),
        Key::optional("flow", Kind::Tables(&FLOW), "Flows of the internal network."),
        Key::optional(
            "channel",
            Kind::Tables(&CHANNEL),
            "Channels as a draft declares them; `trace` passes over these.",
        ),
    ],
};

static CPU: Section = Section {
    head: "[[cpu]]",
    summary: "A core that is not named as the recording numbers it.",
    keys: &[
        Key::required("number", Kind::Count(65_534), "The number in the recording."),
        Key::required("core", Kind::Ref("core"), "The core of the board."),
    ],
};

static THREAD: Section = Section {
    head: "[[thread]]",
    summary: "Threads: the first entry that fits one counts. Needs `name`, `id` or both.",
    keys: &[
        Key::optional("name", Kind::Text, "The thread's name; `*` stands for any number of characters."),
        Key::optional("id", Kind::Count(4_294_967_295), "The thread's number."),
        Key::optional("task", Kind::Ref("task"), "The task that it executes, as `PARTITION.task`."),
        Key::optional("partition", Kind::Ref("partition"), "The partition that it belongs to."),
        Key::optional("platform", Kind::Flag, "Whether it is the platform's own."),
        Key::optional(
            "jobs",
            Kind::Flag,
            "Whether each wake-up is an arrival and each wait a completion of `task`; false where not given.",
        ),
    ],
};

static MARK: Section = Section {
    head: "[[mark]]",
    summary: "Marks: the first entry that fits one counts.",
    keys: &[
        Key::required("text", Kind::Text, "The mark's text; `*` stands for any number of characters."),
        Key::required("means", Kind::Word(&WORDS), "What it says."),
        Key::optional("of", Kind::Text, "Of whom: a partition, `PARTITION.task`, channel or schedule."),
    ],
};

static SPAN: Section = Section {
    head: "[[span]]",
    summary: "Spans: the first entry that fits one counts.",
    keys: &[
        Key::required("name", Kind::Text, "The span's name; `*` stands for any number of characters."),
        Key::optional("track", Kind::Text, "The name of its track; any where not given."),
        Key::required("means", Kind::Word(&["window", "execution"]), "What it is."),
        Key::required("of", Kind::Text, "Of whom: a partition or `PARTITION.task`."),
        Key::optional("core", Kind::Ref("core"), "On which core; that of its cpu where not given."),
    ],
};

static FLOW: Section = Section {
    head: "[[flow]]",
    summary: "Flows: the first entry that fits one counts.",
    keys: &[
        Key::required("name", Kind::Text, "The flow's name; `*` stands for any number of characters."),
        Key::required("channel", Kind::Ref("channel"), "The channel of which each frame is a message."),
    ],
};

static CHANNEL: Section = Section {
    head: "[[channel]]",
    summary: "What a draft cannot learn of a channel from recordings; a system file says it itself.",
    keys: &[
        Key::required("name", Kind::Name, "The channel's name."),
        Key::optional("kind", Kind::Word(&["sampling", "queuing"]), "The kind of its ports."),
        Key::optional("size", Kind::Size, "The largest message.").above_zero(),
        Key::optional("depth", Kind::Count(1_000_000), "The messages that a queue holds.").above_zero(),
        Key::optional("from", Kind::Text, "Who writes: a partition or `PARTITION.task`."),
        Key::optional(
            "to",
            Kind::List(&Kind::Text),
            "Who reads, in the order in which the recording counts receivers.",
        ),
    ],
};

pub(super) static ALL: [&Section; 7] = [&MAP_FILE, &CPU, &THREAD, &MARK, &SPAN, &FLOW, &CHANNEL];
