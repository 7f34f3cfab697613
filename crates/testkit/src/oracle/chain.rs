//! True worst reaction time and data age of chains on small boards, by trying everything.
//!
//! # The rules held to
//!
//! Those of [`super::board`], and:
//!
//! **Links.** A last-value buffer is overwritten by each write, and each job of the next task reads what it holds.
//! A queue read whole gives all its messages to the next reading job, and the newest one counts. A queue of which
//! a job takes at most a number gives its oldest ones, of which the newest counts. Queues are deep enough; that
//! of a reader of at most a number takes no message before the reader's first arrival, else a reader that comes
//! late would leave any number behind for ever.
//!
//! **Nothing.** A job that finds nothing carries nothing on: it writes nothing into the chain. So does one
//! that reads a buffer into which nothing was written yet.
//!
//! **Data age held.** The output holds the datum of the last job of the last task that wrote; the age of the datum
//! counts from the read of the first task's job from which it comes. *Held* is the age at the instant at which the
//! next output replaces it, be it one of the same datum.
//!
//! **Reaction.** A stimulus goes with the first job of the first task that reads at or after it, its output with the
//! first job of the next task that reads at or after the write (of a queue, that takes the message), and so on to the
//! last write. Its least upper bound over all stimuli after one read of the first task, up to the next read, is that
//! last write minus the earlier read. Stimuli before the first read whose datum ever reaches an output are left out.
//!
//! # How it is found
//!
//! The walk picks a read of the first task, any one, marks its datum, and from then on counts the ticks since: one
//! number, and for each job, link and the output whether what it holds is nothing, read earlier, the marked datum
//! itself or read later. When an output replaces the marked datum, the count is its held age. When the first later
//! datum is written to an output that held something, the count is the reaction to a stimulus just after the marked
//! read: the first job to take a later datum is at each link the first that reads at or after the write of the
//! stimulus' own, for data keep their order. After that nothing of this mark is left to see; nor if neither the marked
//! nor an earlier datum is left anywhere, for then the first output is yet to come. As the walk marks every read of
//! every run, the greatest counts are the truth. The count stays small, as every chain task has a worst response; it
//! has 10 bits, and a count beyond is a panic, never a cap.

use super::board::{Asleep, Observer, SmallBoard, Unanswered};

/// The greatest number of tasks of a path.
pub const MAX_PATH: usize = 4;

/// What joins a task of a path to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Link {
    /// A sampling port or a buffer: the last value written, read as often as one likes.
    LastValue,
    /// A first-in first-out queue that a job reads whole.
    Queue,
    /// A first-in first-out queue of which a job takes at most so many messages, at least 1.
    QueueAtMost(u32),
}

/// A path of distinct tasks on a board.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct SmallChain {
    /// Where the tasks run.
    pub board: SmallBoard,
    /// The tasks in the order of the data, by their place in [`SmallBoard::tasks`]; one to [`MAX_PATH`].
    pub path: Vec<usize>,
    /// The link from each task to the next, one less than tasks.
    pub links: Vec<Link>,
}

/// The worst of a chain, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct ChainWorst {
    /// The least upper bound of the reactions to all stimuli of all runs.
    pub reaction: u32,
    /// The greatest age at which an output is replaced in any run.
    pub held: u32,
}

/// The worst reaction and the worst held data age over all runs.
///
/// # Errors
/// Why there is no answer.
///
/// # Panics
/// When the chain or its board is malformed, or when its numbers are too large for a state.
pub fn worst_chain(chain: &SmallChain) -> Result<ChainWorst, Unanswered> {
    assert!((1..=MAX_PATH).contains(&chain.path.len()), "a path has one to four tasks");
    assert!(chain.links.len() + 1 == chain.path.len(), "one link from each task to the next");
    let mut marker = Marker { path: &chain.path, links: &chain.links, worst: ChainWorst::default() };
    chain.board.walk(&chain.path, &mut marker)?;
    Ok(marker.worst)
}

/// Where a datum stands against the marked one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Datum {
    #[default]
    Nothing,
    Earlier,
    Marked,
    Later,
}

/// Bits of a datum, and how many messages a link holds at most.
const DATUM: u32 = 2;
const MESSAGES: u32 = 6;
/// Bits of the count.
const COUNT: u32 = 10;

impl Datum {
    fn from_bits(bits: u64) -> Self {
        match bits & 3 {
            0 => Self::Nothing,
            1 => Self::Earlier,
            2 => Self::Marked,
            _ => Self::Later,
        }
    }
}

/// What a chain holds, and since when the mark is set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Note {
    /// What the job of each task has read and not written.
    jobs: [Datum; MAX_PATH],
    /// What each link holds, the oldest first.
    links: [[Datum; MESSAGES as usize]; MAX_PATH - 1],
    output: Datum,
    /// Ticks since the marked read.
    count: Option<u32>,
}

impl Note {
    fn data(&self) -> impl Iterator<Item = &Datum> {
        self.jobs.iter().chain(self.links.iter().flatten()).chain([&self.output])
    }

    fn data_mut(&mut self) -> impl DoubleEndedIterator<Item = &mut Datum> {
        self.jobs.iter_mut().chain(self.links.iter_mut().flatten()).chain([&mut self.output])
    }

    fn pack(&self) -> u64 {
        let count = self.count.map_or(0, |count| count + 1);
        assert!(count >> COUNT == 0, "the age of a datum outgrew its bits");
        self.data().fold(count.into(), |word, &datum| word << DATUM | datum as u64)
    }

    fn unpack(mut word: u64) -> Self {
        let mut note = Self::default();
        for datum in note.data_mut().rev() {
            *datum = Datum::from_bits(word);
            word >>= DATUM;
        }
        note.count = (word as u32).checked_sub(1);
        note
    }

    /// Whether something is left that an output may still show of the mark.
    fn is_open(&self) -> bool {
        self.count.is_none() || self.data().any(|datum| matches!(datum, Datum::Earlier | Datum::Marked))
    }
}

/// The observer of one chain.
struct Marker<'a> {
    path: &'a [usize],
    links: &'a [Link],
    worst: ChainWorst,
}

impl Marker<'_> {
    fn place(&self, task: usize) -> Option<usize> {
        self.path.iter().position(|&member| member == task)
    }

    /// What a job takes from a link.
    fn take(&self, link: usize, held: &mut [Datum; MESSAGES as usize]) -> Datum {
        match self.links[link] {
            Link::LastValue => held[0],
            Link::Queue => std::mem::take(&mut held[0]),
            Link::QueueAtMost(number) => {
                let mut newest = Datum::Nothing;
                for _ in 0..number.min(MESSAGES) {
                    if held[0] != Datum::Nothing {
                        newest = held[0];
                        held.rotate_left(1);
                        held[MESSAGES as usize - 1] = Datum::Nothing;
                    }
                }
                newest
            }
        }
    }

    /// Puts a datum into a link. Of a buffer and of a queue read whole only the newest counts.
    fn put(
        &self,
        link: usize,
        held: &mut [Datum; MESSAGES as usize],
        datum: Datum,
        asleep: &Asleep,
    ) -> Result<(), Unanswered> {
        if !matches!(self.links[link], Link::QueueAtMost(_)) {
            held[0] = datum;
            return Ok(());
        }
        if asleep[self.path[link + 1]] {
            return Ok(());
        }
        let free = held.iter_mut().find(|message| **message == Datum::Nothing).ok_or(Unanswered::QueueGrows)?;
        *free = datum;
        Ok(())
    }

    /// A new output; whether the mark is still to be followed.
    fn replace(&mut self, note: &mut Note, datum: Datum) -> bool {
        if let Some(count) = note.count {
            if note.output == Datum::Marked {
                self.worst.held = self.worst.held.max(count);
            }
            if datum == Datum::Later {
                if note.output != Datum::Nothing {
                    self.worst.reaction = self.worst.reaction.max(count);
                }
                return false;
            }
        }
        note.output = datum;
        true
    }
}

impl Observer for Marker<'_> {
    fn read(&self, task: usize, note: u64) -> [Option<u64>; 2] {
        let Some(place) = self.place(task) else {
            return [Some(note), None];
        };
        let mut note = Note::unpack(note);
        let Some(link) = place.checked_sub(1) else {
            return first_read(note);
        };
        note.jobs[place] = self.take(link, &mut note.links[link]);
        [Some(note.pack()), None]
    }

    fn write(&mut self, task: usize, note: u64, asleep: &Asleep) -> Result<Option<u64>, Unanswered> {
        let Some(place) = self.place(task) else {
            return Ok(Some(note));
        };
        let mut note = Note::unpack(note);
        let datum = std::mem::take(&mut note.jobs[place]);
        let mut open = true;
        if datum != Datum::Nothing && place + 1 < self.path.len() {
            self.put(place, &mut note.links[place], datum, asleep)?;
        } else if datum != Datum::Nothing {
            open = self.replace(&mut note, datum);
        }
        Ok((open && note.is_open()).then(|| note.pack()))
    }

    fn tick(&self, note: u64) -> Option<u64> {
        let mut note = Note::unpack(note);
        note.count = note.count.map(|count| count + 1);
        Some(note.pack())
    }
}

/// A read of the first task: with no mark set yet it may be the marked one or not.
fn first_read(note: Note) -> [Option<u64>; 2] {
    let with = |datum, count| {
        let mut note = note;
        note.jobs[0] = datum;
        note.count = count;
        Some(note.pack())
    };
    match note.count {
        Some(_) => [with(Datum::Later, note.count), None],
        None => [with(Datum::Earlier, None), with(Datum::Marked, Some(0))],
    }
}
