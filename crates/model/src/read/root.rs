//! The whole system file as a section of sections.

use super::section::{Key, Kind, Section};
use super::{
    accepted, board, boot, chain, channel, containment, core_set, flow, growth_rule, health, network, partition,
    platform, protection, region, schedule, system, zone,
};

/// The system file.
pub(crate) static ROOT: Section = Section {
    head: "the system file",
    summary: "A whole system: one file, with tables of tasks and channels beside it where suppliers send tables.",
    keys: &[
        Key::required("system", Kind::Table(&system::SECTION), system::SECTION.summary),
        Key::optional("tables", Kind::Table(&system::TABLES), system::TABLES.summary),
        Key::required("board", Kind::Table(&board::SECTION), board::SECTION.summary),
        Key::optional("platform", Kind::Table(&platform::SECTION), platform::SECTION.summary),
        Key::optional("core_set", Kind::Tables(&core_set::SECTION), core_set::SECTION.summary),
        Key::optional("zone", Kind::Tables(&zone::SECTION), zone::SECTION.summary),
        Key::required("partition", Kind::Tables(&partition::SECTION), partition::SECTION.summary),
        Key::optional("region", Kind::Tables(&region::SECTION), region::SECTION.summary),
        Key::optional("protection", Kind::Tables(&protection::SECTION), protection::SECTION.summary),
        Key::optional("channel", Kind::Tables(&channel::SECTION), channel::SECTION.summary),
        Key::optional("chain", Kind::Tables(&chain::SECTION), chain::SECTION.summary),
        Key::optional("flow", Kind::Table(&flow::SECTION), flow::SECTION.summary),
        Key::optional("network", Kind::Table(&network::SECTION), network::SECTION.summary),
        Key::optional("boot", Kind::Table(&boot::SECTION), boot::SECTION.summary),
        Key::optional("health", Kind::Table(&health::SECTION), health::SECTION.summary),
        Key::optional("schedule", Kind::Tables(&schedule::SECTION), schedule::SECTION.summary),
        Key::optional("growth_rule", Kind::Tables(&growth_rule::SECTION), growth_rule::SECTION.summary),
        Key::optional("containment", Kind::Tables(&containment::SECTION), containment::SECTION.summary),
        Key::optional("accepted", Kind::Tables(&accepted::SECTION), accepted::SECTION.summary),
    ],
};
