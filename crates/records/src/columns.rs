//! Records as columns, before they are written and after they are read.

use campaign::{Faulty, Measure, Record};
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::ByteArray;
use parquet::errors::Result;
use parquet::schema::types::Type;
use simulator::Machine;
use simulator::fault::fault_text;
use std::sync::Arc;

/// The columns of texts that always are there, in the file's order.
pub(crate) const TEXTS: [&str; 4] = ["fault", "kind", "target", "faulty"];

/// What a file holds, in order.
pub(crate) fn schema() -> Result<Arc<Type>> {
    let number =
        |name| Type::primitive_type_builder(name, Physical::INT64).with_repetition(Repetition::REQUIRED).build();
    let text = |name, repetition| {
        let kind = Type::primitive_type_builder(name, Physical::BYTE_ARRAY).with_repetition(repetition);
        kind.with_logical_type(Some(LogicalType::String)).build()
    };
    let mut fields = vec![number("run")?];
    for name in TEXTS {
        fields.push(text(name, Repetition::REQUIRED)?);
    }
    fields.push(number("at_ns")?);
    fields.push(text("affected", Repetition::OPTIONAL)?);
    for measure in Measure::ALL {
        fields.push(number(measure.key())?);
    }
    let fields = fields.into_iter().map(Arc::new).collect();
    Type::group_type_builder("runs").with_fields(fields).build().map(Arc::new)
}

/// The columns of some records.
#[derive(Debug, Default)]
pub(crate) struct Columns {
    pub run: Vec<i64>,
    pub texts: [Vec<ByteArray>; 4],
    pub at_ns: Vec<i64>,
    /// The names that are there.
    pub affected: Vec<ByteArray>,
    /// For each row 1 where a name is there, else 0.
    pub is_affected: Vec<i16>,
    pub measures: [Vec<i64>; 5],
}

/// 64 bits as the file's type has them; read back by [`unsigned`].
fn signed(value: u64) -> i64 {
    value.cast_signed()
}

pub(crate) fn unsigned(value: i64) -> u64 {
    value.cast_unsigned()
}

impl Columns {
    pub(crate) fn of(records: &[Record], machine: &Machine) -> Self {
        let mut columns = Self::default();
        records.iter().for_each(|record| columns.add(record, machine));
        columns
    }

    fn add(&mut self, record: &Record, machine: &Machine) {
        let texts = texts(record, machine);
        for affected in &record.affected {
            let name = machine.partitions[affected.partition].name.as_str();
            self.row(record, &texts, Some(name), Measure::ALL.map(|measure| affected.harm.get(measure)));
        }
        if record.affected.is_empty() {
            self.row(record, &texts, None, [0; 5]);
        }
    }

    fn row(&mut self, record: &Record, texts: &[ByteArray; 4], affected: Option<&str>, measures: [u64; 5]) {
        self.run.push(signed(record.run));
        self.texts.iter_mut().zip(texts).for_each(|(column, text)| column.push(text.clone()));
        self.at_ns.push(signed(record.fault.at_ns));
        self.is_affected.push(i16::from(affected.is_some()));
        self.affected.extend(affected.map(ByteArray::from));
        self.measures.iter_mut().zip(measures).for_each(|(column, value)| column.push(signed(value)));
    }
}

/// What the record's fault is in words: the values of [`TEXTS`].
pub(crate) fn texts(record: &Record, machine: &Machine) -> [ByteArray; 4] {
    let fault = fault_text(&record.fault, machine);
    let (kind, rest) = fault.split_once(':').unwrap_or((&fault, ""));
    // The last mark stands before the instant: neither an instant nor a parameter holds another.
    let target = rest.rsplit_once('@').map_or(rest, |(target, _)| target);
    let faulty = Faulty::of(record.fault.target, machine).name(machine);
    [&fault, kind, target, &faulty].map(ByteArray::from)
}
