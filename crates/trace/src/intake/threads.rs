//! Several threads read one source of lines: each takes the next block, parses it, and puts it where one of them joins it when its
//! turn has come. The memory is that of a block for each thread and some more.

use super::Found;
use super::block::{Block, LONGEST_LINE};
use super::join::Join;
use super::lines::{Format, finish, whole_lines};
use crate::note::Refusal;
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::num::NonZeroUsize;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// The bytes of a block: so many that a thread is busy for a while, and so few that they stay in its cache.
const BLOCK: usize = 1 << 19;

const _: () = assert!(BLOCK > 2 * LONGEST_LINE);

/// Besides one for each thread, so many blocks may be parsed before their turn has come: a thread that is held up does not hold up
/// all others at once.
const AHEAD: u64 = 4;

/// Why a source is not read to its end.
#[derive(Debug)]
pub enum Stopped {
    /// Its bytes cannot be had.
    Unreadable(io::Error),
    /// Nothing can be made of them.
    Refused(Refusal),
}

/// Reads a source of lines, from the first of them after a head, on so many threads. `take` is called after each block to take
/// out what was found; what it gets, and in which order, does not depend on the number of threads.
pub fn read<R: Read + Send, T: FnMut(&mut Found) + Send>(
    format: &dyn Format,
    join: Join,
    input: R,
    threads: NonZeroUsize,
    found: &mut Found,
    take: T,
) -> Result<(), Stopped> {
    let input = Mutex::new(Input { input, rest: Vec::new(), blocks: 0, end: None });
    let ahead = AHEAD + threads.get() as u64;
    let (joined, queue) = (Mutex::new(Joined { join, found, take }), Mutex::new(Queue::default()));
    let output = Output { joined, queue, moved: Condvar::new(), ahead };
    std::thread::scope(|scope| {
        for _ in 1..threads.get() {
            scope.spawn(|| work(format, &input, &output));
        }
        work(format, &input, &output);
    });
    let Input { rest, end, .. } = input.into_inner().unwrap_or_else(PoisonError::into_inner);
    let Joined { mut join, found, mut take } = output.joined.into_inner().unwrap_or_else(PoisonError::into_inner);
    if let Some(Err(error)) = end {
        return Err(Stopped::Unreadable(error));
    }
    finish(format, &mut join, &rest, found).map_err(Stopped::Refused)?;
    take(found);
    Ok(())
}

fn work<R: Read, T: FnMut(&mut Found)>(format: &dyn Format, input: &Mutex<Input<R>>, output: &Output<'_, T>) {
    let _gone = Gone { queue: &output.queue, moved: &output.moved };
    let mut buffer = vec![0; BLOCK];
    loop {
        let Some((number, length)) = lock(input).next(&mut buffer) else { return };
        output.put(number, format.parse(&buffer[..length]));
    }
}

/// Another thread's panic ends all of them when the scope ends, so that nothing is made of what it left behind.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
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

/// Where the blocks go, in order.
struct Output<'f, T> {
    joined: Mutex<Joined<'f, T>>,
    queue: Mutex<Queue>,
    /// A block has been joined, or a thread is gone.
    moved: Condvar,
    ahead: u64,
}

struct Joined<'f, T> {
    join: Join,
    found: &'f mut Found,
    take: T,
}

/// The blocks that wait for their turn.
#[derive(Default)]
struct Queue {
    waiting: BTreeMap<u64, Block>,
    /// The one whose turn it is.
    next: u64,
    /// Whether a thread is joining blocks, and will join those that come meanwhile too.
    joining: bool,
    /// Whether a thread has panicked, whose block will never come.
    gone: bool,
}

impl<T: FnMut(&mut Found)> Output<'_, T> {
    /// Takes a block; the thread that brings it joins those whose turn has come, unless another one does.
    fn put(&self, number: u64, block: Block) {
        let mut queue = lock(&self.queue);
        queue.waiting.insert(number, block);
        while let Some(block) = queue.begin() {
            drop(queue);
            lock(&self.joined).take(block);
            queue = lock(&self.queue);
            queue.end();
            self.moved.notify_all();
        }
        let early = |queue: &mut Queue| !queue.gone && number >= queue.next + self.ahead;
        drop(self.moved.wait_while(queue, early));
    }
}

impl Queue {
    fn begin(&mut self) -> Option<Block> {
        if self.joining {
            return None;
        }
        let block = self.waiting.remove(&self.next)?;
        self.joining = true;
        Some(block)
    }

    fn end(&mut self) {
        self.joining = false;
        self.next += 1;
    }
}

/// Tells the others when a thread panics: they would wait for its block for ever.
struct Gone<'o> {
    queue: &'o Mutex<Queue>,
    moved: &'o Condvar,
}

impl Drop for Gone<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            lock(self.queue).gone = true;
            self.moved.notify_all();
        }
    }
}

impl<T: FnMut(&mut Found)> Joined<'_, T> {
    fn take(&mut self, block: Block) {
        self.join.join(block, self.found);
        (self.take)(self.found);
    }
}
