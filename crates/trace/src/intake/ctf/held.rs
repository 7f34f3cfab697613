//! The bytes of a stream that are at hand.

use std::io::{self, Read};
use std::ops::Deref;

/// Bytes that follow each other in a file, in room that is kept, so that the next ones are read into it without a copy.
#[derive(Debug, Default)]
pub struct Held {
    room: Vec<u8>,
    begin: usize,
    end: usize,
}

impl Deref for Held {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.room[self.begin..self.end]
    }
}

impl Held {
    /// Holds these bytes too.
    pub fn extend(&mut self, bytes: &[u8]) {
        self.make_room(bytes.len());
        self.room[self.end..self.end + bytes.len()].copy_from_slice(bytes);
        self.end += bytes.len();
    }

    /// Holds the next bytes of `input` too, so many or fewer if it ends: how many.
    pub fn read_from(&mut self, input: &mut impl Read, most: usize) -> io::Result<usize> {
        self.make_room(most);
        let (begin, end) = (self.end, self.end + most);
        while self.end < end {
            match input.read(&mut self.room[self.end..end]) {
                Ok(0) => break,
                Ok(count) => self.end += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(self.end - begin)
    }

    /// Lets go of the first bytes.
    pub fn let_go(&mut self, count: usize) {
        self.begin += count.min(self.len());
    }

    fn make_room(&mut self, more: usize) {
        self.room.copy_within(self.begin..self.end, 0);
        (self.begin, self.end) = (0, self.end - self.begin);
        if self.room.len() < self.end + more {
            self.room.resize(self.end + more, 0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_let_go_of_stays_and_more_comes_behind_it() {
        let mut held = Held::default();
        held.extend(b"abcd");
        held.let_go(3);
        assert_eq!(held.read_from(&mut &b"efghij"[..], 4).ok(), Some(4));
        assert_eq!(&*held, b"defgh");
        held.let_go(9);
        assert_eq!(held.read_from(&mut &b"k"[..], 4).ok(), Some(1));
        assert_eq!(&*held, b"k");
    }
}
