//! The first line of a table: which column stands where.

use super::super::block::LONGEST_LINE;
use crate::note::{At, Place, Refusal};
use std::io::{self, BufRead, Read};

/// The slots for the values of a row: the last is for every column that nothing is made of.
pub const SLOTS: usize = 8;

/// The slot of columns that nothing is made of.
pub const PASSED: u8 = 7;

/// The columns of events, by slot; the time has several names.
const OF_EVENTS: [&str; 5] = [TIME, "core", "event", "who", "number"];

/// The columns of switches, by slot.
const OF_SWITCHES: [&str; 7] = [TIME, "cpu", "prev_comm", "prev_pid", "prev_state", "next_comm", "next_pid"];

/// The columns of a table of switches in the order in which most write them, by slot.
pub const USUAL: [u8; 9] = [0, 1, 2, 3, PASSED, 4, 5, 6, PASSED];

/// Those of them of which nothing is made.
pub const IDLE_OF_USUAL: [usize; 2] = [4, 8];

const _: () = assert!(USUAL[IDLE_OF_USUAL[0]] == PASSED && USUAL[IDLE_OF_USUAL[1]] == PASSED);

/// Columns of switches that are known and of which nothing is made.
const IDLE: [&str; 2] = ["prev_prio", "next_prio"];

/// What a message calls the column of times.
const TIME: &str = "time_ns";

/// More columns than this are no table of events.
const MOST_COLUMNS: usize = 1000;

/// What the columns of a table mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    kind: Kind,
    slots: Vec<u8>,
    columns: [u8; SLOTS],
    clock: Clock,
    unknown: Vec<String>,
}

/// What a row tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An event in the words of a plan.
    Events,
    /// A switch from one thread to another.
    Switches,
}

/// The clock of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock {
    /// Its unit.
    pub unit_ns: u64,
    /// How many digits after the point a time can have.
    pub decimals: u32,
    /// Whether it has 32 bits and begins anew.
    pub wraps: bool,
}

impl Table {
    /// Takes the first line from a source.
    pub fn read_head(source: &mut impl BufRead, index: u16) -> io::Result<Result<Self, Refusal>> {
        let mut head = Vec::new();
        source.take(LONGEST_LINE as u64 + 1).read_until(b'\n', &mut head)?;
        Ok(Self::of_head(&head, index))
    }

    /// Reads the first line, which the source begins with.
    pub fn of_head(source: &[u8], index: u16) -> Result<Self, Refusal> {
        let refuse =
            |why: String, remedy: String| Refusal { place: Place { source: index, at: At::Line(1) }, why, remedy };
        let line = source.split(|byte| *byte == b'\n').next().unwrap_or_default();
        if line.len() >= LONGEST_LINE {
            let why = format!("the first line is longer than {LONGEST_LINE} bytes");
            return Err(refuse(why, "begin with a line that names the columns".to_owned()));
        }
        let columns = names(line);
        if columns.len() > MOST_COLUMNS {
            let why = format!("the first line names {} columns", columns.len());
            return Err(refuse(why, "begin with a line that names the columns, at most 1,000".to_owned()));
        }
        if let Some(twice) = columns.iter().enumerate().find(|(at, name)| columns[..*at].contains(name)) {
            let why = format!("the first line names the column `{}` twice", twice.1);
            return Err(refuse(why, "leave one of them out".to_owned()));
        }
        let clocks: Vec<Clock> = columns.iter().filter_map(|name| Clock::of_column(name)).collect();
        if clocks.len() > 1 {
            let why = "the first line names more than one column of times".to_owned();
            return Err(refuse(why, "leave all but one of them out".to_owned()));
        }
        let kind = if columns.iter().any(|name| name == "event") { Kind::Events } else { Kind::Switches };
        let slots: Vec<Option<u8>> = columns.iter().map(|name| slot(kind, name)).collect();
        let known = (0..).zip(kind.columns());
        let missing: Vec<&str> = known.filter(|(at, _)| !slots.contains(&Some(*at))).map(|(_, name)| *name).collect();
        if !missing.is_empty() {
            let list = |names: &[&str]| names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
            let why = format!("the first line does not name the column{} {}", plural(&missing), list(&missing));
            return Err(refuse(why, format!("a table of {} has the columns {}", kind.word(), list(kind.columns()))));
        }
        let unknown = columns.iter().zip(&slots).filter(|(_, slot)| slot.is_none()).map(|(name, _)| name.clone());
        let unknown = unknown.collect();
        let slots: Vec<u8> = slots.iter().map(|slot| slot.unwrap_or(PASSED)).collect();
        Ok(Self { kind, columns: columns_of(&slots), slots, clock: clocks[0], unknown })
    }

    /// What its rows tell.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// For each column its slot.
    pub fn slots(&self) -> &[u8] {
        &self.slots
    }

    /// For each slot but the last its column, where that is one of the first 256.
    pub fn columns(&self) -> &[u8; SLOTS] {
        &self.columns
    }

    /// Whether it is one of switches whose columns stand in the usual order and whose clock does not begin anew.
    pub fn is_usual(&self) -> bool {
        self.kind == Kind::Switches && self.slots == USUAL && !self.clock.wraps
    }

    /// Its clock.
    pub fn clock(&self) -> Clock {
        self.clock
    }

    /// The columns that are not known.
    pub fn unknown(&self) -> &[String] {
        &self.unknown
    }
}

/// For each slot but the last its column, where that is one of the first 256.
pub const fn columns_of(slots: &[u8]) -> [u8; SLOTS] {
    let mut columns = [0; SLOTS];
    let mut column = 0;
    while column < slots.len() && column <= u8::MAX as usize {
        columns[slots[column] as usize] = column as u8;
        column += 1;
    }
    columns
}

fn plural(names: &[&str]) -> &'static str {
    if names.len() == 1 { "" } else { "s" }
}

/// The names in the first line, without a mark of the byte order before them.
fn names(line: &[u8]) -> Vec<String> {
    let line = line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line);
    let mut fields = super::values::Fields::default();
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    _ = fields.split(line);
    fields.iter().map(|field| String::from_utf8_lossy(field.trim_ascii()).into_owned()).collect()
}

/// The slot of a column; `None` for one that is not known.
fn slot(kind: Kind, name: &str) -> Option<u8> {
    if Clock::of_column(name).is_some() {
        return Some(0);
    }
    if kind == Kind::Switches && IDLE.contains(&name) {
        return Some(PASSED);
    }
    (0..).zip(kind.columns()).find(|(_, known)| **known == name).map(|(slot, _)| slot)
}

impl Kind {
    fn columns(self) -> &'static [&'static str] {
        match self {
            Self::Events => &OF_EVENTS,
            Self::Switches => &OF_SWITCHES,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Events => "events",
            Self::Switches => "switches",
        }
    }
}

impl Clock {
    /// The clock that a column of times declares by its name: `time_` or `ts_`, the unit, and `_u32` where it has 32 bits.
    fn of_column(name: &str) -> Option<Self> {
        let unit = name.strip_prefix("time_").or_else(|| name.strip_prefix("ts_"))?;
        let (unit, wraps) = unit.strip_suffix("_u32").map_or((unit, false), |unit| (unit, true));
        let decimals = match unit {
            "ns" => 0,
            "us" => 3,
            "ms" => 6,
            "s" => 9,
            _ => return None,
        };
        Some(Self { unit_ns: 10_u64.pow(decimals), decimals, wraps })
    }
}
