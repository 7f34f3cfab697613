//! Sets of pages that come again in turns, as pages of some colours do.

use std::ops::Range;

/// Pages looked at one by one, where caches whose colours turn at odds with each other make many.
const MOST: u64 = 1 << 20;

/// Pages of the address map: those whose number modulo `turn` is among `own`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pages {
    turn: u64,
    /// In rising order, each below `turn`.
    own: Vec<u64>,
}

impl Pages {
    /// Every page there is.
    pub(super) fn all() -> Self {
        Self { turn: 1, own: vec![0] }
    }

    /// The pages of these colours of a cache of `number`; colours that it does not have have no pages.
    pub(super) fn of(number: u64, colours: &[u32]) -> Self {
        Self { turn: number, own: colours.iter().copied().map(u64::from).filter(|colour| *colour < number).collect() }
    }

    pub(super) const fn is_empty(&self) -> bool {
        self.own.is_empty()
    }

    /// The pages that are in both sets, or `None` where too many would have to be looked at. The remainders of a page by two turns
    /// are known when its remainder by their least common multiple is, so one common turn says all.
    pub(super) fn both(&self, other: &Self) -> Option<Self> {
        let turn = (self.turn / common_divisor(self.turn, other.turn)).checked_mul(other.turn)?;
        let looked_at = |one: &Self| (one.own.len() as u64).saturating_mul(turn / one.turn);
        let (walked, asked) = if looked_at(self) <= looked_at(other) { (self, other) } else { (other, self) };
        if walked.is_empty() {
            return Some(Self { turn, own: Vec::new() });
        }
        let round = |round: u64| walked.own.iter().map(move |page| page + round * walked.turn);
        let pages = || (0..turn / walked.turn).flat_map(round).filter(|page| asked.has(*page));
        (looked_at(walked) <= MOST).then(|| Self { turn, own: pages().collect() })
    }

    fn has(&self, page: u64) -> bool {
        self.own.binary_search(&(page % self.turn)).is_ok()
    }

    /// Which colours of a cache of `number` the pages have, in rising order; `None` where that many are too many to name.
    pub(super) fn colours(&self, number: u64) -> Option<Vec<u64>> {
        // What the turns have in common is all that a page's place in the one says of its place in the other.
        let common = common_divisor(self.turn, number);
        let mut known: Vec<u64> = self.own.iter().map(|page| page % common).collect();
        known.sort_unstable();
        known.dedup();
        if common == number {
            return Some(known);
        }
        let has = |colour: &u64| known.binary_search(&(colour % common)).is_ok();
        (number <= MOST).then(|| (0..number).filter(has).collect())
    }

    /// How many of these pages are among those from the first number to before the last.
    pub(super) fn within(&self, range: Range<u64>) -> u64 {
        // Before a page, each of ours has come once in every turn, and once more where its place in this turn is past.
        let before = |end: u64, page: u64| end / self.turn + u64::from(end % self.turn > page);
        self.own.iter().map(|page| before(range.end, *page) - before(range.start, *page)).sum()
    }
}

/// The greatest common divisor of two numbers, not both 0.
const fn common_divisor(mut one: u64, mut other: u64) -> u64 {
    while other != 0 {
        (one, other) = (other, one % other);
    }
    one
}

#[cfg(test)]
mod tests {
    use super::Pages;
    use proptest::prelude::*;

    /// Some colours of a cache, of any number of them.
    fn some() -> impl Strategy<Value = (u64, Vec<u32>)> {
        (1u64..16).prop_flat_map(|number| {
            let colours = prop::collection::btree_set(0..number as u32 + 3, 0..12);
            (Just(number), colours.prop_map(|colours| colours.into_iter().collect()))
        })
    }

    proptest! {
        /// Every page is asked for each of its colours by itself.
        #[test]
        fn pages_of_several_caches_are_those_that_have_a_colour_of_each(
            one in some(), other in some(), third in some(), start in 0u64..5000, length in 0u64..3000, asked in 1u64..20
        ) {
            let caches = [one, other, third];
            let all = caches.iter().try_fold(Pages::all(), |all, (number, of)| all.both(&Pages::of(*number, of)));
            let all = all.expect("few pages");
            let is_one = |page: &u64| caches.iter().all(|(number, of)| of.contains(&((page % number) as u32)));
            prop_assert_eq!(all.within(start..start + length), (start..start + length).filter(is_one).count() as u64);
            let turn = caches.iter().map(|(number, _)| number).product::<u64>() * asked;
            let mut colours: Vec<u64> = (0..turn).filter(is_one).map(|page| page % asked).collect();
            colours.sort_unstable();
            colours.dedup();
            prop_assert_eq!(all.colours(asked), Some(colours));
        }
    }

    #[test]
    fn turns_at_odds_that_make_too_many_pages_are_given_up() {
        let every = |number: u64| Pages::of(number, &(0..number as u32).collect::<Vec<_>>());
        assert_eq!(every(65_536).both(&every(65_535)), None);
        assert_eq!(every(65_536).both(&every(32_768)).map(|both| both.within(0..70_000)), Some(70_000));
        assert_eq!(Pages::of(3, &[5]).both(&every(65_536)).map(|none| none.is_empty()), Some(true));
        assert_eq!(Pages::all().colours(u64::MAX), None);
    }
}
