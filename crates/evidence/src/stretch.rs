//! The parts of a bound, told by whose time it is.

use claim::{Part, PartKind};
use quantity::Duration;

/// Parts that follow each other and belong to one task, channel, stage or partition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stretch<'p> {
    /// Whose time it is.
    pub what: &'p str,
    /// When it begins, in ns from the beginning of the first part.
    pub start_ns: u64,
    /// Its parts.
    pub parts: &'p [Part],
}

impl Stretch<'_> {
    /// How long it is, in ns.
    pub fn length_ns(&self) -> u64 {
        claim::sum_of_parts(self.parts)
    }

    /// Its parts that take time, in words; no line breaks between a number and its unit.
    pub fn in_words(&self) -> String {
        let timed = self.parts.iter().filter(|part| part.ns > 0);
        timed.map(|part| part_words(part).replace(' ', "\u{a0}")).collect::<Vec<_>>().join(", ")
    }
}

/// The parts in their order, those of one neighbour after the other together.
pub(crate) fn stretches(parts: &[Part]) -> Vec<Stretch<'_>> {
    let mut start_ns = 0u64;
    let mut stretches = Vec::new();
    for parts in parts.chunk_by(|a, b| a.what == b.what) {
        stretches.push(Stretch { what: &parts[0].what, start_ns, parts });
        start_ns = start_ns.saturating_add(claim::sum_of_parts(parts));
    }
    stretches
}

/// The letter that stands for a kind in drawings: one of its own word, and no other kind's.
pub(crate) const fn letter(kind: PartKind) -> &'static str {
    match kind {
        PartKind::Device => "D",
        PartKind::Waiting => "W",
        PartKind::Blackout => "B",
        PartKind::Delay => "L",
        PartKind::Executing => "E",
        PartKind::Port => "P",
        PartKind::Detection => "T",
        PartKind::Action => "A",
        PartKind::Initialisation => "I",
        PartKind::Stage => "S",
        PartKind::Alignment => "N",
        PartKind::Interference => "F",
        PartKind::Blocking => "K",
        PartKind::Switches => "C",
    }
}

/// What happens in a kind of part, for the key of drawings.
pub(crate) const fn meaning(kind: PartKind) -> &'static str {
    match kind {
        PartKind::Device => "a sensor or an actuator",
        PartKind::Waiting => "for the next job that reads it",
        PartKind::Blackout => "its partition has no time",
        PartKind::Delay => "others of the partition go first",
        PartKind::Executing => "the job itself",
        PartKind::Port => "in a queue or on the internal network",
        PartKind::Detection => "the fault is not noticed yet",
        PartKind::Action => "the health monitor acts",
        PartKind::Initialisation => "the partition initialises",
        PartKind::Stage => "of boot, before the first frame",
        PartKind::Alignment => "until the next point at which it may begin",
        PartKind::Interference => "another master holds it up",
        PartKind::Blocking => "a less urgent job goes on",
        PartKind::Switches => "from job to job",
    }
}

/// A part in words, such as `blackout 9.04 ms`.
pub(crate) fn part_words(part: &Part) -> String {
    format!("{} {}", part.kind.word(), Duration::from_ns(part.ns))
}

/// All parts that take time in words, by whose time it is.
pub(crate) fn in_words(parts: &[Part]) -> String {
    let timed = stretches(parts).into_iter().filter(|stretch| stretch.length_ns() > 0);
    timed.map(|stretch| format!("{} ({})", stretch.what, stretch.in_words())).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_kind_has_a_letter_of_its_own_word() {
        let letters: BTreeSet<_> = PartKind::ALL.into_iter().map(letter).collect();
        assert_eq!(letters.len(), PartKind::ALL.len());
        PartKind::ALL.into_iter().for_each(|kind| {
            assert!(kind.word().to_uppercase().contains(letter(kind)), "{}", kind.word());
        });
    }

    #[test]
    fn neighbours_of_one_owner_make_one_stretch() {
        let parts = [
            Part::new("A", PartKind::Waiting, 5),
            Part::new("A", PartKind::Executing, 2),
            Part::new("CH", PartKind::Port, 0),
            Part::new("A", PartKind::Waiting, 3),
        ];
        let found: Vec<_> = stretches(&parts).iter().map(|s| (s.what, s.start_ns, s.length_ns())).collect();
        assert_eq!(found, [("A", 0, 7), ("CH", 7, 0), ("A", 7, 3)]);
        assert_eq!(
            in_words(&parts),
            "A (waiting\u{a0}5\u{a0}ns, executing\u{a0}2\u{a0}ns), A (waiting\u{a0}3\u{a0}ns)"
        );
    }
}
