//! The head of a line: who was on which cpu when, up to the name of the event.

use super::super::bytes::{Cursor, POWERS};
use crate::event::Cpu;

/// A line with a time.
#[derive(Debug, PartialEq, Eq)]
pub struct Stamped<'a> {
    /// What stands before the cpu: the thread's name and number.
    pub leader: &'a [u8],
    /// On which cpu.
    pub cpu: Cpu,
    /// When; `None`: beyond 64 bits of nanoseconds.
    pub at_ns: Option<u64>,
    /// The event's name, without the group that `perf` puts before it.
    pub kind: &'a [u8],
    /// What the event tells.
    pub tells: &'a [u8],
}

/// The width of the thread's name at the begin of a line.
const NAME: usize = 16;

/// The head of a line. The thread's name there can hold anything and is not read here; it is padded to a fixed width, and where
/// it is not, the first place is taken that looks like a cpu and a time.
#[inline(always)]
pub fn stamp(line: &[u8]) -> Option<Stamped<'_>> {
    match padded(line) {
        None => unpadded(line),
        stamped => stamped,
    }
}

#[inline(always)]
fn padded(line: &[u8]) -> Option<Stamped<'_>> {
    let mut rest = Cursor(line.get(NAME..)?);
    rest.pass(b"-").or_else(|| rest.pass(b" "))?;
    rest.blanks();
    rest.pass_number()?;
    // A process before the thread, or after it in brackets.
    if rest.pass(b"/").is_some() {
        rest.pass_number()?;
    }
    rest.blanks();
    if rest.pass(b"(").is_some() {
        let end = rest.0.iter().position(|byte| *byte == b')')?;
        rest.0 = &rest.0[end + 1..];
        rest.blanks();
    }
    from_cpu(line, rest)
}

#[cold]
fn unpadded(line: &[u8]) -> Option<Stamped<'_>> {
    let follows_thread = |at: usize| {
        let before = line[..at].trim_ascii_end();
        before.len() < at && before.last().is_some_and(|byte| byte.is_ascii_digit() || *byte == b')')
    };
    memchr::memchr_iter(b'[', line).filter(|at| follows_thread(*at)).find_map(|at| from_cpu(line, Cursor(&line[at..])))
}

/// `[000] d..2.  1358.656393: sched_waking: ...`, without the flags in some recordings, with a count before the event in some.
#[inline(always)]
fn from_cpu<'a>(line: &'a [u8], mut rest: Cursor<'a>) -> Option<Stamped<'a>> {
    let leader = &line[..line.len() - rest.0.len()];
    rest.pass(b"[")?;
    let cpu = Cpu::new(rest.number()?)?;
    rest.pass(b"]")?;
    rest.blanks();
    let at_ns = match time(&mut rest) {
        Some(at_ns) => at_ns,
        None => {
            rest.word();
            rest.blanks();
            time(&mut rest)?
        }
    };
    let at = |kind, rest: Cursor<'a>| Stamped { leader, cpu, at_ns, kind, tells: rest.0 };
    // The most frequent kind is known at a glance.
    if rest.pass(b" sched_switch: ").is_some() {
        return Some(at(b"sched_switch", rest));
    }
    rest.blanks();
    let mut kind = rest.word();
    if kind.iter().all(u8::is_ascii_digit) {
        rest.blanks();
        kind = rest.word();
    }
    rest.blanks();
    let kind = kind.strip_suffix(b":").unwrap_or(kind);
    let kind = memchr::memrchr(b':', kind).map_or(kind, |group| &kind[group + 1..]);
    Some(at(kind, rest))
}

/// `1358.656393:` or `1358.656393123:` in nanoseconds; `Some(None)` where these are too many.
#[inline(always)]
fn time(rest: &mut Cursor<'_>) -> Option<Option<u64>> {
    let mut after = *rest;
    let seconds = after.number()?;
    after.pass(b".")?;
    let before = after.0.len();
    let fraction = after.number()?;
    let count = before - after.0.len();
    after.pass(b":")?;
    let unit = *POWERS.get(9_usize.checked_sub(count)?)?;
    *rest = after;
    Some(seconds.checked_mul(1_000_000_000).and_then(|whole| whole.checked_add(fraction * unit)))
}
