//! Which begins and ends of spans belong together.

use super::Rank;
use crate::event::{Event, What};
use crate::names::Name;
use std::collections::BTreeMap;

/// Which spans begin without an end or end without a beginning, in order. An end without a name ends what began last on its track
/// and gets its name; one with a name ends what began last under this name, since complete events may overlap.
pub(super) fn unpaired(kept: &mut [(Event, Rank)], nameless: Name) -> Vec<usize> {
    let mut tracks = Tracks::default();
    let mut alone = Vec::new();
    for (at, (event, _)) in kept.iter_mut().enumerate() {
        match &mut event.what {
            What::SpanBegins { name, on } => tracks.begin(at, *on, *name),
            What::SpanEnds { name, on } => match tracks.end(*on, (*name != nameless).then_some(*name)) {
                Some(begun) => *name = begun,
                None => alone.push(at),
            },
            _ => {}
        }
    }
    alone.extend(tracks.open.into_keys());
    alone.sort_unstable();
    alone
}

/// The spans that are open. What has ended under its name is left in the other list until that comes upon it, so that every span is
/// looked at twice at most, however deep they lie.
#[derive(Debug, Default)]
struct Tracks {
    /// The name of each open span, by where it began.
    open: BTreeMap<usize, Name>,
    by_track: BTreeMap<Name, Vec<usize>>,
    by_name: BTreeMap<(Name, Name), Vec<usize>>,
}

impl Tracks {
    fn begin(&mut self, at: usize, on: Name, name: Name) {
        self.open.insert(at, name);
        self.by_track.entry(on).or_default().push(at);
        self.by_name.entry((on, name)).or_default().push(at);
    }

    /// Ends the span that began last on a track, of a name where one is given; its name.
    fn end(&mut self, on: Name, name: Option<Name>) -> Option<Name> {
        let list = match name {
            Some(name) => self.by_name.get_mut(&(on, name))?,
            None => self.by_track.get_mut(&on)?,
        };
        while let Some(at) = list.pop() {
            if let Some(name) = self.open.remove(&at) {
                return Some(name);
            }
        }
        None
    }
}
