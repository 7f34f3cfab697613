//! Ranges of the address map: within the address space, on their granule, none over another.

use super::name;
use crate::read::{ADDRESS_BITS, Context, Document, Fields};
use diagnostic::codes::board::{ADDRESS_WIDTH, OFF_GRANULE, RANGE_OUTSIDE, RANGES_OVERLAP};
use diagnostic::{Diagnostic, Located};
use quantity::{Address, Bytes};

/// A declared range.
struct Range {
    what: String,
    base: Located<Address>,
    size: Located<Bytes>,
}

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(board) = doc.root.table("board") else { return };
    let bits = width(board, cx);
    let mut ranges: Vec<_> = board.tables("memory").filter_map(memory_range).collect();
    ranges.extend(board.tables("device").filter_map(register_range));
    ranges.retain(|range| is_inside(range, bits, cx));
    board.tables("memory").filter_map(off_granule).for_each(|fault| cx.report(fault));
    report_overlaps(ranges, cx);
}

/// The width of the board's addresses; reports widths that nothing can have.
fn width(board: &Fields, cx: &mut Context) -> u32 {
    let declared = board.small("address_bits");
    let bits = declared.map_or(ADDRESS_BITS, |bits| bits.value);
    if let Some(declared) = declared.filter(|bits| bits.value > ADDRESS_BITS) {
        let message = format!("addresses of {} bits are wider than {ADDRESS_BITS} bits", declared.value);
        cx.report(Diagnostic::new(&ADDRESS_WIDTH, declared.span, message).help("write 64 or less"));
    }
    for device in board.tables("device") {
        let wider = device.small("dma_address_bits").filter(|own| own.value > bits);
        let Some(own) = wider else { continue };
        let message =
            format!("device {} forms addresses of {} bits on a board of {bits} bits", name(device), own.value);
        let mut fault = Diagnostic::new(&ADDRESS_WIDTH, own.span, message).help(format!("write {bits} or less"));
        if let Some(declared) = declared {
            fault = fault.also(declared.span, "the board's width");
        }
        cx.report(fault);
    }
    bits.min(ADDRESS_BITS)
}

fn memory_range(memory: &Fields) -> Option<Range> {
    let what = format!("memory {}", name(memory));
    Some(Range { what, base: memory.address("base")?, size: memory.size("size")? })
}

fn register_range(device: &Fields) -> Option<Range> {
    let registers = device.table("registers")?;
    let what = format!("the registers of {}", name(device));
    Some(Range { what, base: registers.address("base")?, size: registers.size("size")? })
}

/// Whether a range ends within addresses of that width; reports it otherwise.
fn is_inside(range: &Range, bits: u32, cx: &mut Context) -> bool {
    // An address has at most 64 bits, so neither the sum nor the power passes 128.
    let end = u128::from(range.base.get()) + u128::from(range.size.get());
    let space = 1_u128 << bits;
    // The address behind the last byte must itself be one, since the system counts ends so, or be the very end.
    if end < space || (end == space && bits < 64) {
        return true;
    }
    let last = Address::new(u64::try_from(space - 1).unwrap_or(u64::MAX));
    let message = format!(
        "{} begins at {} and is {} large, and addresses of {bits} bits end at {last}",
        range.what, range.base.value, range.size.value
    );
    let help = "move its base, make it smaller, or correct `address_bits`; the address behind a range must be one too";
    cx.report(Diagnostic::new(&RANGE_OUTSIDE, range.base.span, message).also(range.size.span, "this size").help(help));
    false
}

fn off_granule(memory: &Fields) -> Option<Diagnostic> {
    let (base, size, granule) = (memory.address("base")?, memory.size("size")?, memory.size("granule")?);
    let off_base = !base.get().is_multiple_of(granule.get());
    if !off_base && size.get().is_multiple_of(granule.get()) {
        return None;
    }
    let (value, span) =
        if off_base { (base.value.to_string(), base.span) } else { (size.value.to_string(), size.span) };
    let which = if off_base { "base" } else { "size" };
    let message =
        format!("the {which} of memory {}, {value}, is no multiple of its granule, {}", name(memory), granule.value);
    let help = "access rights are set by whole granules, so memory begins and ends on one";
    Some(Diagnostic::new(&OFF_GRANULE, span, message).also(granule.span, "the granule").help(help))
}

/// Each range against the one before it that reaches furthest.
fn report_overlaps(mut ranges: Vec<Range>, cx: &mut Context) {
    ranges.sort_by_key(|range| (range.base.value, range.base.span));
    let mut furthest: Option<(Address, &Range)> = None;
    for range in &ranges {
        if let Some((end, low)) = furthest
            && range.base.value < end
        {
            let message = format!("{} begins at {}, before {} ends at {end}", range.what, range.base.value, low.what);
            let fault = Diagnostic::new(&RANGES_OVERLAP, range.base.span, message);
            cx.report(fault.also(low.base.span, "the other one").help("give each range addresses of its own"));
        }
        // A range that wraps has been reported and taken out, so every range here has an end.
        let end = range.base.value.checked_add(range.size.value);
        furthest = end.map(|end| (end, range)).into_iter().chain(furthest).max_by_key(|(end, _)| *end);
    }
}
