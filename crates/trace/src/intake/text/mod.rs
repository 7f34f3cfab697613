//! Scheduler events of a Linux kernel as text: the lines of its own ring buffer, and those that its `perf` prints.

mod kinds;
mod stamp;

use super::block::{Block, Builder, LONGEST_LINE, for_each_line};
use super::bytes::Cursor;
use super::desk::Desk;
use super::join::Join;
use super::lines::{Format, LineReader};
use crate::event::Cpu;
use crate::note::Matter;
pub(super) use kinds::leaves_by;

/// The format of scheduler events as text.
#[derive(Debug, Clone, Copy)]
pub struct SchedulerText;

/// Reads scheduler events as text.
pub type TextReader = LineReader<SchedulerText>;

impl Format for SchedulerText {
    fn parse(&self, lines: &[u8], desk: &mut Desk) -> Block {
        let mut builder = Builder::new(lines.len(), &mut desk.recent, std::mem::take(&mut desk.room));
        for_each_line(lines, |line| take(line, &mut builder));
        builder.finish()
    }

    fn join(&self, source: u16) -> Join {
        Join::new(source)
    }

    fn expected(&self) -> &'static str {
        "give lines of the form `thread-id [cpu] flags seconds.fraction: sched_switch: ...`, as the kernel's trace file or \
         `perf script` has them, recorded with a clock in nanoseconds and with the cpu"
    }
}

#[inline]
fn take<'a>(line: &'a [u8], builder: &mut Builder<'a>) {
    builder.next_line();
    if line.len() > LONGEST_LINE {
        return builder.note(Matter::Unparsed);
    }
    match stamp::stamp(line) {
        Some(stamped) => kinds::take(&stamped, line, builder),
        None if line.is_empty() || line[0] == b'#' || line.trim_ascii().is_empty() => {}
        None => match loss(line) {
            Some((cpu, count)) => builder.loss(cpu, count),
            None => builder.note(Matter::Unparsed),
        },
    }
}

/// The mark that the kernel puts before the first event of a cpu after some that were overwritten: `CPU:1 [LOST 976 EVENTS]`.
fn loss(line: &[u8]) -> Option<(Cpu, u32)> {
    let mut rest = Cursor(line.trim_ascii());
    rest.pass(b"CPU:")?;
    let cpu = Cpu::new(rest.number()?)?;
    rest.pass(b" [LOST ")?;
    // An old kernel does not say how many.
    if rest.0 == b"EVENTS]" {
        return Some((cpu, 0));
    }
    let count = u32::try_from(rest.number()?).unwrap_or(u32::MAX);
    (rest.0 == b" EVENTS]").then_some((cpu, count))
}
