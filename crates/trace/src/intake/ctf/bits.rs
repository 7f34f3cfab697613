//! Numbers and texts out of the bytes of a packet.

use super::layout::{Count, Node, Number, Slot};

/// Why a value cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// The bytes at hand end before it does.
    More,
    /// It passes the end of the packet's content.
    Passed,
    /// No option of a variant is chosen.
    Unchosen,
}

/// The values that were read last, by slot.
#[derive(Debug, Clone, Default)]
pub struct Values {
    /// Numbers: signed ones with their sign carried to 64 bits.
    pub numbers: Vec<u64>,
    /// Texts: the first byte and the number of bytes, within the bytes at hand.
    pub texts: Vec<(usize, usize)>,
}

impl Values {
    /// Room for so many slots.
    pub fn of(slots: usize) -> Self {
        Self { numbers: vec![0; slots], texts: vec![(0, 0); slots] }
    }
}

#[inline(always)]
fn signed(raw: u64, number: &Number) -> u64 {
    let unused = 64 - number.bits;
    if number.signed { (((raw << unused) as i64) >> unused) as u64 } else { raw }
}

/// Reads through the bytes at hand.
pub struct Bits<'a> {
    /// The bytes at hand.
    pub bytes: &'a [u8],
    /// Where in the packet they begin, in bits.
    pub origin: u64,
    /// Where in the packet the next value begins, in bits.
    pub at: u64,
    /// Where the packet's content ends, in bits, if known.
    pub end: Option<u64>,
}

impl Bits<'_> {
    /// Reads a node into the values; each number that sets the clock is told with its bits.
    pub fn take(&mut self, node: &Node, values: &mut Values, clock: &mut dyn FnMut(u64, u32)) -> Result<(), Stop> {
        match node {
            Node::Number(number) => {
                let value = self.number(number)?;
                values.numbers[number.slot] = value;
                if number.clock {
                    clock(value, number.bits);
                }
                Ok(())
            }
            Node::Skip(bits, align) => {
                self.align(*align);
                self.pass(u64::from(*bits)).map(|_| ())
            }
            Node::Text(slot) => self.text(*slot, values),
            Node::Struct(align, members) => {
                self.align(*align);
                members.iter().try_for_each(|member| self.take(member, values, clock))
            }
            Node::Characters(count, slot) => {
                self.align(8);
                let count = counted(*count, values);
                let start = self.pass(count.saturating_mul(8))?;
                // The bytes have been passed, so that their number fits.
                values.texts[*slot] = (self.index(start), usize::try_from(count).unwrap_or(0));
                Ok(())
            }
            Node::List(element, count) => self.list(element, counted(*count, values), values, clock),
            Node::Variant(slot, signed, options) => {
                let raw = values.numbers[*slot];
                let tag = if *signed { i128::from(raw as i64) } else { i128::from(raw) };
                let chosen = options
                    .iter()
                    .find(|(ranges, _)| ranges.iter().any(|(first, last)| (first..=last).contains(&&tag)));
                self.take(&chosen.ok_or(Stop::Unchosen)?.1, values, clock)
            }
        }
    }

    fn list(
        &mut self,
        element: &Node,
        count: u64,
        values: &mut Values,
        clock: &mut dyn FnMut(u64, u32),
    ) -> Result<(), Stop> {
        // A list without elements begins at the alignment of an element too.
        self.align(element.align());
        match element {
            Node::Number(number) if number.bits.is_multiple_of(number.align) => {
                self.pass(count.saturating_mul(u64::from(number.bits))).map(|_| ())
            }
            _ => (0..count).try_for_each(|_| self.take(element, values, clock)),
        }
    }

    fn index(&self, at: u64) -> usize {
        usize::try_from((at - self.origin) / 8).unwrap_or(usize::MAX)
    }

    fn align(&mut self, align: u32) {
        self.at = self.at.next_multiple_of(u64::from(align.max(1)));
    }

    /// Passes over bits and gives back where they begin.
    fn pass(&mut self, bits: u64) -> Result<u64, Stop> {
        let (start, end) = (self.at, self.at.checked_add(bits).ok_or(Stop::Passed)?);
        if self.end.is_some_and(|content| end > content) {
            return Err(Stop::Passed);
        }
        if end > self.origin + self.bytes.len() as u64 * 8 {
            return Err(Stop::More);
        }
        self.at = end;
        Ok(start)
    }

    fn text(&mut self, slot: Slot, values: &mut Values) -> Result<(), Stop> {
        self.align(8);
        let start = self.pass(0).map(|at| self.index(at))?;
        let length = self.bytes[start..].iter().position(|byte| *byte == 0);
        match length {
            Some(length) => {
                self.pass((length as u64 + 1) * 8)?;
                values.texts[slot] = (start, length);
                Ok(())
            }
            None => Err(if self.all_at_hand() { Stop::Passed } else { Stop::More }),
        }
    }

    fn all_at_hand(&self) -> bool {
        self.end.is_some_and(|end| end <= self.origin + self.bytes.len() as u64 * 8)
    }

    /// A number of any bits at any bit: in little-endian order the first bit of a byte is its lowest, in big-endian its highest.
    fn number(&mut self, number: &Number) -> Result<u64, Stop> {
        self.align(number.align);
        let start = self.pass(u64::from(number.bits))?;
        let (first, shift) = (self.index(start), u32::try_from(start % 8).unwrap_or(0));
        let count = (shift + number.bits).div_ceil(8) as usize;
        let own = &self.bytes[first..first + count];
        let join = |value: u128, byte: &u8| (value << 8) | u128::from(*byte);
        let raw = if number.big {
            own.iter().fold(0, join) >> (count as u32 * 8 - shift - number.bits)
        } else {
            own.iter().rev().fold(0, join) >> shift
        };
        let mask = u64::MAX >> (64 - number.bits);
        Ok(signed((raw as u64) & mask, number))
    }
}

fn counted(count: Count, values: &Values) -> u64 {
    match count {
        Count::Fixed(count) => count,
        Count::Slot(slot) => values.numbers[slot],
    }
}

#[cfg(test)]
mod tests {
    use super::super::layout::FixedNumber;
    use super::*;

    fn number(bits: u32, align: u32, signed: bool, big: bool) -> Node {
        Node::Number(Number { bits, align, signed, big, slot: 0, clock: false })
    }

    fn read(nodes: &[Node], bytes: &[u8]) -> Result<Vec<i64>, Stop> {
        let mut bits = Bits { bytes, origin: 0, at: 0, end: None };
        let mut values = Values::of(1);
        let mut read = Vec::new();
        for node in nodes {
            bits.take(node, &mut values, &mut |_, _| ())?;
            read.push(values.numbers[0] as i64);
        }
        Ok(read)
    }

    #[test]
    fn bits_are_taken_from_the_lowest_or_the_highest_by_the_order() {
        let both = |big| [number(3, 1, false, big), number(13, 1, false, big), number(4, 1, true, big)];
        // Worked out by hand: 0xAB 0xCD is 1101 on top of …011 little-endian, and 101 then 0101111001101 big-endian.
        assert_eq!(read(&both(false), &[0xAB, 0xCD, 0x0F]), Ok(vec![0b011, 0xCDAB >> 3, -1]));
        assert_eq!(read(&both(true), &[0xAB, 0xCD, 0x70]), Ok(vec![0b101, 0xABCD & 0x1FFF, 7]));
    }

    #[test]
    fn numbers_begin_at_their_alignment_and_64_bits_may_lie_across_nine_bytes() {
        let nodes = [number(1, 1, false, false), number(16, 16, false, false)];
        assert_eq!(read(&nodes, &[1, 0xFF, 0x34, 0x12]), Ok(vec![1, 0x1234]));
        let nodes = [number(4, 1, false, false), number(64, 1, false, false)];
        let bytes = [0x1F, 0x32, 0x54, 0x76, 0x98, 0xBA, 0xDC, 0xFE, 0x00];
        assert_eq!(read(&nodes, &bytes), Ok(vec![15, 0x0FED_CBA9_8765_4321]));
        assert_eq!(read(&nodes, &bytes[..8]), Err(Stop::More));
    }

    proptest::proptest! {
        #[test]
        fn numbers_at_fixed_offsets_are_those_that_are_taken_bit_by_bit(
            bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 8..24),
            count in 1..9_u32,
            offset in 0..16_usize,
            signed: bool,
            big: bool,
        ) {
            let offset = offset.min(bytes.len() - count as usize);
            let Node::Number(number) = number(8 * count, 8, signed, big) else { unreachable!("it is a number") };
            let mut bits = Bits { bytes: &bytes, origin: 0, at: 8 * offset as u64, end: None };
            proptest::prop_assert_eq!(bits.number(&number), Ok(FixedNumber::new(offset, number).value(&bytes)));
        }
    }
}
