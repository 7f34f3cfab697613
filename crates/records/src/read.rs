//! Records from a file.

use crate::Error;
use crate::columns::{Columns, schema, texts, unsigned};
use campaign::{Affected, Harm, Record, Settings};
use parquet::column::reader::get_typed_column_reader;
use parquet::data_type::{ByteArray, ByteArrayType, DataType, Int64Type};
use parquet::file::reader::{ChunkReader, FileReader, RowGroupReader, SerializedFileReader};
use simulator::Machine;

/// More rows than any group that is written has.
const MOST_ROWS: usize = 1 << 24;

/// A file under way: its records come a group after the other, so that no more than one is held.
pub struct Reader<'a, R: ChunkReader> {
    file: SerializedFileReader<R>,
    machine: &'a Machine,
    settings: &'a Settings,
    group: usize,
}

impl<'a, R: ChunkReader + 'static> Reader<'a, R> {
    /// Opens a file of runs that were drawn by `settings` over `machine`.
    ///
    /// # Errors
    /// Where it is not whole, or holds other columns.
    pub fn new(from: R, machine: &'a Machine, settings: &'a Settings) -> Result<Self, Error> {
        let file = SerializedFileReader::new(from)?;
        if file.metadata().file_metadata().schema().get_fields() != schema()?.get_fields() {
            return Err(Error::Other("its columns are others".to_owned()));
        }
        Ok(Self { file, machine, settings, group: 0 })
    }

    /// What the file says of itself under a key.
    pub fn says(&self, key: &str) -> Option<&str> {
        let pairs = self.file.metadata().file_metadata().key_value_metadata().into_iter().flatten();
        let mut named = pairs.filter(|pair| pair.key == key);
        named.next().and_then(|pair| pair.value.as_deref())
    }

    /// The records of the next group, by run; `None` after the last.
    ///
    /// # Errors
    /// Where it is not whole, or holds runs that the settings draw otherwise.
    pub fn next_group(&mut self) -> Result<Option<Vec<Record>>, Error> {
        if self.group == self.file.num_row_groups() {
            return Ok(None);
        }
        let columns = columns(self.file.get_row_group(self.group)?.as_ref())?;
        self.group += 1;
        let mut records = Vec::new();
        add(&columns, self.machine, self.settings, &mut records)?;
        Ok(Some(records))
    }
}

fn columns(group: &dyn RowGroupReader) -> Result<Columns, Error> {
    let rows = usize::try_from(group.metadata().num_rows()).ok().filter(|rows| *rows <= MOST_ROWS);
    let rows = rows.ok_or_else(|| Error::Other("a group says that it has an impossible number of rows".to_owned()))?;
    let mut columns = Columns { run: column::<Int64Type>(group, 0, rows)?, ..Columns::default() };
    for (place, texts) in columns.texts.iter_mut().enumerate() {
        *texts = column::<ByteArrayType>(group, 1 + place, rows)?;
    }
    columns.at_ns = column::<Int64Type>(group, 5, rows)?;
    (columns.affected, columns.is_affected) = optional(group, 6, rows)?;
    for (place, measures) in columns.measures.iter_mut().enumerate() {
        *measures = column::<Int64Type>(group, 7 + place, rows)?;
    }
    Ok(columns)
}

/// A column of which every value is there.
fn column<T: DataType>(group: &dyn RowGroupReader, place: usize, rows: usize) -> Result<Vec<T::T>, Error> {
    let mut values = Vec::new();
    get_typed_column_reader::<T>(group.get_column_reader(place)?).read_records(rows, None, None, &mut values)?;
    if values.len() == rows { Ok(values) } else { Err(Error::Other("a column is cut off".to_owned())) }
}

fn optional(group: &dyn RowGroupReader, place: usize, rows: usize) -> Result<(Vec<ByteArray>, Vec<i16>), Error> {
    let (mut values, mut is_there) = (Vec::new(), Vec::new());
    let mut reader = get_typed_column_reader::<ByteArrayType>(group.get_column_reader(place)?);
    reader.read_records(rows, Some(&mut is_there), None, &mut values)?;
    if is_there.len() == rows { Ok((values, is_there)) } else { Err(Error::Other("a column is cut off".to_owned())) }
}

/// Joins the rows of a run to its record; the fault is drawn again and must be the one that stands there.
fn add(columns: &Columns, machine: &Machine, settings: &Settings, records: &mut Vec<Record>) -> Result<(), Error> {
    let mut names = columns.affected.iter();
    for row in 0..columns.run.len() {
        let run = unsigned(columns.run[row]);
        if records.last().is_none_or(|last| last.run != run) {
            let record = Record { run, fault: settings.fault(run), affected: Vec::new() };
            let stands = std::array::from_fn(|text| columns.texts[text][row].clone());
            if texts(&record, machine) != stands || record.fault.at_ns != unsigned(columns.at_ns[row]) {
                return Err(Error::Other(format!("run {run} has another fault than these settings draw")));
            }
            records.push(record);
        }
        if columns.is_affected[row] == 0 {
            continue;
        }
        let name = names.next().map(ByteArray::data).unwrap_or_default();
        let partition = machine.partitions.iter().position(|partition| partition.name.as_bytes() == name);
        let Some(partition) = partition else {
            return Err(Error::Other(format!("run {run} affects a partition that is not there")));
        };
        let harm = harm(std::array::from_fn(|measure| unsigned(columns.measures[measure][row])));
        records.iter_mut().rev().take(1).for_each(|last| last.affected.push(Affected { partition, harm }));
    }
    Ok(())
}

/// The harm of the measures in the order of [`campaign::Measure::ALL`].
fn harm([extra_ns, missed, stale, lost, undone]: [u64; 5]) -> Harm {
    Harm { extra_ns, missed, stale, lost, undone }
}
