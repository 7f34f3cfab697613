//! `[[placement]]`, `[[cache_ways]]`, `[[cache_colours]]`, `[[memory_banks]]` and `[[bandwidth]]`

use super::{Reader, numbers};
use crate::{BandwidthBudget, ColourGrant, Coloured, Placed, Placement, WayGrant, WayHolder};
use diagnostic::Diagnostic;
use diagnostic::codes::plan_file::{BAD_COLOURS, BAD_WAYS, GRANTED_TWICE, PLACE_WRAPS};
use model::tables::Fields;
use quantity::{CacheId, CoreId, MemoryId, PartitionId};

impl Reader<'_> {
    /// One place in memory.
    pub(super) fn placement(&mut self, entry: &Fields) -> Option<Placement> {
        let what = match self.holder(entry, ["partition", "region"]) {
            Some(("partition", name)) => {
                self.partitions.resolve(&name, PartitionId::new, self.cx).map(|id| Placed::Partition(id.value))
            }
            Some((_, name)) => self.regions.resolve(&name, |index| index, self.cx).map(|at| Placed::Region(at.value)),
            None => None,
        };
        let (base, size) = (entry.address("base")?, entry.size("size")?);
        let wrong = if size.get() == 0 {
            Some(("the place has a size of 0".to_owned(), "give it a size, or leave it out"))
        } else if base.checked_add(size.value).is_none() {
            let message = format!("{} from {} passes the end of all 64-bit addresses", size.value, base.value);
            Some((message, "lower the base or the size"))
        } else {
            None
        };
        if let Some((message, help)) = wrong {
            self.cx.report(Diagnostic::new(&PLACE_WRAPS, size.span, message).also(base.span, "").help(help));
            return None;
        }
        let pinned = entry.flag("pinned").is_some_and(|pinned| pinned.value);
        Some(Placement { what: what?, base: base.value, size: size.value, pinned, span: Some(entry.span) })
    }

    /// The grants of cache ways, each holder once for each cache.
    pub(super) fn way_grants(&mut self, fields: &Fields) -> Vec<WayGrant> {
        let mut grants: Vec<WayGrant> = Vec::new();
        for entry in fields.tables("cache_ways") {
            let Some(grant) = self.way_grant(entry) else { continue };
            match grants.iter().find(|other| (other.cache, other.holder) == (grant.cache, grant.holder)) {
                Some(first) => {
                    self.report_twice(entry, first.span, "ways of this cache are given to the same holder twice")
                }
                None => grants.push(grant),
            }
        }
        grants
    }

    fn way_grant(&mut self, entry: &Fields) -> Option<WayGrant> {
        let cache = entry.text("cache").and_then(|name| self.caches.resolve(&name, CacheId::new, self.cx));
        let holder = match self.holder(entry, ["core", "partition"]) {
            Some(("core", name)) => self.cores.resolve(&name, CoreId::new, self.cx).map(|id| WayHolder::Core(id.value)),
            Some((_, name)) => {
                self.partitions.resolve(&name, PartitionId::new, self.cx).map(|id| WayHolder::Partition(id.value))
            }
            None => None,
        };
        let ways = entry.text("ways")?;
        let cache = cache?;
        let count = self.system.board.caches[cache.index()].ways.value;
        let mask = match numbers::mask(&ways.value, count) {
            Ok(mask) => mask,
            Err(why) => {
                let help = "write ways from 0 and ranges of them, such as \"0-3\" or \"0,2,5-7\"";
                self.cx.report(Diagnostic::new(&BAD_WAYS, ways.span, format!("`ways` {why}")).help(help));
                return None;
            }
        };
        Some(WayGrant { cache: cache.value, holder: holder?, mask, span: Some(entry.span) })
    }

    /// The grants of page colours and banks, each partition once for each cache and memory.
    pub(super) fn colour_grants(&mut self, fields: &Fields) -> Vec<ColourGrant> {
        type Read = fn(&mut Reader<'_>, &Fields) -> Option<ColourGrant>;
        let sections: [(&str, Read, &str); 2] = [
            ("cache_colours", |reader, entry| reader.cache_colours(entry), "colours of this cache"),
            ("memory_banks", |reader, entry| reader.memory_banks(entry), "banks of this memory"),
        ];
        let mut grants: Vec<ColourGrant> = Vec::new();
        for (section, read, what) in sections {
            for entry in fields.tables(section) {
                let Some(grant) = read(self, entry) else { continue };
                match grants.iter().find(|other| (other.of, other.partition) == (grant.of, grant.partition)) {
                    Some(first) => {
                        self.report_twice(entry, first.span, &format!("{what} are given to the same partition twice"))
                    }
                    None => grants.push(grant),
                }
            }
        }
        grants
    }

    fn cache_colours(&mut self, entry: &Fields) -> Option<ColourGrant> {
        let cache = entry.text("cache").and_then(|name| self.caches.resolve(&name, CacheId::new, self.cx));
        self.colour_grant(entry, cache.map(|cache| Coloured::Cache(cache.value)), ("colours", "colour"))
    }

    fn memory_banks(&mut self, entry: &Fields) -> Option<ColourGrant> {
        let memory = entry.text("memory").and_then(|name| self.memories.resolve(&name, MemoryId::new, self.cx));
        self.colour_grant(entry, memory.map(|memory| Coloured::Banks(memory.value)), ("banks", "bank"))
    }

    fn colour_grant(&mut self, entry: &Fields, of: Option<Coloured>, (key, noun): (&str, &str)) -> Option<ColourGrant> {
        let partition =
            entry.text("partition").and_then(|name| self.partitions.resolve(&name, PartitionId::new, self.cx));
        let written = entry.text(key)?;
        match numbers::numbers(&written.value, noun) {
            Ok(colours) => Some(ColourGrant { of: of?, partition: partition?.value, colours, span: Some(entry.span) }),
            Err(why) => {
                let help = format!("write {key} from 0 and ranges of them, such as \"0-7\" or \"0,2,5-7\"");
                self.cx.report(Diagnostic::new(&BAD_COLOURS, written.span, format!("`{key}` {why}")).help(help));
                None
            }
        }
    }

    /// The bandwidth budgets, each master once.
    pub(super) fn budgets(&mut self, fields: &Fields) -> Vec<BandwidthBudget> {
        let mut budgets: Vec<BandwidthBudget> = Vec::new();
        for entry in fields.tables("bandwidth") {
            let master = entry.text("master").and_then(|name| self.masters.resolve(&name, |index| index, self.cx));
            let (Some(master), Some(budget)) = (master, entry.rate("budget")) else { continue };
            let (master, budget) = (master.value, budget.value);
            match budgets.iter().find(|other| other.master == master) {
                Some(first) => self.report_twice(entry, first.span, "the same master is given a budget twice"),
                None => budgets.push(BandwidthBudget { master, budget, span: Some(entry.span) }),
            }
        }
        budgets
    }

    fn report_twice(&mut self, entry: &Fields, first: Option<diagnostic::Span>, message: &str) {
        let mut diagnostic = Diagnostic::new(&GRANTED_TWICE, entry.span, message).help("make one entry of the two");
        if let Some(first) = first {
            diagnostic = diagnostic.also(first, "first given here");
        }
        self.cx.report(diagnostic);
    }
}
