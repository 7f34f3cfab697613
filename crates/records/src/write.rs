//! Records into a file.

use crate::Error;
use crate::columns::{Columns, schema};
use campaign::Record;
use parquet::basic::Compression;
use parquet::data_type::{ByteArrayType, DataType, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use simulator::Machine;
use std::io::Write;
use std::sync::Arc;

/// Writes a file, a group of records after the other. Holds one of them, and of each that is written where it lies, which is
/// why a group ought to hold thousands of runs where there are millions.
pub struct Writer<W: Write + Send> {
    file: SerializedFileWriter<W>,
}

impl<W: Write + Send> Writer<W> {
    /// Begins a file that says `metadata` of itself.
    ///
    /// # Errors
    /// Where nothing can be written.
    pub fn new(into: W, metadata: &[(&str, String)]) -> Result<Self, Error> {
        let metadata = metadata.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone())).collect();
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_created_by("cofferdam".to_owned())
            .set_key_value_metadata(Some(metadata))
            .build();
        Ok(Self { file: SerializedFileWriter::new(into, schema()?, Arc::new(properties))? })
    }

    /// Adds records as one row group.
    ///
    /// # Errors
    /// Where nothing can be written.
    pub fn add(&mut self, records: &[Record], machine: &Machine) -> Result<(), Error> {
        let columns = Columns::of(records, machine);
        let mut group = self.file.next_row_group()?;
        column::<Int64Type, _>(&mut group, &columns.run, None)?;
        for texts in &columns.texts {
            column::<ByteArrayType, _>(&mut group, texts, None)?;
        }
        column::<Int64Type, _>(&mut group, &columns.at_ns, None)?;
        column::<ByteArrayType, _>(&mut group, &columns.affected, Some(&columns.is_affected))?;
        for measures in &columns.measures {
            column::<Int64Type, _>(&mut group, measures, None)?;
        }
        group.close()?;
        Ok(())
    }

    /// Ends the file; gives back what it was written into.
    ///
    /// # Errors
    /// Where nothing can be written.
    pub fn finish(self) -> Result<W, Error> {
        Ok(self.file.into_inner()?)
    }
}

/// Writes the group's next column.
fn column<T: DataType, W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: &[T::T],
    is_there: Option<&[i16]>,
) -> Result<(), Error> {
    let Some(mut column) = group.next_column()? else {
        return Err(Error::Other("a column too many".to_owned()));
    };
    column.typed::<T>().write_batch(values, is_there, None)?;
    column.close()?;
    Ok(())
}
