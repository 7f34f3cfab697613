//! The types of a metadata text, as they are declared.

use std::sync::Arc;

/// In which order the bytes of a number stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The least first.
    Little,
    /// The greatest first.
    Big,
    /// As the trace says, which may come later in the text.
    Native,
}

/// A whole number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Integer {
    /// Its bits: 1 to 64.
    pub size: u32,
    /// It begins at a multiple of so many bits.
    pub align: u32,
    /// Whether it can be negative.
    pub signed: bool,
    /// Its order.
    pub order: Order,
    /// Whether it is a character.
    pub text: bool,
    /// The clock whose value it is.
    pub clock: Option<String>,
}

/// One name of an enumeration: it stands for the values from the first to the last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The name.
    pub name: String,
    /// The first value.
    pub first: i128,
    /// The last value.
    pub last: i128,
}

/// What tells how many elements a list has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Length {
    /// So many.
    Fixed(u64),
    /// As many as a field before it says: its path.
    Field(Vec<String>),
}

/// A type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Integer(Integer),
    /// A number with a fraction, which is passed over: its bits and its alignment.
    Float(u32, u32),
    /// A text that ends with a byte of 0.
    Text,
    /// Fields one after the other, beginning at a multiple of at least so many bits.
    Struct(u32, Vec<(String, Arc<Type>)>),
    /// Elements one after the other.
    List(Arc<Type>, Length),
    /// A whole number with names for values.
    Enum(Integer, Arc<Vec<Label>>),
    /// One of several types, by the name that the value of an enumeration has; `None`: which one is still to be said.
    Variant(Option<Vec<String>>, Vec<(String, Arc<Type>)>),
}

/// A type with where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Type {
    /// What it is.
    pub kind: Kind,
    /// The line on which it is declared.
    pub line: u64,
    /// How deep types stand within it.
    pub depth: u32,
}

impl Type {
    /// A type of which the depth is that of what it consists of, and one more.
    pub fn new(kind: Kind, line: u64) -> Self {
        let within = match &kind {
            Kind::Struct(_, fields) | Kind::Variant(_, fields) => fields.iter().map(|(_, field)| field.depth).max(),
            Kind::List(element, _) => Some(element.depth),
            Kind::Integer(_) | Kind::Float(..) | Kind::Text | Kind::Enum(..) => None,
        };
        Self { kind, line, depth: within.unwrap_or(0) + 1 }
    }
}
