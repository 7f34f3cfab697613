//! Ports between processes: sampling ports in memory that all share, queues through pipes.

use crate::orders::Port;
use rustix::fs::OFlags;
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::{FileExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

/// The bytes of a message: its number and the instant at which it was written.
pub const MESSAGE: usize = 16;

/// The ports of one process.
#[derive(Debug)]
pub struct Ports {
    slots: File,
    pipes: BTreeMap<usize, File>,
}

impl Ports {
    /// Opens what is named.
    pub fn open(slots: &Path, pipes: &[(usize, PathBuf)]) -> std::io::Result<Self> {
        let mut options = OpenOptions::new();
        options.read(true).write(true);
        let slots = options.open(slots)?;
        // A full or empty queue answers at once and does not hold its caller up.
        options.custom_flags(i32::try_from(OFlags::NONBLOCK.bits()).unwrap_or(0));
        let open = |(number, path): &(usize, PathBuf)| Ok((*number, options.open(path)?));
        Ok(Self { slots, pipes: pipes.iter().map(open).collect::<std::io::Result<_>>()? })
    }

    /// Writes a message; whether there was room.
    pub fn write(&mut self, port: Port, message: [u64; 2]) -> bool {
        let bytes = to_bytes(message);
        match port {
            Port::Slot(slot) => self.slots.write_all_at(&bytes, (slot * MESSAGE) as u64).is_ok(),
            Port::Queue { pipe, depth, .. } => {
                let Some(pipe) = self.pipes.get_mut(&pipe) else { return false };
                waiting(pipe) < depth && pipe.write(&bytes).is_ok_and(|written| written == MESSAGE)
            }
        }
    }

    /// Reads what a port has for one read: how many messages.
    pub fn read(&mut self, port: Port) -> u64 {
        match port {
            Port::Slot(slot) => {
                let mut bytes = [0; MESSAGE];
                let read = self.slots.read_exact_at(&mut bytes, (slot * MESSAGE) as u64);
                u64::from(read.is_ok() && bytes != [0; MESSAGE])
            }
            Port::Queue { pipe, depth, takes } => {
                let Some(pipe) = self.pipes.get_mut(&pipe) else { return 0 };
                let most = takes.unwrap_or(depth).min(depth);
                (0..most).take_while(|_| take(pipe)).count() as u64
            }
        }
    }

    /// Empties a queue, as the start of its reader does.
    pub fn clear(&mut self, port: Port) {
        if let Port::Queue { pipe, .. } = port
            && let Some(pipe) = self.pipes.get_mut(&pipe)
        {
            while take(pipe) {}
        }
    }
}

/// Takes one message; whether there was one.
fn take(pipe: &mut File) -> bool {
    let mut bytes = [0; MESSAGE];
    loop {
        match pipe.read(&mut bytes) {
            Ok(read) => return read == MESSAGE,
            Err(why) if why.kind() == ErrorKind::Interrupted => {}
            Err(_) => return false,
        }
    }
}

/// How many messages wait in a pipe.
fn waiting(pipe: &File) -> u64 {
    rustix::io::ioctl_fionread(pipe).map_or(0, |bytes| bytes / MESSAGE as u64)
}

fn to_bytes([number, at_ns]: [u64; 2]) -> [u8; MESSAGE] {
    let mut bytes = [0; MESSAGE];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    bytes[8..].copy_from_slice(&at_ns.to_le_bytes());
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::pipe::{PipeFlags, pipe_with};
    use std::os::fd::AsRawFd;

    #[test]
    fn a_queue_holds_its_depth_and_a_slot_its_last_message() {
        let slots = rustix::fs::memfd_create("slots", rustix::fs::MemfdFlags::CLOEXEC).expect("memory is there");
        let (reads, _writes) = pipe_with(PipeFlags::CLOEXEC).expect("pipes are there");
        let path = |fd: i32| PathBuf::from(format!("/proc/self/fd/{fd}"));
        let pipes = [(4, path(reads.as_raw_fd()))];
        let mut ports = Ports::open(&path(slots.as_raw_fd()), &pipes).expect("both are ours");
        let queue = Port::Queue { pipe: 4, depth: 3, takes: Some(2) };
        let written: Vec<bool> = (1..=5).map(|number| ports.write(queue, [number, 1])).collect();
        assert_eq!(written, [true, true, true, false, false]);
        assert_eq!([ports.read(queue), ports.read(queue), ports.read(queue)], [2, 1, 0]);
        assert!(ports.write(queue, [6, 1]));
        ports.clear(queue);
        assert_eq!(ports.read(queue), 0);
        assert_eq!(ports.read(Port::Slot(1)), 0);
        assert!(ports.write(Port::Slot(1), [1, 9]) && ports.write(Port::Slot(1), [2, 9]));
        assert_eq!([ports.read(Port::Slot(1)), ports.read(Port::Slot(1))], [1, 1]);
    }
}
