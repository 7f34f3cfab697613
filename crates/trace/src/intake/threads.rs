//! Several threads read one source of lines: each takes the next block and parses it, and whoever reads the source joins the blocks
//! in order. The memory is that of a block for each thread and some more.

use super::Found;
use super::block::{Block, LONGEST_LINE};
use super::desk::Desk;
use super::join::Join;
use super::lines::{Format, finish, whole_lines};
use crate::event::Event;
use crate::note::{At, Place, Refusal};
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::num::NonZeroUsize;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// The bytes of a block: so many that threads seldom wait for each other, and so few that the memory stays small.
const BLOCK: usize = 1 << 19;

const _: () = assert!(BLOCK > 2 * LONGEST_LINE);

/// Besides one for each thread, so many blocks may be parsed before their turn has come: a thread that is held up does not hold up
/// all others at once.
const AHEAD: u64 = 8;

/// A source of lines that threads read ahead. They end when it is dropped.
pub struct Lines<R> {
    shared: Arc<Shared<R>>,
    join: Join,
    /// The block whose turn it is.
    next: u64,
    buffer: Vec<u8>,
    desk: Desk,
    threads: Vec<JoinHandle<()>>,
}

impl<R: Read + Send + 'static> Lines<R> {
    /// Reads the source of that index, from the first line after a head, on so many threads, of which the one that calls
    /// [`Self::read`] is one.
    pub fn new(format: Box<dyn Format>, source: u16, input: R, threads: NonZeroUsize) -> Self {
        let join = format.join(source);
        let input = Mutex::new(Input { input, rest: Vec::new(), blocks: 0, end: None });
        let queue = Mutex::new(Queue::default());
        let ahead = AHEAD + threads.get() as u64;
        let shared = Arc::new(Shared { format, input, queue, moved: Condvar::new(), ahead });
        let spawn = |number| {
            let shared = shared.clone();
            // Where the system gives no more threads, those there are do the work.
            std::thread::Builder::new().spawn(move || shared.work(Desk::new(number))).ok()
        };
        let threads = (1..threads.get()).filter_map(spawn).collect();
        Self { shared, join, next: 0, buffer: vec![0; BLOCK], desk: Desk::new(0), threads }
    }

    /// Joins the next block to what was found before it. `false`: that was the end. What is found, and in which order, does not
    /// depend on the number of threads.
    pub fn read(&mut self, found: &mut Found) -> Result<bool, Refusal> {
        let Some(block) = self.next_block() else { return self.finish(found).map(|()| false) };
        self.next += 1;
        let room = self.join.join(block, found);
        lock(&self.shared.queue).rooms.push(room);
        Ok(true)
    }

    /// The block whose turn it is. Parses it, or those behind it meanwhile, where it is not there yet.
    fn next_block(&mut self) -> Option<Block> {
        loop {
            if let Some(block) = self.shared.take(self.next) {
                return Some(block);
            }
            // Where one block lasts long, those behind it are not heaped up meanwhile.
            if lock(&self.shared.input).blocks >= self.next + self.shared.ahead {
                return self.shared.wait_for(self.next);
            }
            match self.shared.parse_next(&mut self.buffer, &mut self.desk) {
                Some((number, block)) if number == self.next => {
                    self.shared.pass(number);
                    return Some(block);
                }
                Some((number, block)) => lock(&self.shared.queue).waiting.insert(number, block),
                // All blocks have been taken; of those before the end some may still be parsed.
                None if self.next == lock(&self.shared.input).blocks => return None,
                None => return self.shared.wait_for(self.next),
            };
        }
    }

    fn finish(&mut self, found: &mut Found) -> Result<(), Refusal> {
        let mut input = lock(&self.shared.input);
        if let Some(Err(error)) = &input.end {
            return Err(unreadable(self.join.place(At::End), error));
        }
        let rest = std::mem::take(&mut input.rest);
        finish(&*self.shared.format, &mut self.join, &rest, found)
    }
}

impl<R> Drop for Lines<R> {
    fn drop(&mut self) {
        lock(&self.shared.queue).over = true;
        self.shared.moved.notify_all();
        // One that has panicked has said so.
        self.threads.drain(..).for_each(|thread| _ = thread.join());
    }
}

/// The bytes of a source cannot be had.
pub(crate) fn unreadable(place: Place, error: &io::Error) -> Refusal {
    Refusal { place, why: error.to_string(), remedy: "make the file readable, and judge again".to_owned() }
}

/// Another thread's panic is told by [`Queue::over`], so that nothing is made of what it left behind.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What the threads share.
struct Shared<R> {
    format: Box<dyn Format>,
    input: Mutex<Input<R>>,
    queue: Mutex<Queue>,
    /// A block has come or gone, or all is over.
    moved: Condvar,
    ahead: u64,
}

/// The blocks that wait for their turn.
#[derive(Default)]
struct Queue {
    waiting: BTreeMap<u64, Block>,
    /// Where events of blocks were that have been joined, and those of others can be put.
    rooms: Vec<Vec<Event>>,
    /// The one whose turn it is.
    next: u64,
    /// Nobody wants more, or a thread has panicked.
    over: bool,
}

impl<R: Read> Shared<R> {
    /// Parses blocks until there are no more, or nobody wants them.
    fn work(&self, mut desk: Desk) {
        let _gone = Gone(self);
        let mut buffer = vec![0; BLOCK];
        while let Some((number, block)) = self.parse_next(&mut buffer, &mut desk) {
            let mut queue = lock(&self.queue);
            queue.waiting.insert(number, block);
            self.moved.notify_all();
            let early = |queue: &mut Queue| !queue.over && number >= queue.next + self.ahead;
            if self.moved.wait_while(queue, early).unwrap_or_else(PoisonError::into_inner).over {
                return;
            }
        }
    }

    /// Takes the next whole lines and parses them: a block with its number.
    fn parse_next(&self, buffer: &mut [u8], desk: &mut Desk) -> Option<(u64, Block)> {
        let (number, length) = lock(&self.input).next(buffer)?;
        desk.room = lock(&self.queue).rooms.pop().unwrap_or_default();
        Some((number, desk.parse(&*self.format, &buffer[..length])))
    }
}

impl<R> Shared<R> {
    /// The block of that number, whose turn it is, if it is there.
    fn take(&self, number: u64) -> Option<Block> {
        self.taken(number, lock(&self.queue))
    }

    /// The same once it is there: a thread parses it.
    fn wait_for(&self, number: u64) -> Option<Block> {
        let absent = |queue: &mut Queue| !queue.over && !queue.waiting.contains_key(&number);
        let queue = self.moved.wait_while(lock(&self.queue), absent).unwrap_or_else(PoisonError::into_inner);
        self.taken(number, queue)
    }

    fn taken(&self, number: u64, mut queue: MutexGuard<'_, Queue>) -> Option<Block> {
        assert!(!queue.over, "a thread that reads lines has ended before them");
        let block = queue.waiting.remove(&number)?;
        queue.next = number + 1;
        drop(queue);
        self.moved.notify_all();
        Some(block)
    }

    /// The block of that number, whose turn it is, needs not wait.
    fn pass(&self, number: u64) {
        lock(&self.queue).next = number + 1;
        self.moved.notify_all();
    }
}

/// Tells the others when a thread panics: they would wait for its block for ever.
struct Gone<'s, R>(&'s Shared<R>);

impl<R> Drop for Gone<'_, R> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            lock(&self.0.queue).over = true;
            self.0.moved.notify_all();
        }
    }
}

/// Where the blocks come from.
struct Input<R> {
    input: R,
    /// The begin of a line that the last block ended in.
    rest: Vec<u8>,
    blocks: u64,
    end: Option<io::Result<()>>,
}

impl<R: Read> Input<R> {
    /// Puts the next whole lines into the buffer: their number from 0, and how many bytes they are.
    fn next(&mut self, buffer: &mut [u8]) -> Option<(u64, usize)> {
        while self.end.is_none() {
            let begun = self.rest.len();
            buffer[..begun].copy_from_slice(&self.rest);
            let length = self.fill(buffer, begun);
            let whole = whole_lines(&buffer[..length]);
            self.rest.clear();
            // Of a line that is too long in any case, as much is kept as shows it.
            let kept = (length - whole).min(LONGEST_LINE + 1);
            self.rest.extend_from_slice(&buffer[whole..whole + kept]);
            if whole > 0 {
                self.blocks += 1;
                return Some((self.blocks - 1, whole));
            }
        }
        None
    }

    fn fill(&mut self, buffer: &mut [u8], mut length: usize) -> usize {
        while length < buffer.len() && self.end.is_none() {
            match self.input.read(&mut buffer[length..]) {
                Ok(0) => self.end = Some(Ok(())),
                Ok(count) => length += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => self.end = Some(Err(error)),
            }
        }
        length
    }
}
