//! A table of the file that has been held against its section: every value is of its kind.

use super::section::Section;
use diagnostic::{Located, Span};
use quantity::{Address, BitRate, Bytes, Duration, Ppm, Rate};

/// The values of a table, of which each has the kind that the section declares.
#[derive(Debug)]
pub struct Fields {
    /// The section.
    pub section: &'static Section,
    /// The header of the table, or its whole text where it has none.
    pub span: Span,
    pub(super) fields: Vec<Field>,
}

/// One value with its key.
#[derive(Debug)]
pub(crate) struct Field {
    /// The key as the section declares it.
    pub name: &'static str,
    /// The place of the key.
    pub key: Span,
    /// The value and its place.
    pub value: Located<Datum>,
}

/// A value that is of its declared kind.
#[derive(Debug)]
pub(crate) enum Datum {
    Text(String),
    Time(Duration),
    Size(Bytes),
    Rate(Rate),
    /// How fast a covert channel may carry.
    BitRate(BitRate),
    Share(Ppm),
    Address(Address),
    Count(u64),
    Flag(bool),
    Date(jiff::civil::Date),
    List(Vec<Located<Datum>>),
    Table(Fields),
    /// A value that could not be read, which has been reported.
    Invalid,
}

impl Datum {
    /// Whether it is a quantity or count of zero.
    pub fn is_zero(&self) -> bool {
        match self {
            Self::Time(time) => time.is_zero(),
            Self::Size(size) => size.get() == 0,
            Self::Rate(rate) => rate.bytes_per_s() == 0,
            Self::BitRate(rate) => rate.millibits_per_s() == 0,
            Self::Share(share) => share.get() == 0,
            Self::Count(count) => *count == 0,
            _ => false,
        }
    }
}

/// Declares a getter: the value of a key of one kind; `None` where it is not given or could not be read.
macro_rules! getters {
    ($($(#[$doc:meta])* $name:ident: $variant:ident -> $type:ty;)*) => {$(
        $(#[$doc])*
        pub fn $name(&self, key: &str) -> Option<Located<$type>> {
            let value = self.value(key)?;
            match value.value {
                Datum::$variant(datum) => Some(Located::new(datum, value.span)),
                _ => None,
            }
        }
    )*};
}

impl Fields {
    getters! {
        /// A span of time.
        time: Time -> Duration;
        /// A size.
        size: Size -> Bytes;
        /// A transfer rate.
        rate: Rate -> Rate;
        /// How fast a covert channel may carry.
        bit_rate: BitRate -> BitRate;
        /// A share or factor.
        share: Share -> Ppm;
        /// A physical address.
        address: Address -> Address;
        /// A whole number.
        count: Count -> u64;
        /// A flag.
        flag: Flag -> bool;
        /// A day.
        date: Date -> jiff::civil::Date;
    }

    /// The value of a key, where it is given. A key that the section does not declare is a mistake of the program.
    pub(crate) fn value(&self, key: &str) -> Option<&Located<Datum>> {
        debug_assert!(self.section.key(key).is_some(), "{} declares no key `{key}`", self.section.head);
        self.field(key).map(|field| &field.value)
    }

    /// Whether a key is given, readable or not.
    pub fn has(&self, key: &str) -> bool {
        self.value(key).is_some()
    }

    /// The place of a key, where it is given.
    pub fn key_span(&self, key: &str) -> Option<Span> {
        self.field(key).map(|field| field.key)
    }

    fn field(&self, key: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.name == key)
    }

    /// A text: free, a name, a reference, or a word.
    pub fn text(&self, key: &str) -> Option<Located<String>> {
        text_of(self.value(key)?)
    }

    /// A free text of which the place does not matter.
    pub fn words(&self, key: &str) -> Option<String> {
        self.text(key).map(|text| text.value)
    }

    /// A whole number of a key of kind `SMALL`.
    pub fn small(&self, key: &str) -> Option<Located<u32>> {
        // The kind of the key admits no larger number.
        self.count(key).map(|count| count.map(|count| u32::try_from(count).unwrap_or(u32::MAX)))
    }

    /// The meaning of a word.
    pub fn word<T: Clone>(&self, key: &str, meanings: &[(&'static str, T)]) -> Option<Located<T>> {
        let text = self.text(key)?;
        let (_, meaning) = meanings.iter().find(|(word, _)| *word == text.value)?;
        Some(Located::new(meaning.clone(), text.span))
    }

    /// The texts of a list; empty where it is not given.
    pub fn texts(&self, key: &str) -> Vec<Located<String>> {
        self.list(key).iter().filter_map(text_of).collect()
    }

    /// The elements of a list, those that could not be read included; empty where it is not given.
    pub(crate) fn list(&self, key: &str) -> &[Located<Datum>] {
        match self.value(key).map(|value| &value.value) {
            Some(Datum::List(list)) => list,
            _ => &[],
        }
    }

    /// The lists of whole numbers in a list; without those of which a number could not be read.
    pub fn number_lists(&self, key: &str) -> Vec<Located<Vec<Located<u64>>>> {
        let numbers = |element: &Located<Datum>| match &element.value {
            Datum::List(list) => Some(Located::new(list.iter().map(count_of).collect::<Option<_>>()?, element.span)),
            _ => None,
        };
        self.list(key).iter().filter_map(numbers).collect()
    }

    /// A table.
    pub fn table(&self, key: &str) -> Option<&Fields> {
        match &self.value(key)?.value {
            Datum::Table(table) => Some(table),
            _ => None,
        }
    }

    /// The tables of a list; empty where it is not given.
    pub fn tables(&self, key: &str) -> impl Iterator<Item = &Fields> {
        self.list(key).iter().filter_map(|element| match &element.value {
            Datum::Table(table) => Some(table),
            _ => None,
        })
    }

    /// The names of the tables of a list; `None` for a table without a readable one.
    pub fn names(&self, key: &str) -> impl Iterator<Item = Option<Located<String>>> {
        self.tables(key).map(|table| table.text("name"))
    }

    /// The tables of a list, to be changed.
    pub fn tables_mut(&mut self, key: &str) -> impl Iterator<Item = &mut Fields> {
        let field = self.fields.iter_mut().find(|field| field.name == key);
        let list = match field.map(|field| &mut field.value.value) {
            Some(Datum::List(list)) => list.as_mut_slice(),
            _ => &mut [],
        };
        list.iter_mut().filter_map(|element| match &mut element.value {
            Datum::Table(table) => Some(table),
            _ => None,
        })
    }

    /// Takes the tables of a list out of here.
    pub fn take_tables(&mut self, key: &str) -> Vec<Fields> {
        let at = self.fields.iter().position(|field| field.name == key);
        let value = at.map(|at| self.fields.remove(at).value.value);
        let Some(Datum::List(list)) = value else { return Vec::new() };
        let tables = list.into_iter().filter_map(|element| match element.value {
            Datum::Table(table) => Some(table),
            _ => None,
        });
        tables.collect()
    }
}

fn count_of(value: &Located<Datum>) -> Option<Located<u64>> {
    match value.value {
        Datum::Count(count) => Some(Located::new(count, value.span)),
        _ => None,
    }
}

fn text_of(value: &Located<Datum>) -> Option<Located<String>> {
    match &value.value {
        Datum::Text(text) => Some(Located::new(text.clone(), value.span)),
        _ => None,
    }
}
