//! How a section of the system file is declared: once, for reading, schema and documentation alike.

/// A table of the system file: the keys that it may hold.
#[derive(Debug)]
pub struct Section {
    /// The section as its header is written, such as `[[partition.task]]`; `system file` for the whole.
    pub head: &'static str,
    /// What the section is, in a sentence.
    pub summary: &'static str,
    /// Its keys in the order in which people read about them.
    pub keys: &'static [Key],
}

/// One key of a section.
#[derive(Debug)]
pub struct Key {
    /// The key as written.
    pub name: &'static str,
    /// What its value must be.
    pub kind: Kind,
    /// Whether it must be given.
    pub required: bool,
    /// Whether zero is no value that it may have.
    pub above_zero: bool,
    /// Whether it is a column of CSV tables only, since the place in a TOML file says the same.
    pub column_only: bool,
    /// What it says, in a sentence.
    pub doc: &'static str,
}

/// What a value must be.
#[derive(Debug)]
pub enum Kind {
    /// Free text.
    Text,
    /// A text that names the element itself.
    Name,
    /// The name of another element, of the kind that the words say.
    Ref(&'static str),
    /// A span of time.
    Time,
    /// A size in bytes.
    Size,
    /// A transfer rate.
    Rate,
    /// How fast a covert channel may carry.
    BitRate,
    /// A share or factor.
    Share,
    /// A physical address.
    Address,
    /// A whole number from zero up to this one.
    Count(u64),
    /// `true` or `false`.
    Flag,
    /// A day.
    Date,
    /// One of some words.
    Word(&'static [&'static str]),
    /// A list of values of one kind.
    List(&'static Kind),
    /// One table.
    Table(&'static Section),
    /// A list of tables.
    Tables(&'static Section),
    /// No value at all: a key that people write and that says too little, with what to write in its place.
    Instead(&'static str),
    /// A value of any of these kinds; the first that fits is taken.
    Either(&'static [Kind]),
}

/// A whole number of any size that is kept exactly everywhere.
pub(crate) const COUNT: Kind = Kind::Count(quantity::LIMIT);
/// A whole number of at most 32 bits.
pub const SMALL: Kind = Kind::Count(u32::MAX as u64);

impl Section {
    /// The keys as a table in Markdown, for the pages of files that declare sections of their own.
    pub fn key_table(&self) -> String {
        let row = |key: &Key| {
            let need = if key.required { "yes" } else { "no" };
            format!("| `{}` | {} | {need} | {} |\n", key.name, key.kind.describe(), key.doc)
        };
        let rows: String = self.keys.iter().map(row).collect();
        format!("| Key | Value | Required | Meaning |\n|---|---|---|---|\n{rows}")
    }

    /// The key of that name.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|key| key.name == name)
    }
}

impl Key {
    /// A key that must be given.
    pub const fn required(name: &'static str, kind: Kind, doc: &'static str) -> Self {
        Self { name, kind, required: true, above_zero: false, column_only: false, doc }
    }

    /// A key that may be left out.
    pub const fn optional(name: &'static str, kind: Kind, doc: &'static str) -> Self {
        Self { name, kind, required: false, above_zero: false, column_only: false, doc }
    }

    /// A key that is known only to say what to write in its place.
    pub const fn instead(name: &'static str, help: &'static str) -> Self {
        Self::optional(name, Kind::Instead(help), "")
    }

    /// Whether the key is one that people may write.
    pub const fn may_be_written(&self) -> bool {
        !matches!(self.kind, Kind::Instead(_))
    }

    /// A key that must be given in CSV tables and stands nowhere else.
    pub const fn column(name: &'static str, kind: Kind, doc: &'static str) -> Self {
        Self { name, kind, required: true, above_zero: false, column_only: true, doc }
    }

    /// The same key, of which zero is no value.
    pub const fn above_zero(self) -> Self {
        Self { above_zero: true, ..self }
    }
}

impl Kind {
    /// What a value of this kind is, with an example as it is written in a TOML file.
    pub fn describe(&self) -> String {
        match self {
            Self::Text => "a text in quotes".into(),
            Self::Name => "a name in quotes".into(),
            Self::Ref(what) => format!("the name of a {what}, in quotes"),
            Self::Time => "a time in quotes, such as \"2.5 ms\"".into(),
            Self::Size => "a size in quotes, such as \"64 MiB\"".into(),
            Self::Rate => "a rate in quotes, such as \"80 MiB/s\"".into(),
            Self::BitRate => "a rate in bits in quotes, such as \"1 bit/s\"".into(),
            Self::Share => "a share in quotes, such as \"30 %\"".into(),
            Self::Address => "an address in quotes, such as \"0x8000_0000\"".into(),
            Self::Count(_) => "a whole number, such as 10".into(),
            Self::Flag => "true or false".into(),
            Self::Date => "a day in quotes, such as \"2027-01-31\"".into(),
            Self::Word(words) => words_of(words),
            Self::List(kind) => format!("a list in brackets, each element {}", kind.describe()),
            Self::Table(section) => format!("a table {}", section.head),
            Self::Tables(section) => format!("a list of tables, each under {}", section.head),
            Self::Instead(help) => (*help).into(),
            Self::Either(kinds) => kinds.iter().map(Self::describe).collect::<Vec<_>>().join(", or "),
        }
    }
}

/// `"a"`, or `"a" or "b"`, or `"a", "b" or "c"`.
pub(crate) fn words_of(words: &[&str]) -> String {
    let quoted: Vec<_> = words.iter().map(|word| format!("\"{word}\"")).collect();
    match quoted.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => quoted.concat(),
    }
}

/// The words of a list of words with their meanings, so that both are declared once.
pub(crate) const fn words<T, const N: usize>(meanings: &[(&'static str, T); N]) -> [&'static str; N] {
    let mut words = [""; N];
    let mut index = 0;
    while index < N {
        words[index] = meanings[index].0;
        index += 1;
    }
    words
}
