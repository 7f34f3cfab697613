//! The rows of a table: cut into values, quickly where no value is quoted, and read by what the columns mean.

use super::super::block::{Builder, LONGEST_LINE, without_return};
use super::super::recent::Lately;
use super::columns::{Kind, Table};
use super::near::{Declared, Near, Usual};
use super::switches::{known_switch, switch};
use super::times::{Times, time};
use super::values::{Far, Fields, Places, Values};
use crate::event::{Cpu, What, Word, kept_number};
use crate::note::Matter;

/// Reads rows of a table.
pub struct Rows<'t> {
    table: &'t Table,
    fields: Fields,
    /// Whether there may be any.
    quotes: bool,
    /// Threads by what near rows say of them.
    told: &'t mut Lately,
    times: Times,
}

impl<'t> Rows<'t> {
    /// Reads those rows of that table, with the threads that were told before.
    pub fn new(table: &'t Table, lines: &[u8], told: &'t mut Lately) -> Self {
        // Of a usual table each row is looked at for itself.
        let quotes = table.is_usual() || memchr::memchr(b'"', lines).is_some();
        Self { table, fields: Fields::default(), quotes, told, times: Times::default() }
    }

    /// Takes all rows.
    pub fn take<'a>(&mut self, mut rest: &'a [u8], builder: &mut Builder<'a>) {
        let usual = self.table.is_usual();
        while !rest.is_empty() {
            builder.next_line();
            rest = match usual.then(|| self.usual(rest, builder)).flatten() {
                Some(rest) => rest,
                None => self.any(rest, builder),
            };
        }
    }

    /// Takes a near row in the usual layout that tells nothing new, as most do: makes the same of it as [`Self::any`]. What
    /// follows it, or `None` if it is no such row and nothing has been done.
    #[inline(always)]
    fn usual<'a>(&mut self, rest: &'a [u8], builder: &mut Builder<'a>) -> Option<&'a [u8]> {
        let near = Near::cut(Usual, rest)?;
        if near.idle_is_quoted() {
            return None;
        }
        let at = self.times.read(near.piece(0), self.table.clock())?;
        let (cpu, what) = known_switch(&near, self.told)?;
        builder.event(at, cpu, what, near.line);
        Some(near.rest)
    }

    /// Takes any row. What follows it.
    #[inline(never)]
    fn any<'a>(&mut self, rest: &'a [u8], builder: &mut Builder<'a>) -> &'a [u8] {
        match Near::cut(Declared::of(self.table), rest) {
            Some(near) if !(self.quotes && near.line.contains(&b'"')) => {
                if take(self.table, &near, self.told, near.line, builder).is_none() {
                    builder.note(Matter::Malformed);
                }
                near.rest
            }
            _ => self.far(rest, builder),
        }
    }

    /// Takes a row of any length, with quotes or without. What follows it.
    fn far<'a>(&mut self, rest: &'a [u8], builder: &mut Builder<'a>) -> &'a [u8] {
        let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
        let line = &rest[..length];
        if line.len() > LONGEST_LINE {
            builder.note(Matter::Unparsed);
        } else if !without_return(line).is_empty() && self.values(line, builder).is_none() {
            builder.note(Matter::Malformed);
        }
        rest.get(length + 1..).unwrap_or_default()
    }

    /// `None`: the row has not as many values as there are columns, or one cannot be read.
    fn values<'a>(&mut self, line: &'a [u8], builder: &mut Builder<'a>) -> Option<()> {
        let (own, columns) = (without_return(line), self.table.slots());
        let mut places = Places::default();
        let bytes = if self.quotes && own.contains(&b'"') {
            self.fields.values(own, columns, &mut places)?
        } else {
            places.cut(own, columns)?;
            own
        };
        take(self.table, &Far { bytes, places: &places }, self.told, line, builder)
    }
}

/// `None`: a value cannot be read.
#[inline(always)]
fn take<'a>(
    table: &Table,
    values: &impl Values,
    told: &mut Lately,
    line: &'a [u8],
    builder: &mut Builder<'a>,
) -> Option<()> {
    let Some(at) = time(values, table.clock())? else {
        builder.note(Matter::OutOfRange);
        return Some(());
    };
    let row = match table.kind() {
        Kind::Switches => Row::Is(switch(values, told, builder)?),
        Kind::Events => event(values, builder)?,
    };
    match row {
        Row::Is((cpu, what)) => builder.event(at, cpu, what, line),
        Row::Unknown => builder.unknown(values.text(2)),
    }
    Some(())
}

/// What a row tells.
enum Row {
    Is((Cpu, What)),
    /// An event of a kind that is not known.
    Unknown,
}

fn event(values: &impl Values, builder: &mut Builder<'_>) -> Option<Row> {
    let [core, event, who, counted] = [1, 2, 3, 4];
    let number = |slot| if values.text(slot).is_empty() { Some(None) } else { values.number(slot).map(Some) };
    let cpu = match number(core)? {
        Some(number) => Cpu::new(number)?,
        None => Cpu::UNKNOWN,
    };
    let (number, who) = (number(counted)?, values.text(who));
    let what = match values.text(event) {
        b"mark" => What::Mark { text: builder.text(who) },
        b"lost" => {
            builder.note(Matter::Lost);
            What::lost(number.map_or(0, |count| u32::try_from(count).unwrap_or(u32::MAX)))
        }
        word => match std::str::from_utf8(word).ok().and_then(Word::of) {
            Some(word) => told(word, cpu, who, number, builder)?,
            None => return Some(Row::Unknown),
        },
    };
    Some(Row::Is((cpu, what)))
}

/// An event in a word of a plan. What a core does needs the core, and nobody is told to idle.
fn told(word: Word, cpu: Cpu, who: &[u8], number: Option<u64>, builder: &mut Builder<'_>) -> Option<What> {
    let of_core = matches!(word, Word::WindowBegins | Word::WindowEnds | Word::Runs | Word::Idles);
    if of_core && cpu == Cpu::UNKNOWN || who.is_empty() && word != Word::Idles {
        return None;
    }
    let number = match number {
        Some(number) => Some(kept_number(number)?),
        None => None,
    };
    Some(What::Told { word, who: builder.text(who), number })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::desk::Desk;
    use crate::intake::lines::Format;
    use crate::intake::{Block, Found};
    use proptest::prelude::*;

    const HEADS: [&str; 4] = [
        "ts_ns,cpu,prev_comm,prev_pid,prev_prio,prev_state,next_comm,next_pid,next_prio",
        "next_pid,next_comm,extra,prev_pid,prev_state,prev_comm,cpu,ts_us",
        "time_ns_u32,core,event,who,number",
        "time_s,cpu,prev_comm,prev_pid,prev_prio,prev_state,next_comm,next_pid,next_prio",
    ];

    /// What rows give that are taken as near ones where they are such, or each as one of any length.
    fn found(table: &Table, rows: &[u8], near: bool) -> Found {
        let mut desk = Desk::new(0);
        let mut builder = Builder::new(rows.len(), &mut desk.recent, Vec::new());
        let mut reader = Rows::new(table, rows, &mut desk.told);
        if near {
            reader.take(rows, &mut builder);
        } else {
            let mut rest = rows;
            while !rest.is_empty() {
                builder.next_line();
                rest = reader.far(rest, &mut builder);
            }
        }
        let (mut found, mut join) = (Found::default(), table.join(0));
        let block = builder.finish();
        join.join(Block { news: desk.recent.news(), ..block }, &mut found);
        join.finish(b"", &mut found);
        found
    }

    fn value() -> impl Strategy<Value = String> {
        prop_oneof![
            8 => "[0-9]{1,3}",
            4 => "[0-9]{1,14}",
            4 => "[ab]{1,2}",
            2 => "(R|S|R\\+|X)",
            2 => "[a-z]{14,20}",
            1 => "(runs|mark|lost|idles)",
            1 => " ?[0-9]{0,21} ?",
            1 => "\"[a,\"]{0,3}\"?",
            1 => "[0-9]{0,9}\\.[0-9]{0,10}",
            1 => "[\\PC\0]{0,4}",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

        #[test]
        fn near_rows_are_read_as_others_are(
            which in 0..HEADS.len(),
            rows in prop::collection::vec((prop::collection::vec(value(), 1..11), any::<bool>(), 0..3_usize), 0..20),
        ) {
            let table = Table::of_head(HEADS[which].as_bytes(), 0).expect("the head is one of a table");
            let columns = table.slots().len();
            let lines = rows.into_iter().flat_map(|(mut values, right, end)| {
                if right {
                    values = values.iter().cycle().take(columns).cloned().collect();
                }
                let line = values.join(",") + ["\n", "\r\n", "\n"][end];
                std::iter::repeat_n(line, 1 + usize::from(end == 2))
            });
            let lines = lines.collect::<String>();
            prop_assert_eq!(found(&table, lines.as_bytes(), true), found(&table, lines.as_bytes(), false));
        }

        #[test]
        fn near_switches_are_read_as_others_are(
            head in prop_oneof![Just(HEADS[0]), Just(HEADS[3])],
            rows in prop::collection::vec((time(), 0..4_u8, "[a-c]", priorities(), "[RSX]", thread(), "\r?"), 0..30),
        ) {
            let table = Table::of_head(head.as_bytes(), 0).expect("the head is one of a table");
            let lines: String = rows
                .iter()
                .map(|(at, cpu, from, [own, next], state, to, end)| format!("{at},{cpu},{from},1,{own},{state},{to},{next}{end}\n"))
                .collect();
            let near = found(&table, lines.as_bytes(), true);
            prop_assert_eq!(&near, &found(&table, lines.as_bytes(), false));
            prop_assert!(near.events.len() + near.notes.len() >= rows.len());
        }
    }

    /// A name with its number: one of a few, which are known soon, or one of many.
    fn thread() -> impl Strategy<Value = String> {
        prop_oneof![2 => "[ab],1", 1 => "[a-c\0 ]{1,16},[0-2]{1,8}"]
    }

    /// Priorities, of which nothing is made, with quotes that end and that do not, and within the value.
    fn priorities() -> impl Strategy<Value = [String; 2]> {
        let priority = || prop_oneof![8 => "[0-9]{1,3}", 1 => "\"?[0-9]{0,2}\"?[0-9,]?"];
        [priority(), priority()]
    }

    /// Times that begin alike or not, with zeros before them, with something that is no digit, and too large ones.
    fn time() -> impl Strategy<Value = String> {
        prop_oneof![
            4 => (99_999_990..100_000_010_u64).prop_map(|at| at.to_string()),
            4 => (12_300_000_000_u64..12_300_000_009).prop_map(|at| at.to_string()),
            1 => (0..9_u64).prop_map(|at| at.to_string()),
            1 => "0{0,9}1[0-9]{7,12}",
            1 => "[0-9]{15,21}",
            1 => "1[0-9]{8}[a-z./:][0-9]{0,6}",
        ]
    }
}
