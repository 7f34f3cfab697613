//! Threads read the streams of a folder ahead of what is merged of them: each takes the stream that is furthest behind. What a stream
//! gives, in which portions, does not depend on the threads.

use super::stream::Stream;
use crate::event::Event;
use crate::intake::Found;
use crate::names::Named;
use crate::note::{Note, Refusal};
use std::collections::VecDeque;
use std::io::Read;
use std::num::NonZeroUsize;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// A stream that has found only so many notes gives them before it reads on.
const MOST_NOTES: usize = 4_096;
/// So many blocks of a stream make a portion: a block stays in the processor's cache while it is read, and threads meet each other more
/// rarely.
const BLOCKS: u32 = 4;
/// So many portions of a stream may wait for being merged, and of all streams together about so many: a thread that is held up does
/// not hold up the others at once.
const WAITING: usize = 8;
const ALL_WAITING: usize = 64;

/// What a stream gives at once.
#[derive(Default)]
pub struct Portion {
    /// The events, with the stream's own names.
    pub events: Vec<Event>,
    /// What was the matter, with the stream's own names.
    pub notes: Vec<Note>,
    /// The names that are new.
    pub names: Vec<Named>,
    /// Whether the stream ends behind these events, and how.
    pub end: Option<Result<(), Refusal>>,
}

/// The streams, with the threads that read them.
pub struct Ahead<R> {
    streams: Arc<Streams<R>>,
    threads: Vec<JoinHandle<()>>,
}

impl<R: Read + Send + 'static> Ahead<R> {
    /// Of streams that are each read by so many bytes at once, on so many threads, of which the one that asks for portions is one.
    pub fn new(streams: Vec<(R, Stream)>, block: usize, threads: NonZeroUsize) -> Self {
        let more = (threads.get() - 1).min(streams.len());
        let most_waiting = (ALL_WAITING / streams.len().max(1)).clamp(1, WAITING);
        let lanes = streams.into_iter().map(|(input, stream)| Lane::new(Reading::new(input, stream))).collect();
        let board = Mutex::new(Board { lanes, most_waiting, idle: 0, over: false });
        let streams = Arc::new(Streams { board, moved: Condvar::new(), block });
        let spawn = |_| {
            let streams = streams.clone();
            // Where the system gives no more threads, those there are do the work.
            std::thread::Builder::new().spawn(move || streams.work()).ok()
        };
        let threads = (0..more).filter_map(spawn).collect();
        Self { streams, threads }
    }

    /// The next portion of a stream that has not ended. Reads it, or another one meanwhile, where it is not there yet.
    pub fn next(&self, stream: usize) -> Portion {
        let mut board = self.streams.lock();
        loop {
            assert!(!board.over, "a thread that reads streams has ended before them");
            if let Some(portion) = board.lanes[stream].waiting.pop_front() {
                self.streams.tell(&board);
                return portion;
            }
            let own = board.lanes[stream].reading.is_some().then_some(stream);
            board = match own.or_else(|| board.furthest_behind()) {
                Some(lane) => self.streams.read(lane, board),
                None => self.streams.wait(board),
            };
        }
    }
}

impl<R> Drop for Ahead<R> {
    fn drop(&mut self) {
        self.streams.lock().over = true;
        self.streams.moved.notify_all();
        // One that has panicked has said so.
        self.threads.drain(..).for_each(|thread| _ = thread.join());
    }
}

struct Streams<R> {
    board: Mutex<Board<R>>,
    /// A portion has come or gone, or all is over.
    moved: Condvar,
    block: usize,
}

struct Board<R> {
    lanes: Vec<Lane<R>>,
    most_waiting: usize,
    /// How many threads wait until something moves: telling nobody would take time too.
    idle: usize,
    /// Nobody wants more, or a thread has panicked.
    over: bool,
}

/// One stream.
struct Lane<R> {
    /// `None` while a thread reads it, and at its end.
    reading: Option<Reading<R>>,
    waiting: VecDeque<Portion>,
    /// When the last event was that was read.
    until_ns: u64,
}

impl<R> Lane<R> {
    fn new(reading: Reading<R>) -> Self {
        Self { reading: Some(reading), waiting: VecDeque::new(), until_ns: 0 }
    }
}

impl<R> Streams<R> {
    fn lock(&self) -> MutexGuard<'_, Board<R>> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait<'b>(&self, mut board: MutexGuard<'b, Board<R>>) -> MutexGuard<'b, Board<R>> {
        board.idle += 1;
        board = self.moved.wait(board).unwrap_or_else(PoisonError::into_inner);
        board.idle -= 1;
        board
    }

    /// Wakes those that wait.
    fn tell(&self, board: &Board<R>) {
        if board.idle > 0 {
            self.moved.notify_all();
        }
    }
}

impl<R: Read> Streams<R> {
    /// Reads ahead until nobody wants more.
    fn work(&self) {
        let mut board = self.lock();
        while !board.over {
            board = match board.furthest_behind() {
                Some(lane) => self.read(lane, board),
                None => self.wait(board),
            };
        }
    }

    /// Reads the next portion of a stream that no thread reads.
    fn read<'b>(&'b self, lane: usize, mut board: MutexGuard<'b, Board<R>>) -> MutexGuard<'b, Board<R>> {
        let Some(mut reading) = board.lanes[lane].reading.take() else { return board };
        drop(board);
        let gone = Gone(self);
        let portion = reading.read(self.block);
        drop(gone);
        board = self.lock();
        let lane = &mut board.lanes[lane];
        lane.until_ns = portion.events.last().map_or(lane.until_ns, |last| last.at_ns);
        lane.reading = portion.end.is_none().then_some(reading);
        lane.waiting.push_back(portion);
        self.tell(&board);
        board
    }
}

impl<R> Board<R> {
    /// The stream that could be read and will be the first to have nothing left.
    fn furthest_behind(&self) -> Option<usize> {
        let lanes = self.lanes.iter().enumerate();
        let free = lanes.filter(|(_, lane)| lane.reading.is_some() && lane.waiting.len() < self.most_waiting);
        free.min_by_key(|(_, lane)| lane.until_ns).map(|(at, _)| at)
    }
}

/// Tells the others when a thread panics: they would wait for its portion for ever.
struct Gone<'s, R>(&'s Streams<R>);

impl<R> Drop for Gone<'_, R> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.lock().over = true;
            self.0.moved.notify_all();
        }
    }
}

/// One stream while it is read.
struct Reading<R> {
    input: R,
    stream: Stream,
    found: Found,
    /// How many of its names have been given.
    named: usize,
}

impl<R: Read> Reading<R> {
    fn new(input: R, stream: Stream) -> Self {
        Self { input, stream, found: Found::default(), named: 0 }
    }

    /// Reads some blocks, and further ones until there is an event: a stream may hold none for long.
    fn read(&mut self, block: usize) -> Portion {
        let (mut blocks, mut end) = (0, None);
        while end.is_none() && (blocks < BLOCKS || self.found.events.is_empty()) && self.found.notes.len() < MOST_NOTES
        {
            blocks += 1;
            end = match self.stream.feed_from(&mut self.input, block, &mut self.found) {
                Ok(true) => None,
                Ok(false) => Some(Ok(())),
                Err(refusal) => Some(Err(refusal)),
            };
        }
        let names = self.found.names.iter().skip(self.named).map(|(_, named)| named.clone()).collect();
        self.named = self.found.names.len();
        let room = Vec::with_capacity(self.found.events.len());
        let events = std::mem::replace(&mut self.found.events, room);
        Portion { events, notes: std::mem::take(&mut self.found.notes), names, end }
    }
}
