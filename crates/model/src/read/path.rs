//! The path of a chain: from tasks, with a channel's name between two where several lead from one to the other, to
//! steps with the channel that leads to each.

use super::names::report_unknown;
use super::port_end::{Ends, ends_of};
use super::{Context, Document, Fields};
use crate::system::{ChainStep, PortEnd};
use diagnostic::codes::chain::{CHAIN_AMBIGUOUS, CHAIN_GAP, CHAIN_LOOP, CHANNEL_ASIDE};
use diagnostic::{Diagnostic, Located};
use quantity::{ChannelId, PartitionId, TaskId};
use std::collections::{BTreeMap, BTreeSet};

/// The most channels that a message lists.
const MOST_LISTED: usize = 6;

/// All channels by their ends.
pub(super) struct Paths<'a> {
    doc: &'a Document,
    ends: Vec<Ends>,
    between: BTreeMap<(PortEnd, PortEnd), BTreeSet<usize>>,
}

/// The channels from one task to another.
struct Joining {
    /// The first few, in file order.
    first: Vec<usize>,
    /// How many there are.
    count: usize,
}

/// What an element of a path names.
#[derive(Clone, Copy)]
enum Element {
    Task(TaskId),
    Channel(usize),
}

impl<'a> Paths<'a> {
    pub fn new(doc: &'a Document) -> Self {
        let ends: Vec<_> = doc.channels().map(|fields| ends_of(fields, doc)).collect();
        let mut between: BTreeMap<_, BTreeSet<usize>> = BTreeMap::new();
        for (index, ends) in ends.iter().enumerate() {
            let Some(source) = ends.source else { continue };
            for destination in &ends.destinations {
                between.entry((source.value, destination.value)).or_default().insert(index);
            }
        }
        Self { doc, ends, between }
    }

    /// The steps of a chain; `None` where one cannot be made, which is reported.
    pub fn read(&self, chain: &Fields, cx: &mut Context) -> Option<Vec<ChainStep>> {
        let written = chain.texts("path");
        let elements: Vec<_> = written.iter().filter_map(|text| self.element(text, cx)).collect();
        // A part of a path would show gaps that the whole one does not have.
        if elements.len() != chain.list("path").len() || !chain.has("path") || self.has_loop(&elements, cx) {
            return None;
        }
        let mut steps: Vec<ChainStep> = Vec::new();
        let (mut named, mut whole) = (None, true);
        for element in &elements {
            match element.value {
                Element::Channel(index) => {
                    whole &= named.replace(element.map(|_| index)).is_none_or(|other| self.report_lost(other, cx));
                }
                Element::Task(task) => {
                    let task = element.map(|_| task);
                    let before = steps.last().map(|step| step.task);
                    let via = self.via(before, task, named.take(), cx);
                    whole &= via.is_some();
                    steps.push(ChainStep { task, via: via.flatten() });
                }
            }
        }
        whole &= named.is_none_or(|channel| self.report_lost(channel, cx));
        whole.then_some(steps)
    }

    fn element(&self, text: &Located<String>, cx: &mut Context) -> Option<Located<Element>> {
        let names = &self.doc.names;
        let task = names.tasks.get(&text.value).map(|index| Element::Task(TaskId::new(index)));
        let element = task.or_else(|| names.channels.get(&text.value).map(Element::Channel));
        if element.is_none() {
            report_unknown(text, "task or channel", &[&names.tasks, &names.channels], cx);
        }
        element.map(|element| Located::new(element, text.span))
    }

    /// Reports tasks that the path names again.
    fn has_loop(&self, elements: &[Located<Element>], cx: &mut Context) -> bool {
        let (mut first, mut found) = (BTreeMap::new(), false);
        for element in elements {
            let Element::Task(task) = element.value else { continue };
            let Some(before) = first.insert(task, element.span) else { continue };
            found = true;
            let message = format!("the chain passes through task `{}` twice", self.task(task));
            let fault = Diagnostic::new(&CHAIN_LOOP, element.span, message).also(before, "here before");
            let help = "what comes back belongs to a later stimulus: end the chain here, or make two chains of it";
            cx.report(fault.help(help));
        }
        found
    }

    /// The channel from one task to the next: `Some(None)` for a last-value buffer or the first task, `None` for a fault.
    fn via(
        &self,
        before: Option<Located<TaskId>>,
        task: Located<TaskId>,
        named: Option<Located<usize>>,
        cx: &mut Context,
    ) -> Option<Option<ChannelId>> {
        let Some(before) = before else {
            return named.is_none_or(|channel| self.report_lost(channel, cx)).then_some(None);
        };
        let joining = self.joining(before.value, task.value);
        match (named, &joining.first[..]) {
            (Some(channel), _) if self.joins(before.value, task.value, channel.value) => {
                Some(Some(ChannelId::new(channel.value)))
            }
            (Some(channel), _) => self.report_aside(channel, before, task, cx),
            (None, [channel]) => Some(Some(ChannelId::new(*channel))),
            (None, []) if self.partition(before.value) == self.partition(task.value) => Some(None),
            (None, []) => self.report_gap(before, task, cx),
            (None, _) => self.report_ambiguous(before, task, &joining, cx),
        }
    }

    /// The channels from one task, or its partition as a whole, to another, a set for each pair of ends.
    fn sets(&self, from: TaskId, to: TaskId) -> impl Iterator<Item = &BTreeSet<usize>> {
        let pairs = self.ways(from).into_iter().flat_map(move |from| self.ways(to).map(|to| (from, to)));
        pairs.filter_map(|pair| self.between.get(&pair))
    }

    fn joins(&self, from: TaskId, to: TaskId, channel: usize) -> bool {
        self.sets(from, to).any(|set| set.contains(&channel))
    }

    fn joining(&self, from: TaskId, to: TaskId) -> Joining {
        let first: BTreeSet<_> = self.sets(from, to).flat_map(|set| set.iter().copied().take(MOST_LISTED)).collect();
        let count = self.sets(from, to).map(BTreeSet::len).sum();
        Joining { first: first.into_iter().take(MOST_LISTED).collect(), count }
    }

    /// The ends of channels that are the task's.
    fn ways(&self, task: TaskId) -> [PortEnd; 2] {
        [PortEnd::Task(task), PortEnd::Partition(self.partition(task))]
    }

    fn partition(&self, task: TaskId) -> PartitionId {
        PartitionId::new(self.doc.tasks[task.index()].partition)
    }

    fn task(&self, task: TaskId) -> &str {
        self.doc.names.tasks.name(task.index()).unwrap_or_default()
    }

    fn channel(&self, index: usize) -> &str {
        self.doc.names.channels.name(index).unwrap_or_default()
    }

    /// A channel that stands at an end of the path or before another one. Never `true`.
    fn report_lost(&self, channel: Located<usize>, cx: &mut Context) -> bool {
        let message = format!("channel `{}` stands in the chain without a task on either side", self.channel(*channel));
        let fault = Diagnostic::new(&CHANNEL_ASIDE, channel.span, message);
        cx.report(fault.help("a chain begins and ends with a task, and between two tasks stands at most one channel"));
        false
    }

    fn report_aside<T>(
        &self,
        channel: Located<usize>,
        before: Located<TaskId>,
        task: Located<TaskId>,
        cx: &mut Context,
    ) -> Option<T> {
        if !self.ends[*channel].whole {
            return None;
        }
        let (name, from, to) = (self.channel(*channel), self.task(*before), self.task(*task));
        let message = format!("channel `{name}` does not lead from `{from}` to `{to}`");
        let joining = self.listed(&self.joining(*before, *task).first);
        let help = match joining.is_empty() {
            true => format!("{} leads", self.listed(&[*channel])),
            false => format!("those that do: {joining}"),
        };
        let fault = Diagnostic::new(&CHANNEL_ASIDE, channel.span, message);
        let place = self.doc.names.channels.place(*channel);
        cx.report(place.into_iter().fold(fault, |fault, place| fault.also(place, "the channel")).help(help));
        None
    }

    /// Reports two tasks without a channel, unless a channel with an unknown end may be the one.
    fn report_gap<T>(&self, before: Located<TaskId>, task: Located<TaskId>, cx: &mut Context) -> Option<T> {
        let (writes, reads) = if cx.may_compare(self.ends.len()) {
            let writes: Vec<_> = (0..self.ends.len()).filter(|index| self.is_from(*index, *before)).collect();
            let reads: Vec<_> = (0..self.ends.len()).filter(|index| self.is_to(*index, *task)).collect();
            (writes, reads)
        } else {
            (Vec::new(), Vec::new())
        };
        let broken = |index: &usize| !self.ends[*index].whole;
        if self.doc.names.channels.is_incomplete() || writes.iter().chain(&reads).any(broken) {
            return None;
        }
        let (from, to) = (self.task(*before), self.task(*task));
        let message = format!("no channel leads from `{from}` to `{to}`");
        let fault = Diagnostic::new(&CHAIN_GAP, task.span, message).also(before.span, "from here");
        cx.report(fault.help(format!(
            "`{from}` writes {}; `{to}` reads {}; declare a [[channel]], or name the tasks between the two",
            self.or_nothing(&writes),
            self.or_nothing(&reads)
        )));
        None
    }

    fn report_ambiguous<T>(
        &self,
        before: Located<TaskId>,
        task: Located<TaskId>,
        joining: &Joining,
        cx: &mut Context,
    ) -> Option<T> {
        let (from, to) = (self.task(*before), self.task(*task));
        let message = format!("{} channels lead from `{from}` to `{to}`: {}", joining.count, self.names(joining));
        let mut fault = Diagnostic::new(&CHAIN_AMBIGUOUS, task.span, message).also(before.span, "from here");
        for place in joining.first.iter().filter_map(|index| self.doc.names.channels.place(*index)) {
            fault = fault.also(place, "one of them");
        }
        let first = joining.first.first().map(|index| self.channel(*index)).unwrap_or_default();
        cx.report(fault.help(format!("say which, such as \"{from}\", \"{first}\", \"{to}\"")));
        None
    }

    fn is_from(&self, channel: usize, task: TaskId) -> bool {
        self.ends[channel].source.is_some_and(|source| self.ways(task).contains(&source.value))
    }

    fn is_to(&self, channel: usize, task: TaskId) -> bool {
        let ways = self.ways(task);
        self.ends[channel].destinations.iter().any(|end| ways.contains(&end.value))
    }

    fn or_nothing(&self, channels: &[usize]) -> String {
        if channels.is_empty() { "no channel".into() } else { self.listed(channels) }
    }

    /// Channels with their ends as they are written.
    fn listed(&self, channels: &[usize]) -> String {
        let one = |index: &usize| {
            let ends = &self.ends[*index];
            let end = |end: &Located<PortEnd>| self.end(end.value).to_owned();
            let from = ends.source.as_ref().map(end).unwrap_or_default();
            let to = joined(ends.destinations.iter().map(end), ends.destinations.len());
            format!("`{}` (from {from} to {to})", self.channel(*index))
        };
        joined(channels.iter().map(one), channels.len())
    }

    fn names(&self, joining: &Joining) -> String {
        joined(joining.first.iter().map(|index| format!("`{}`", self.channel(*index))), joining.count)
    }

    fn end(&self, end: PortEnd) -> &str {
        let names = &self.doc.names;
        let name = match end {
            PortEnd::Task(task) => names.tasks.name(task.index()),
            PortEnd::Partition(partition) => names.partitions.name(partition.index()),
            PortEnd::Device(device) => names.devices.name(device.index()),
        };
        name.unwrap_or_default()
    }
}

/// The first few of some words, and how many more there are.
fn joined(words: impl Iterator<Item = String>, count: usize) -> String {
    let list = words.take(MOST_LISTED).collect::<Vec<_>>().join(", ");
    let more = count.saturating_sub(MOST_LISTED);
    if more > 0 { format!("{list} and {more} more") } else { list }
}
