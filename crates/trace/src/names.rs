//! The names that a recording uses, each kept once.

use indexmap::{Equivalent, IndexSet};

/// A name of a recording: an index into its [`Names`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Name(pub u32);

/// What a name stands for in the recording.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Named {
    /// The text: the name of a thread, an interrupt line, a flow, a mark, a partition or task.
    pub text: String,
    /// The thread's number, where it is a thread and has one. Number 0 is the idle thread of a cpu.
    pub id: Option<u32>,
}

/// A [`Named`] that is looked up; its hash is the same, since its fields are.
#[derive(Hash)]
struct Wanted<'a> {
    text: &'a str,
    id: Option<u32>,
}

impl Equivalent<Named> for Wanted<'_> {
    fn equivalent(&self, named: &Named) -> bool {
        self.id == named.id && self.text == named.text
    }
}

/// All names of a recording, in the order of their first use.
#[derive(Debug, Clone, Default)]
pub struct Names {
    list: IndexSet<Named>,
}

/// Names are equal if they have the same order too.
impl PartialEq for Names {
    fn eq(&self, other: &Self) -> bool {
        self.list.as_slice() == other.list.as_slice()
    }
}

impl Eq for Names {}

impl Names {
    /// The name of a text that is no thread's.
    pub fn text(&mut self, text: &str) -> Name {
        self.keep(text, None)
    }

    /// The name of a thread: the same number under another text is another name.
    pub fn thread(&mut self, text: &str, id: u32) -> Name {
        self.keep(text, Some(id))
    }

    fn keep(&mut self, text: &str, id: Option<u32>) -> Name {
        let index = match self.list.get_index_of(&Wanted { text, id }) {
            Some(index) => index,
            None => self.list.insert_full(Named { text: text.to_owned(), id }).0,
        };
        Name(u32::try_from(index).expect("a recording has fewer than 2^32 names, each of some bytes"))
    }

    /// What a name stands for. Panics on a name of another recording.
    pub fn get(&self, name: Name) -> &Named {
        &self.list[name.0 as usize]
    }

    /// Every name with what it stands for.
    pub fn iter(&self) -> impl Iterator<Item = (Name, &Named)> {
        (0..).map(Name).zip(&self.list)
    }

    /// How many names there are.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}
