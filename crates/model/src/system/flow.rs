//! Zones and the information-flow policy.

use diagnostic::Located;
use quantity::{BitRate, ChannelId, TaskId, ZoneId};
use serde::Serialize;

/// A group of partitions of like security need.
#[derive(Debug, Clone, Serialize)]
pub struct Zone {
    /// The zone's name.
    pub name: Located<String>,
    /// The security level asked for, in the user's own words.
    pub target: Option<String>,
}

/// The direct flows that are permitted; every other one is forbidden.
#[derive(Debug, Clone, Serialize)]
pub struct FlowPolicy {
    /// How fast a covert channel may carry, at the most, between partitions of which no flow is permitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub covert_limit: Option<Located<BitRate>>,
    /// The permitted flows between zones. Within a zone everything is permitted.
    pub rules: Vec<FlowRule>,
    /// Single channels or tasks permitted beyond the rules.
    pub exceptions: Vec<FlowException>,
    /// Tasks that let nothing through but what they check.
    pub filters: Vec<(Located<TaskId>, String)>,
}

/// A permitted direct flow.
#[derive(Debug, Clone, Serialize)]
pub struct FlowRule {
    /// From this zone.
    pub from: Located<ZoneId>,
    /// To this zone.
    pub to: Located<ZoneId>,
    /// Only out of this task, where declared.
    pub via: Option<Located<TaskId>>,
}

/// A channel permitted although no rule covers it.
#[derive(Debug, Clone, Serialize)]
pub struct FlowException {
    /// The channel.
    pub channel: Located<ChannelId>,
    /// Why it is permitted.
    pub reason: Option<String>,
}
