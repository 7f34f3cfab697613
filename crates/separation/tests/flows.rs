//! Ways between zones against a general-purpose graph library, on random systems.

mod common;

use claim::Status;
use common::{plan, system, verdicts};
use petgraph::algo::{dijkstra, has_path_connecting};
use petgraph::graph::{DiGraph, NodeIndex};
use proptest::prelude::*;
use std::fmt::Write as _;

/// A system of partitions in zones: channels from the task of one to that of another, rules between zones, channels that are
/// exceptions, and tasks that are filters.
#[derive(Debug, Clone)]
struct Flows {
    zone_of: Vec<usize>,
    channels: Vec<(usize, usize)>,
    rules: Vec<(usize, usize)>,
    exceptions: Vec<bool>,
    filters: Vec<bool>,
}

const ZONES: usize = 4;
const PARTITIONS: usize = 7;

fn flows() -> impl Strategy<Value = Flows> {
    let pair = |most: usize| (0..most, 0..most).prop_filter("two of them", |(a, b)| a != b);
    let channels = prop::collection::vec(pair(PARTITIONS), 1..14);
    let parts = (
        prop::collection::vec(0..ZONES, PARTITIONS),
        channels,
        prop::collection::btree_set(pair(ZONES), 0..5),
        prop::collection::vec(prop::bool::weighted(0.2), 14),
        prop::collection::vec(prop::bool::weighted(0.2), PARTITIONS),
    );
    parts.prop_map(|(zone_of, channels, rules, exceptions, filters)| Flows {
        zone_of,
        channels,
        rules: rules.into_iter().collect(),
        exceptions,
        filters,
    })
}

fn text(flows: &Flows) -> String {
    let mut text = String::new();
    for zone in 0..ZONES {
        let _ = writeln!(text, "[[zone]]\nname = \"Z{zone}\"");
    }
    for (partition, zone) in flows.zone_of.iter().enumerate() {
        let _ =
            writeln!(text, "[[partition]]\nname = \"P{partition}\"\nguest = \"fixed priority\"\nzone = \"Z{zone}\"");
        let _ = writeln!(text, "[[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"");
    }
    for (index, (from, to)) in flows.channels.iter().enumerate() {
        let ends = format!("from = \"P{from}.t\"\nto = [\"P{to}.t\"]");
        let _ = writeln!(text, "[[channel]]\nname = \"C{index}\"\nkind = \"sampling\"\nsize = \"8 B\"\n{ends}");
    }
    text.push_str("[flow]\n");
    for (from, to) in &flows.rules {
        let _ = writeln!(text, "[[flow.allow]]\nfrom = \"Z{from}\"\nto = \"Z{to}\"");
    }
    for (index, _) in flows.channels.iter().enumerate().filter(|(index, _)| flows.exceptions[*index]) {
        let _ = writeln!(text, "[[flow.exception]]\nchannel = \"C{index}\"");
    }
    for (partition, _) in flows.filters.iter().enumerate().filter(|(_, is_filter)| **is_filter) {
        let _ = writeln!(text, "[[flow.filter]]\ntask = \"P{partition}.t\"\nwhat = \"everything\"");
    }
    text
}

/// Whether chains of rules permit one zone to influence the other.
fn permitted(flows: &Flows, from: usize, to: usize) -> bool {
    let mut zones = DiGraph::<(), ()>::new();
    let nodes: Vec<NodeIndex> = (0..ZONES).map(|_| zones.add_node(())).collect();
    flows.rules.iter().for_each(|(from, to)| {
        zones.add_edge(nodes[*from], nodes[*to], ());
    });
    has_path_connecting(&zones, nodes[from], nodes[to], None)
}

/// How many channels the shortest way has; `None` where there is none. The graph has every partition twice: before and after the
/// zone was left.
fn shortest(flows: &Flows, from: usize, to: usize) -> Option<usize> {
    let mut graph = DiGraph::<(), usize>::new();
    let inside: Vec<NodeIndex> = (0..PARTITIONS).map(|_| graph.add_node(())).collect();
    let outside: Vec<NodeIndex> = (0..PARTITIONS).map(|_| graph.add_node(())).collect();
    let (source, sink) = (graph.add_node(()), graph.add_node(()));
    for (partition, zone) in flows.zone_of.iter().enumerate() {
        if *zone == from {
            graph.add_edge(source, inside[partition], 0);
        }
        if *zone == to {
            graph.add_edge(outside[partition], sink, 0);
        }
    }
    for (index, (a, b)) in flows.channels.iter().enumerate().filter(|(_, (_, b))| !flows.filters[*b]) {
        graph.add_edge(outside[*a], outside[*b], 1);
        let is_permitted_alone = flows.exceptions[index] && flows.zone_of[*b] == to;
        match flows.zone_of[*b] == from {
            true => graph.add_edge(inside[*a], inside[*b], 1),
            false if is_permitted_alone => continue,
            false => graph.add_edge(inside[*a], outside[*b], 1),
        };
    }
    dijkstra(&graph, source, Some(sink), |edge| *edge.weight()).get(&sink).copied()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn ways_between_zones_are_those_of_a_graph_library(flows in flows()) {
        let system = system(&text(&flows));
        let verdicts = verdicts(&system, &plan(&system, ""));
        for (from, to) in (0..ZONES).flat_map(|from| (0..ZONES).map(move |to| (from, to))).filter(|(from, to)| from != to) {
            let verdict = verdicts.get(&format!("flow/zone/Z{from}/Z{to}"));
            prop_assert_eq!(verdict.is_none(), permitted(&flows, from, to), "Z{} to Z{}", from, to);
            let Some(verdict) = verdict else { continue };
            let way = shortest(&flows, from, to);
            prop_assert_eq!(verdict.status, if way.is_some() { Status::Violated } else { Status::Shown });
            let told = verdict.reason.as_ref().map_or(0, |reason| reason.matches("by channel").count());
            prop_assert_eq!(told, way.unwrap_or(0), "{:?}", verdict.reason);
        }
    }

    #[test]
    fn a_channel_is_permitted_within_a_zone_by_a_rule_or_as_an_exception(flows in flows()) {
        let system = system(&text(&flows));
        let verdicts = verdicts(&system, &plan(&system, ""));
        for (a, b) in (0..PARTITIONS).flat_map(|a| (0..PARTITIONS).map(move |b| (a, b))).filter(|(a, b)| a != b) {
            let channels = || flows.channels.iter().enumerate().filter(|(_, ends)| **ends == (a, b));
            let (from, to) = (flows.zone_of[a], flows.zone_of[b]);
            let by_rule = from == to || flows.rules.contains(&(from, to));
            let forbidden = channels().filter(|(index, _)| !by_rule && !flows.exceptions[*index]).count() as u64;
            let found = verdicts.get(&format!("flow/P{a}/P{b}")).map(|verdict| verdict.bound);
            prop_assert_eq!(found, (channels().count() > 0).then_some(Some(forbidden)));
        }
    }
}
