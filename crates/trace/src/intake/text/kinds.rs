//! What each kind of event tells.

use super::super::block::Builder;
use super::super::bytes::{self, Cursor, Piece, equal_of_16};
use super::stamp::Stamped;
use crate::event::{Cpu, Leaves, What};
use crate::names::Name;
use crate::note::Matter;

/// A thread's name is not longer; the kernel's own are at most 15 bytes.
const LONGEST_NAME: usize = 64;

/// A thread as an event tells it.
struct Told<'a> {
    text: Piece<'a>,
    id: u32,
}

/// Takes an event with a time.
#[inline(always)]
pub fn take<'a>(stamped: &Stamped<'_>, line: &'a [u8], builder: &mut Builder<'a>) {
    let Some(at_ns) = stamped.at_ns else { return builder.note(Matter::OutOfRange) };
    builder.stamp();
    let what = match stamped.kind {
        b"sched_switch" => switch(stamped.tells, builder),
        b"sched_waking" | b"sched_wakeup" | b"sched_wakeup_new" => wake(stamped.tells, builder),
        b"sched_migrate_task" => migration(stamped.tells, builder),
        b"tracing_mark_write" | b"print" => Some(mark(stamped.tells, builder)),
        b"PERF_RECORD_SWITCH" | b"PERF_RECORD_SWITCH_CPU_WIDE" => half_switch(stamped, builder),
        b"PERF_RECORD_LOST" | b"PERF_RECORD_LOST_SAMPLES" => lost(stamped.tells, builder),
        kind => match interrupt(kind, stamped.tells, builder) {
            Some(what) => what,
            None => return builder.unknown(kind),
        },
    };
    match what {
        Some(what) => builder.event(at_ns, stamped.cpu, what, line),
        None => builder.note(Matter::Malformed),
    }
}

#[inline(always)]
fn switch(tells: &[u8], builder: &mut Builder<'_>) -> Option<What> {
    let (from, leaves, to) = match named_switch(tells) {
        Some(named) => named,
        None => short_switch(tells)?,
    };
    Some(What::Switch { from: thread(&from, builder), to: thread(&to, builder), leaves })
}

#[inline(always)]
fn thread(told: &Told<'_>, builder: &mut Builder<'_>) -> Name {
    builder.thread(told.text, told.id)
}

/// `prev_comm=a prev_pid=1 prev_prio=120 prev_state=S ==> next_comm=b next_pid=2 next_prio=120`. A name can hold any of these
/// words, but is too short to hold a number and the word after it.
#[inline(always)]
fn named_switch(tells: &[u8]) -> Option<(Told<'_>, Leaves, Told<'_>)> {
    let mut rest = Cursor(tells);
    rest.pass(b"prev_comm=")?;
    let from = named_thread(&mut rest, b" prev_pid=", b" prev_prio=")?;
    rest.pass(b" prev_state=")?;
    let leaves = leaves(rest.word())?;
    rest.pass(b" ==> next_comm=")?;
    let to = named_thread(&mut rest, b" next_pid=", b" next_prio=")?;
    rest.0.is_empty().then_some((from, leaves, to))
}

/// A name up to a number and a priority, before which a word was passed.
#[inline(always)]
fn named_thread<'a, const N: usize, const P: usize>(
    rest: &mut Cursor<'a>,
    number: &[u8; N],
    priority: &[u8; P],
) -> Option<Told<'a>> {
    let all = rest.0;
    let length = all.len().min(LONGEST_NAME + 8);
    let mut near = &all[..length];
    while !near.is_empty() {
        let part = match near.first_chunk() {
            Some(part) => *part,
            None => filled_up(near),
        };
        let mut blanks = equal_of_16(part, b' ');
        while blanks != 0 {
            let end = length - near.len() + blanks.trailing_zeros() as usize;
            if let Some((id, after)) = number_and_priority(&all[end..], number, priority) {
                *rest = after;
                return Some(Told { text: Piece::new(all, end), id });
            }
            blanks &= blanks - 1;
        }
        near = near.get(part.len()..).unwrap_or_default();
    }
    None
}

/// A part at the end of a line, with 0 for what would follow.
#[cold]
fn filled_up(last: &[u8]) -> [u8; 16] {
    let mut filled = [0; 16];
    filled[..last.len()].copy_from_slice(last);
    filled
}

#[inline(always)]
fn number_and_priority<'a, const N: usize, const P: usize>(
    text: &'a [u8],
    number: &[u8; N],
    priority: &[u8; P],
) -> Option<(u32, Cursor<'a>)> {
    let mut after = Cursor(text);
    after.pass(number)?;
    let id = u32::try_from(after.number()?).ok()?;
    after.pass(priority)?;
    _ = after.pass(b"-");
    after.pass_number()?;
    Some((id, after))
}

/// `a:1 [120] S ==> b:2 [120]`.
#[cold]
fn short_switch(tells: &[u8]) -> Option<(Told<'_>, Leaves, Told<'_>)> {
    let mut rest = Cursor(tells);
    let from = short_thread(&mut rest)?;
    rest.pass(b" ")?;
    let leaves = leaves(rest.word())?;
    rest.pass(b" ==> ")?;
    let to = short_thread(&mut rest)?;
    rest.0.is_empty().then_some((from, leaves, to))
}

/// `a:1 [120]`.
fn short_thread<'a>(rest: &mut Cursor<'a>) -> Option<Told<'a>> {
    let all = rest.0;
    memchr::memchr_iter(b':', &all[..all.len().min(LONGEST_NAME + 1)]).find_map(|end| {
        let mut after = Cursor(&all[end + 1..]);
        let id = u32::try_from(after.number()?).ok()?;
        after.pass(b" [")?;
        _ = after.pass(b"-");
        after.pass_number()?;
        after.pass(b"]")?;
        *rest = after;
        Some(Told { text: Piece::new(all, end), id })
    })
}

/// `IN` and `OUT`, or `OUT preempt` for a thread that could go on: half a switch each, of the thread that the line begins with.
/// Between the two halves the cpu is with nobody, which is written as with the idle thread.
#[cold]
fn half_switch(stamped: &Stamped<'_>, builder: &mut Builder<'_>) -> Option<What> {
    let mut tells = Cursor(stamped.tells);
    let way = tells.word();
    tells.blanks();
    let nobody = builder.thread(Piece::whole(b"swapper"), 0);
    let (who, is_gone) = leading_thread(stamped.leader, builder)?;
    match (way, tells.word()) {
        (b"IN", _) => Some(What::Switch { from: nobody, to: who, leaves: Leaves::Ready }),
        (b"OUT", b"preempt") => Some(What::Switch { from: who, to: nobody, leaves: Leaves::Ready }),
        (b"OUT", _) if is_gone => Some(What::Switch { from: who, to: nobody, leaves: Leaves::Ended }),
        (b"OUT", _) => Some(What::Switch { from: who, to: nobody, leaves: Leaves::Waits }),
        _ => None,
    }
}

/// `  a b    12 `, or `  a b 12/13 ` with the process before the thread. One that is gone has the number -1 whoever it was, which
/// is none; whether it is.
fn leading_thread(leader: &[u8], builder: &mut Builder<'_>) -> Option<(Name, bool)> {
    let leader = leader.trim_ascii();
    let end = leader.iter().rposition(u8::is_ascii_whitespace)?;
    let (text, numbers) = (leader[..end].trim_ascii_end(), &leader[end + 1..]);
    if text.is_empty() || text.len() > LONGEST_NAME {
        return None;
    }
    let number = memchr::memrchr(b'/', numbers).map_or(numbers, |slash| &numbers[slash + 1..]);
    if number == b"-1" {
        return Some((builder.text(text), true));
    }
    let id = u32::try_from(bytes::number(number)?).ok()?;
    Some((builder.thread(Piece::whole(text), id), false))
}

/// How a thread leaves, by the letters that the kernel gives its state.
#[inline(always)]
pub fn leaves(state: &[u8]) -> Option<Leaves> {
    leaves_by(*state.first()?)
}

/// The same by the first of these letters.
#[inline(always)]
pub fn leaves_by(letter: u8) -> Option<Leaves> {
    LEAVES[usize::from(letter)]
}

/// By the first letter of the state: a table, since no branch foresees which one comes.
const LEAVES: [Option<Leaves>; 256] = {
    let mut leaves = [None; 256];
    let mut letter = 0;
    while letter < 128 {
        if (letter as u8).is_ascii_alphabetic() {
            leaves[letter] = Some(Leaves::Waits);
        }
        letter += 1;
    }
    leaves[b'R' as usize] = Some(Leaves::Ready);
    leaves[b'X' as usize] = Some(Leaves::Ended);
    leaves[b'Z' as usize] = Some(Leaves::Ended);
    leaves[b'x' as usize] = Some(Leaves::Ended);
    leaves
};

/// `comm=a pid=1 prio=120 target_cpu=000`, with ` success=1` before the last in some recordings, or `a:1 [120] CPU:000`.
fn wake(tells: &[u8], builder: &mut Builder<'_>) -> Option<What> {
    let mut rest = Cursor(tells);
    let told = match rest.pass(b"comm=") {
        Some(()) => named_thread(&mut rest, b" pid=", b" prio=")?,
        None => short_thread(&mut rest)?,
    };
    _ = rest.pass(b" success=1");
    rest.pass(b" target_cpu=").or_else(|| rest.pass(b" CPU:"))?;
    let on = last_cpu(rest)?;
    Some(What::Wakes { who: thread(&told, builder), on })
}

/// `comm=a pid=1 prio=120 orig_cpu=0 dest_cpu=1`.
fn migration(tells: &[u8], builder: &mut Builder<'_>) -> Option<What> {
    let mut rest = Cursor(tells);
    rest.pass(b"comm=")?;
    let told = named_thread(&mut rest, b" pid=", b" prio=")?;
    rest.pass(b" orig_cpu=")?;
    rest.pass_number()?;
    rest.pass(b" dest_cpu=")?;
    let to = last_cpu(rest)?;
    Some(What::Migrates { who: thread(&told, builder), to })
}

fn last_cpu(mut rest: Cursor<'_>) -> Option<Cpu> {
    let cpu = Cpu::new(rest.number()?)?;
    rest.0.is_empty().then_some(cpu)
}

/// A mark that a program set; `perf` puts the place in the kernel before it.
fn mark(tells: &[u8], builder: &mut Builder<'_>) -> What {
    let text = tells.strip_prefix(b"tracing_mark_write: ").unwrap_or(tells);
    let text = match memchr::memchr(b':', text) {
        Some(end) if text.starts_with(b"0x") && text[2..end].iter().all(u8::is_ascii_hexdigit) => &text[end + 1..],
        _ => text,
    };
    What::Mark { text: builder.text(text.trim_ascii()) }
}

/// `lost 2`.
fn lost(tells: &[u8], builder: &mut Builder<'_>) -> Option<What> {
    let mut rest = Cursor(tells);
    rest.pass(b"lost ")?;
    let count = u32::try_from(rest.number()?).unwrap_or(u32::MAX);
    builder.note(Matter::Lost);
    Some(What::lost(count))
}

/// The begin or end of an interrupt. `None`: another kind; `Some(None)`: it cannot be read.
fn interrupt(kind: &[u8], tells: &[u8], builder: &mut Builder<'_>) -> Option<Option<What>> {
    let (stem, begins) = match (kind.strip_suffix(b"_entry"), kind.strip_suffix(b"_exit")) {
        (Some(stem), _) => (stem, true),
        (_, Some(stem)) => (stem, false),
        _ => return None,
    };
    let line = match stem {
        b"irq_handler" => handler(tells, begins, builder),
        b"softirq" => action(tells).map(|action| builder.text(&[b"softirq ", action].concat())),
        b"ipi" => in_brackets(tells).map(|reason| builder.text(&[b"ipi ", reason].concat())),
        // The interrupts that a processor has of itself, such as its timer: `local_timer_entry: vector=236`.
        _ if tells.starts_with(b"vector=") => Some(builder.text(stem)),
        _ => return None,
    };
    Some(line.map(|line| if begins { What::InterruptBegins { line } } else { What::InterruptEnds { line } }))
}

/// `irq=41 name=uart`, and at the end `irq=41 ret=handled`.
fn handler(tells: &[u8], begins: bool, builder: &mut Builder<'_>) -> Option<Name> {
    let mut rest = Cursor(tells);
    rest.pass(b"irq=")?;
    let irq = u32::try_from(rest.number()?).ok()?;
    if begins {
        rest.pass(b" name=")?;
        return Some(builder.irq_begins(irq, rest.0));
    }
    rest.pass(b" ret=")?;
    Some(builder.irq_ends(irq))
}

/// `vec=9 [action=RCU]`.
fn action(tells: &[u8]) -> Option<&[u8]> {
    let mut rest = Cursor(tells);
    rest.pass(b"vec=")?;
    rest.pass_number()?;
    rest.pass(b" [action=")?;
    rest.0.strip_suffix(b"]")
}

/// `(Rescheduling interrupts)`.
fn in_brackets(tells: &[u8]) -> Option<&[u8]> {
    tells.strip_prefix(b"(")?.strip_suffix(b")")
}
