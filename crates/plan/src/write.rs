//! A plan as the text of a plan file.

use crate::{Coloured, CoreTable, Placed, Plan, WayHolder, Window};
use model::System;
use quantity::{Duration, Instant, PartitionId, ScheduleId};
use std::fmt::{self, Write};

/// The text of a plan of `system`: the same plan gives the same bytes, and reading them gives the plan again.
///
/// Windows that repeat evenly through the frame are written once, with `every`.
pub fn write_plan(plan: &Plan, system: &System) -> String {
    let mut text = String::new();
    let written = Writer { plan, system, text: &mut text }.whole();
    debug_assert!(written.is_ok(), "writing to a text cannot fail");
    text
}

struct Writer<'a> {
    plan: &'a Plan,
    system: &'a System,
    text: &'a mut String,
}

/// Windows written as one entry.
struct Series {
    first: Window,
    every_ns: Option<u64>,
}

impl Writer<'_> {
    fn whole(mut self) -> fmt::Result {
        writeln!(self.text, "# A plan for {}.", one_line(&self.system.name.value))?;
        writeln!(
            self.text,
            "# Times count from the begin of the frame of {}; lengths hold the head of the window.",
            self.system.frame.value
        )?;
        if let Some(digest) = &self.plan.made_for {
            writeln!(self.text, "\n[plan]\n# The system that it was made for; another state of it gives a warning.")?;
            writeln!(self.text, "made_for = \"{}\"", digest.value)?;
        }
        for table in &self.plan.schedules {
            for core in &table.cores {
                self.core(table.schedule, core)?;
            }
        }
        self.memory()?;
        self.cache()?;
        self.colours()?;
        self.bandwidth()
    }

    fn core(&mut self, schedule: ScheduleId, table: &CoreTable) -> fmt::Result {
        let core = &self.system.core(table.core).name.value;
        let title = &self.system.schedules[schedule.index()].name.value;
        let of_schedule =
            if self.system.schedules.len() > 1 { format!(", schedule {}", one_line(title)) } else { String::new() };
        let taken = table.windows.iter().map(|w| w.length.ns()).fold(0, u64::saturating_add);
        writeln!(
            self.text,
            "\n# Core {}{of_schedule}: windows take {} of {}.",
            one_line(core),
            Duration::from_ns(taken),
            self.system.frame.value
        )?;
        for series in self.series(table) {
            self.window(schedule, core, &series)?;
        }
        Ok(())
    }

    fn window(&mut self, schedule: ScheduleId, core: &str, series: &Series) -> fmt::Result {
        let window = &series.first;
        writeln!(self.text, "\n[[window]]\ncore = {}", quoted(core))?;
        writeln!(self.text, "partition = {}", quoted(self.partition(window.partition)))?;
        if window.virtual_core > 0 {
            writeln!(self.text, "virtual_core = {}", window.virtual_core)?;
        }
        if schedule.index() > 0 {
            writeln!(self.text, "schedule = {}", quoted(&self.system.schedules[schedule.index()].name.value))?;
        }
        writeln!(self.text, "start = \"{}\"\nlength = \"{}\"", window.start, window.length)?;
        if let Some(every_ns) = series.every_ns {
            writeln!(self.text, "every = \"{}\"", Duration::from_ns(every_ns))?;
        }
        self.pinned(window.pinned)
    }

    fn pinned(&mut self, pinned: bool) -> fmt::Result {
        if pinned { writeln!(self.text, "pinned = true") } else { Ok(()) }
    }

    fn memory(&mut self) -> fmt::Result {
        if !self.plan.memory.is_empty() {
            writeln!(self.text, "\n# Memory.")?;
        }
        for place in &self.plan.memory {
            writeln!(self.text, "\n[[placement]]")?;
            match place.what {
                Placed::Partition(id) => writeln!(self.text, "partition = {}", quoted(self.partition(id)))?,
                Placed::Region(index) => {
                    writeln!(self.text, "region = {}", quoted(&self.system.regions[index].name.value))?
                }
            }
            writeln!(self.text, "base = \"{}\"\nsize = \"{}\"", place.base, place.size)?;
            self.pinned(place.pinned)?;
        }
        Ok(())
    }

    fn cache(&mut self) -> fmt::Result {
        if !self.plan.cache.is_empty() {
            writeln!(self.text, "\n# Cache ways.")?;
        }
        for grant in &self.plan.cache {
            let cache = &self.system.board.caches[grant.cache.index()].name.value;
            writeln!(self.text, "\n[[cache_ways]]\ncache = {}", quoted(cache))?;
            match grant.holder {
                WayHolder::Core(id) => writeln!(self.text, "core = {}", quoted(&self.system.core(id).name.value))?,
                WayHolder::Partition(id) => writeln!(self.text, "partition = {}", quoted(self.partition(id)))?,
            }
            writeln!(self.text, "ways = \"{}\"", ways(grant.mask))?;
        }
        Ok(())
    }

    fn colours(&mut self) -> fmt::Result {
        if !self.plan.colours.is_empty() {
            writeln!(self.text, "\n# What is shared out by the choice of pages.")?;
        }
        let board = &self.system.board;
        for grant in &self.plan.colours {
            let key = match grant.of {
                Coloured::Cache(id) => {
                    writeln!(
                        self.text,
                        "\n[[cache_colours]]\ncache = {}",
                        quoted(&board.caches[id.index()].name.value)
                    )?;
                    "colours"
                }
                Coloured::Banks(id) => {
                    let memory = &board.memories[id.index()].name.value;
                    writeln!(self.text, "\n[[memory_banks]]\nmemory = {}", quoted(memory))?;
                    "banks"
                }
            };
            writeln!(self.text, "partition = {}", quoted(self.partition(grant.partition)))?;
            writeln!(self.text, "{key} = \"{}\"", ranges(&grant.colours))?;
        }
        Ok(())
    }

    fn bandwidth(&mut self) -> fmt::Result {
        if !self.plan.bandwidth.is_empty() {
            writeln!(self.text, "\n# Bandwidth budgets, kept in every regulation period.")?;
        }
        let masters = self.system.board.interconnect.as_ref().map_or(&[][..], |path| &path.masters);
        for budget in &self.plan.bandwidth {
            let master = &masters[budget.master].name.value;
            writeln!(self.text, "\n[[bandwidth]]\nmaster = {}\nbudget = \"{}\"", quoted(master), budget.budget)?;
        }
        Ok(())
    }

    fn partition(&self, id: PartitionId) -> &str {
        &self.system.partition(id).name.value
    }

    /// The windows of a core in as few entries as even repetition allows, in the order of their first starts.
    ///
    /// Where windows of equal start are told apart only by the order of the file, each stays an entry of its own: a
    /// repetition would be read back in another order.
    fn series(&self, table: &CoreTable) -> Vec<Series> {
        let frame_ns = self.system.frame.ns();
        let ties = table.windows.windows(2).any(|pair| pair[0].start == pair[1].start);
        let mut written = vec![false; table.windows.len()];
        let mut series = Vec::new();
        for index in 0..table.windows.len() {
            if written[index] {
                continue;
            }
            let members = if ties { None } else { repetition(&table.windows, &written, index, frame_ns) };
            let every_ns = members.as_ref().map(|(every_ns, _)| *every_ns);
            let members = members.map_or_else(|| vec![index], |(_, members)| members);
            members.into_iter().for_each(|member| written[member] = true);
            series.push(Series { first: table.windows[index], every_ns });
        }
        series
    }
}

/// The longest even repetition that begins with a window and runs to the frame's end: its distance and its members.
fn repetition(windows: &[Window], written: &[bool], index: usize, frame_ns: u64) -> Option<(u64, Vec<usize>)> {
    let first = &windows[index];
    let alike = |other: usize| {
        let w = &windows[other];
        let (a, b) = (
            (w.partition, w.virtual_core, w.length, w.pinned),
            (first.partition, first.virtual_core, first.length, first.pinned),
        );
        !written[other] && a == b
    };
    let at = |start_ns: u64| {
        let other = windows.partition_point(|w| w.start < Instant::from_ns(start_ns));
        (windows.get(other).is_some_and(|w| w.start.ns() == start_ns) && alike(other)).then_some(other)
    };
    let distances =
        (index + 1..windows.len()).filter(|other| alike(*other)).map(|o| windows[o].start.ns() - first.start.ns());
    let even = distances.filter(|distance| *distance > 0 && frame_ns.is_multiple_of(*distance));
    even.take(MOST_DISTANCES).find_map(|every_ns| {
        let starts = (first.start.ns()..frame_ns).step_by(usize::try_from(every_ns).unwrap_or(usize::MAX));
        let members: Option<Vec<usize>> = starts.map(at).collect();
        members.filter(|members| members.len() > 1).map(|members| (every_ns, members))
    })
}

/// How many distances are tried for one window before it is written alone.
const MOST_DISTANCES: usize = 16;

/// `0,2,5-7` for the ways of a mask.
fn ways(mask: u64) -> String {
    ranges(&(0..64).filter(|way| mask >> way & 1 == 1).collect::<Vec<_>>())
}

/// `0,2,5-7` for numbers in rising order.
pub(crate) fn ranges(numbers: &[u32]) -> String {
    let words = |(first, last): (u32, u32)| if first == last { first.to_string() } else { format!("{first}-{last}") };
    runs(numbers).map(words).collect::<Vec<_>>().join(",")
}

/// The first and the last of each run of numbers in rising order.
pub(crate) fn runs(numbers: &[u32]) -> impl Iterator<Item = (u32, u32)> {
    numbers.chunk_by(|one, next| *one + 1 == *next).filter_map(|run| Some((*run.first()?, *run.last()?)))
}

/// A TOML text in quotes.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' | '\\' => quoted.extend(['\\', letter]),
            c if c.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted + "\""
}

/// A text that stays on its line of comment.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::{quoted, ways};

    #[test]
    fn masks_are_written_as_ranges() {
        assert_eq!(ways(0b1110_0101), "0,2,5-7");
        assert_eq!(ways(u64::MAX), "0-63");
        assert_eq!(ways(1 << 63), "63");
        assert_eq!(ways(0), "");
    }

    #[test]
    fn texts_are_quoted_as_toml_wants_them() {
        assert_eq!(quoted("a \"b\" \\ \u{7}"), "\"a \\\"b\\\" \\\\ \\u0007\"");
    }
}
