//! Several threads read one source of lines: each takes the next block, parses it, and joins it when its turn has come. The
//! memory is that of one block for each thread.

use super::Found;
use super::block::LONGEST_LINE;
use super::join::Join;
use super::lines::{Format, finish, whole_lines};
use crate::note::Refusal;
use std::io::{self, Read};
use std::num::NonZeroUsize;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// The bytes of a block: so many that a thread is busy for a while, and so few that they stay in its cache.
const BLOCK: usize = 1 << 19;

const _: () = assert!(BLOCK > 2 * LONGEST_LINE);

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
    let output = Output { joined: Mutex::new(Joined { join, blocks: 0, found, take }), next: Condvar::new() };
    std::thread::scope(|scope| {
        for _ in 1..threads.get() {
            scope.spawn(|| work(format, &input, &output));
        }
        work(format, &input, &output);
    });
    let Input { rest, end, .. } = input.into_inner().unwrap_or_else(PoisonError::into_inner);
    let Joined { mut join, found, mut take, .. } = output.joined.into_inner().unwrap_or_else(PoisonError::into_inner);
    if let Some(Err(error)) = end {
        return Err(Stopped::Unreadable(error));
    }
    finish(format, &mut join, &rest, found).map_err(Stopped::Refused)?;
    take(found);
    Ok(())
}

fn work<R: Read, T: FnMut(&mut Found)>(format: &dyn Format, input: &Mutex<Input<R>>, output: &Output<'_, T>) {
    let mut buffer = vec![0; BLOCK];
    loop {
        let Some((number, length)) = lock(input).next(&mut buffer) else { return };
        let block = format.parse(&buffer[..length]);
        output.wait_for(number).take(block, &output.next);
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
    next: Condvar,
}

struct Joined<'f, T> {
    join: Join,
    blocks: u64,
    found: &'f mut Found,
    take: T,
}

impl<'f, T: FnMut(&mut Found)> Output<'f, T> {
    fn wait_for(&self, number: u64) -> MutexGuard<'_, Joined<'f, T>> {
        let early = |joined: &mut Joined<'f, T>| joined.blocks != number;
        self.next.wait_while(lock(&self.joined), early).unwrap_or_else(PoisonError::into_inner)
    }
}

impl<T: FnMut(&mut Found)> Joined<'_, T> {
    fn take(&mut self, block: super::Block, next: &Condvar) {
        self.join.join(block, self.found);
        (self.take)(self.found);
        self.blocks += 1;
        next.notify_all();
    }
}
