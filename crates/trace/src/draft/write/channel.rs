//! The channels of a draft.
//!
//! A recording seldom tells kind, size and ends of a channel. What the map says goes before what is told by what stands beside a
//! message; a channel of which something stays unknown is written as a comment.

use super::Writer;
use crate::draft::ends::{End, Told};
use crate::draft::measure::OfChannel;
use crate::draft::text::{counted, quoted, time, times};
use crate::map::ChannelSaid;
use quantity::{Bytes, PartitionId, TaskId};
use std::collections::BTreeSet;

/// The lines of a channel, and what is missing for it to be declared.
struct Entry {
    lines: Vec<String>,
    missing: Vec<&'static str>,
}

impl Writer<'_> {
    /// Writes a channel, as a comment where it lacks something that the file needs. Whether it is declared.
    pub(super) fn channel(
        &mut self,
        index: usize,
        tasks: &BTreeSet<TaskId>,
        partitions: &BTreeSet<PartitionId>,
    ) -> bool {
        let (system, measures) = (self.system, self.measures);
        let name = &system.channels[index].name.value;
        let measured = &measures.channels[index];
        let said = self.found.channels.get(name).map(|found| found.said.clone()).unwrap_or_default();
        let lines = vec![String::new(), "[[channel]]".to_owned(), format!("name = {}", quoted(name))];
        let mut entry = Entry { lines, missing: Vec::new() };
        let is_queue = entry.kind(&said, measured);
        entry.size(&said, measured);
        let from = self.source(&said, measured, &mut entry);
        let to = self.receivers(&said, measured, &mut entry);
        if is_queue {
            entry.queue(&said, measured);
        }
        entry.lines.extend(writes(measured));
        let ends: Vec<&String> = from.iter().chain(&to).collect();
        if !ends.iter().all(|end| self.is_declared(end, tasks, partitions)) {
            entry.missing.push("an end that is in the system");
        } else if ends.iter().collect::<BTreeSet<_>>().len() < ends.len() || covers(&ends) {
            entry.missing.push("ends that differ");
        }
        let Entry { mut lines, missing } = entry;
        if !missing.is_empty() {
            let missing = missing.join(", ");
            lines.push(format!("# unknown: {missing}"));
            let what = format!("{missing}: left out as a comment; say it under [[channel]] of the map");
            self.miss(&format!("channel {name}"), what, "its refresh or depth, and chains across it");
        }
        self.put(&lines, missing.is_empty());
        missing.is_empty()
    }

    /// Who writes.
    fn source(&self, said: &ChannelSaid, measured: &OfChannel, entry: &mut Entry) -> Option<String> {
        let from = said.from.clone().or_else(|| self.told(&measured.writer, "completed", entry));
        match &from {
            Some(from) => entry.lines.push(format!("from = {}", quoted(from))),
            None => entry.missing.push("from"),
        }
        from
    }

    /// Who reads.
    fn receivers(&self, said: &ChannelSaid, measured: &OfChannel, entry: &mut Entry) -> Vec<String> {
        let to: Vec<String> = if said.to.is_empty() {
            measured.readers.iter().filter_map(|end| self.told(end, "began to execute", entry)).collect()
        } else {
            said.to.clone()
        };
        if to.is_empty() || to.len() < measured.readers.len() {
            entry.missing.push("to");
        }
        if !to.is_empty() {
            let list: Vec<String> = to.iter().map(|end| quoted(end)).collect();
            entry.lines.push(format!("to = [{}]", list.join(", ")));
        }
        to
    }

    /// Whose an end is, where the recording lets it be told; `what` that task did beside each message.
    fn told(&self, end: &End, what: &str, entry: &mut Entry) -> Option<String> {
        let times = end.times;
        let (task, words) = match end.told() {
            Told::Beside(task) => {
                (task, format!("{what} at the instant of each of {times}, next to it in the recording"))
            }
            Told::Executing(task) => (task, format!("executed at each of {times}, and no other task did each time")),
            Told::No => return None,
        };
        let label = self.system.task_label(task);
        entry.lines.push(format!("# measured: {label} {words}"));
        Some(label)
    }

    fn is_declared(&self, end: &str, tasks: &BTreeSet<TaskId>, partitions: &BTreeSet<PartitionId>) -> bool {
        match end.split_once('.') {
            Some(_) => tasks.iter().any(|task| self.system.task_label(*task) == end),
            None => self.system.partition_named(end).is_some_and(|id| partitions.contains(&id)),
        }
    }
}

impl Entry {
    /// The kind of a channel; whether it is a queue.
    fn kind(&mut self, said: &ChannelSaid, measured: &OfChannel) -> bool {
        match (said.kind.as_deref(), measured.overflows) {
            (Some(kind), _) => {
                self.lines.push(format!("kind = {}", quoted(kind)));
                kind == "queuing"
            }
            (None, 0) => {
                self.missing.push("kind");
                false
            }
            (None, times) => {
                self.lines.push(format!("# measured: {} found no room, so it is a queue", counted(times, "message")));
                self.lines.push("kind = \"queuing\"".to_owned());
                true
            }
        }
    }

    fn size(&mut self, said: &ChannelSaid, measured: &OfChannel) {
        let seen = measured.bytes.range();
        if let Some((least, most)) = seen {
            let samples = counted(measured.bytes.samples, "message");
            self.lines.push(format!("# measured: {samples} of {least} to {most} bytes; the largest seen is no limit"));
        }
        let seen = seen.map(|(_, most)| most).filter(|most| *most > 0);
        match said.bytes.or(seen) {
            Some(bytes) => self.lines.push(format!("size = {}", quoted(&Bytes::new(bytes).to_string()))),
            None => self.missing.push("size"),
        }
    }

    fn queue(&mut self, said: &ChannelSaid, measured: &OfChannel) {
        match said.depth {
            Some(depth) => self.lines.push(format!("depth = {depth}")),
            None => self.missing.push("depth"),
        }
        let steps = measured.writes.steps(1);
        if let Some((least, _)) = steps.range() {
            self.lines.push(format!("# measured: the least of {}, no promise", counted(steps.samples, "step")));
            self.lines.push(format!("min_interarrival = {}", quoted(&time(least))));
        }
        let batch = measured.batch.most().filter(|batch| *batch > 1);
        if batch.is_some_and(|batch| said.depth.is_some_and(|depth| batch > depth)) {
            self.missing.push("a depth that holds what was written at one instant");
        }
        self.lines.extend(batch.map(|batch| format!("# measured: the most at one instant\nbatch = {batch}")));
    }
}

fn writes(measured: &OfChannel) -> Option<String> {
    let steps = measured.writes.steps(1);
    let range = steps.range()?;
    Some(format!("# measured: {} of {} between writes", counted(steps.samples, "step"), times(range)))
}

/// Whether a whole partition and something of it are both ends.
fn covers(ends: &[&String]) -> bool {
    let home = |end: &str| end.split_once('.').map_or(end, |(partition, _)| partition).to_owned();
    let whole = ends.iter().filter(|end| !end.contains('.'));
    whole.into_iter().any(|whole| ends.iter().any(|end| end != whole && home(end) == **whole))
}
