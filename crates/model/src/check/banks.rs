//! The address bits that choose the bank of a memory: each of them says something, of whole pages, and no more than a plan can number.

use super::name;
use crate::read::{Context, Document, Fields, GRANULE, mask};
use crate::system::Memory;
use diagnostic::codes::board::{BANK_BIT_IDLE, BANK_WITHIN_PAGE, TOO_MANY_BANKS};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::{Diagnostic, Located, Span};
use quantity::Bytes;

/// The address bits of one bit of the bank's number.
type Bits = Located<Vec<Located<u64>>>;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for memory in doc.root.table("board").into_iter().flat_map(|board| board.tables("memory")) {
        let given = memory.number_lists("bank_bits");
        let faults = [alone(memory), too_many(memory, &given)].into_iter().flatten();
        let of_bits = given.iter().flat_map(|bits| of_bits(memory, bits));
        faults.chain(of_bits).chain(dependent(memory, &given)).for_each(|fault| cx.report(fault));
    }
}

/// Banks that are to be given out, of which nobody says which address lies in which.
fn alone(memory: &Fields) -> Option<Diagnostic> {
    let coloured = memory.flag("coloured").filter(|flag| flag.value)?;
    let message = format!("memory {} is `coloured` and has no `bank_bits`", name(memory));
    let help = "add `bank_bits` from the manual of the memory controller, such as `bank_bits = [[13, 17], [14, 18]]`";
    memory.list("bank_bits").is_empty().then(|| Diagnostic::new(&KEY_ALONE, coloured.span, message).help(help))
}

fn too_many(memory: &Fields, given: &[Bits]) -> Option<Diagnostic> {
    let first = given.get(Memory::MOST_BANK_BITS)?;
    let most = Memory::MOST_BANK_BITS;
    let message = format!("{} bits number the banks of memory {}, and at most {most} may", given.len(), name(memory));
    let help =
        "leave out those of the ranks or channels that nobody is to have alone: what is left numbers groups of banks";
    Some(Diagnostic::new(&TOO_MANY_BANKS, first.span, message).help(help))
}

/// The faults of the address bits of one bit of the bank's number.
fn of_bits(memory: &Fields, bits: &Bits) -> Vec<Diagnostic> {
    if bits.value.is_empty() {
        return vec![idle(bits.span, format!("a bank bit of memory {} is made of no address bit", name(memory)))];
    }
    let before = |at: usize| &bits.value[..at];
    let one = |(at, bit): (usize, &Located<u64>)| {
        if before(at).iter().any(|other| other.value == bit.value) {
            let why = format!("address bit {} is named twice, and the exclusive-or with itself is nothing", bit.value);
            return Some(idle(bit.span, why));
        }
        within_page(memory, bit).or_else(|| never_changes(memory, bit))
    };
    bits.value.iter().enumerate().filter_map(one).collect()
}

/// A bit that differs within a page: the page then lies in both banks that it chooses from.
fn within_page(memory: &Fields, bit: &Located<u64>) -> Option<Diagnostic> {
    let page = if memory.has("granule") { memory.size("granule")?.value } else { GRANULE };
    let whole = (1u64 << bit.value).is_multiple_of(page.get());
    let message = format!(
        "address bit {} differs within a page of {page} of memory {}, so that each page spreads over several banks",
        bit.value,
        name(memory)
    );
    let help =
        "leave out every bank bit that it is part of: what is left numbers groups of banks, and pages keep to one";
    (!whole).then(|| Diagnostic::new(&BANK_WITHIN_PAGE, bit.span, message).help(help))
}

/// A bit that all addresses of the memory have alike.
fn never_changes(memory: &Fields, bit: &Located<u64>) -> Option<Diagnostic> {
    let (base, size) = (memory.address("base")?, memory.size("size")?);
    let last = base.checked_add(Bytes::new(size.get().checked_sub(1)?))?;
    let why = format!(
        "address bit {} is the same from {} to {last}, so it chooses no bank of memory {}",
        bit.value,
        base.value,
        name(memory)
    );
    (base.get() >> bit.value == last.get() >> bit.value).then(|| idle(bit.span, why))
}

/// Bank bits that say what others before them say together: the banks would not all be there.
fn dependent(memory: &Fields, given: &[Bits]) -> Vec<Diagnostic> {
    // Each mask by its highest bit, which no other one in this list has as its highest: what these span is what is said already.
    let mut said: Vec<u64> = Vec::new();
    let mut is_said = |bits: &Bits| {
        let left = said.iter().fold(mask(&bits.value), |left, other| left.min(left ^ other));
        if left != 0 {
            said.push(left);
            said.sort_unstable_by(|one, other| other.cmp(one));
        }
        left == 0 && !bits.value.is_empty()
    };
    let why = |bits: &Bits| {
        let why = format!("a bank bit of memory {} is one before it, or the exclusive-or of several", name(memory));
        idle(bits.span, why)
    };
    given.iter().filter(|bits| is_said(bits)).map(why).collect()
}

fn idle(span: Span, message: String) -> Diagnostic {
    Diagnostic::new(&BANK_BIT_IDLE, span, message)
        .help("leave it out, or correct it from the manual of the memory controller")
}
