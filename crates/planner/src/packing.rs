//! Packing items into as few bins as possible.
//!
//! Computes: a lower bound on the number of bins, a packing, and whether it is proven to use the fewest.
//! Source: the bound L2 of Martello & Toth 1990 (Knapsack Problems, chapter 8); first fit decreasing of Johnson et al.
//! 1974; exchange of Falkenauer 1996; bin completion of Korf 2002 (A new algorithm for optimal bin packing).
//! Assumptions: one dimension, equal bins, items that cannot be cut.
//! Symbols: `C` capacity, `w` size of an item, `K` number of bins tried; all in one unit of the caller's.
//! Invariants and why it ends: every level of the search fills one bin for good, and every level has finitely many
//! completions; a limit on the steps guards extreme inputs.
//! Differs from the source: of Korf's dominance only this: a completion that leaves room for one more item is dropped.
//! Checked by: published instances with proven optima and a comparison with all partitions of small item lists.

mod exchange;

/// One round of exchange costs about as much as this many steps of search.
const STEPS_PER_EXCHANGE: u64 = 1_000;

/// A packing of items into bins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packing {
    /// The items of each bin, as indices into the list given.
    pub bins: Vec<Vec<usize>>,
    /// The number of bins that no packing can undercut.
    pub lower_bound: usize,
}

impl Packing {
    /// Whether no packing uses fewer bins.
    pub fn is_optimal(&self) -> bool {
        self.bins.len() == self.lower_bound
    }
}

/// Why items cannot be packed at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PackingError {
    /// The item at this index is larger than a bin.
    ItemTooLarge(usize),
}

impl std::fmt::Display for PackingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::ItemTooLarge(index) => write!(f, "item {index} is larger than a bin"),
        }
    }
}

impl std::error::Error for PackingError {}

/// The bound L2: a number of bins of `capacity` that no packing of `items` can undercut.
///
/// # Errors
/// [`PackingError::ItemTooLarge`] for an item that fits no bin.
pub fn lower_bound(items: &[u64], capacity: u64) -> Result<usize, PackingError> {
    check(items, capacity)?;
    let mut sizes: Vec<u64> = items.iter().copied().filter(|w| *w > 0).collect();
    sizes.sort_unstable_by(|a, b| b.cmp(a));
    Ok(bound_of_descending(&sizes, capacity))
}

fn check(items: &[u64], capacity: u64) -> Result<(), PackingError> {
    match items.iter().position(|w| *w > capacity) {
        Some(index) => Err(PackingError::ItemTooLarge(index)),
        None => Ok(()),
    }
}

fn bound_of_descending(sizes: &[u64], capacity: u64) -> usize {
    let sum_to: Vec<u128> = std::iter::once(0)
        .chain(sizes.iter().scan(0u128, |sum, w| {
            *sum += u128::from(*w);
            Some(*sum)
        }))
        .collect();
    let half = sizes.partition_point(|w| u128::from(*w) * 2 > u128::from(capacity));
    let small_sizes = sizes[half..].iter().copied().chain([0]);
    small_sizes.map(|alpha| bound_for(sizes, capacity, &sum_to, half, alpha)).max().unwrap_or(0)
}

/// L(alpha): items above `C - alpha` stand alone; items from `alpha` to `C / 2` fill what the other large ones leave.
fn bound_for(sizes: &[u64], capacity: u64, sum_to: &[u128], half: usize, alpha: u64) -> usize {
    let alone = sizes.partition_point(|w| *w > capacity - alpha);
    let small_end = sizes.partition_point(|w| *w >= alpha.max(1)).max(half);
    let left_by_large = (half - alone) as u128 * u128::from(capacity) - (sum_to[half] - sum_to[alone]);
    let small = sum_to[small_end] - sum_to[half];
    let more = small.saturating_sub(left_by_large).div_ceil(u128::from(capacity.max(1)));
    // At most the number of items, since each of the small ones fits a bin of its own.
    half + more as usize
}

/// First fit decreasing: the largest item first, each into the first bin with room; ties in the order given.
///
/// # Errors
/// [`PackingError::ItemTooLarge`] for an item that fits no bin.
pub fn first_fit_decreasing(items: &[u64], capacity: u64) -> Result<Vec<Vec<usize>>, PackingError> {
    check(items, capacity)?;
    let mut bins: Vec<(u64, Vec<usize>)> = Vec::new();
    for index in descending(items) {
        let size = items[index];
        match bins.iter_mut().find(|(room, _)| *room >= size) {
            Some((room, bin)) => {
                *room -= size;
                bin.push(index);
            }
            None => bins.push((capacity - size, vec![index])),
        }
    }
    Ok(bins.into_iter().map(|(_, bin)| bin).collect())
}

fn descending(items: &[u64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..items.len()).collect();
    order.sort_by_key(|index| std::cmp::Reverse(items[*index]));
    order
}

/// A packing in as few bins as can be found within `step_limit` steps of search.
///
/// # Errors
/// [`PackingError::ItemTooLarge`] for an item that fits no bin.
pub fn pack(items: &[u64], capacity: u64, step_limit: u64) -> Result<Packing, PackingError> {
    let mut best = Packing { bins: first_fit_decreasing(items, capacity)?, lower_bound: lower_bound(items, capacity)? };
    if best.lower_bound == 0 {
        // Only empty items: one bin holds them all, and where there is none, none is needed.
        best.lower_bound = best.bins.len();
    }
    exchange::exchange(&mut best.bins, items, capacity, best.lower_bound, step_limit / STEPS_PER_EXCHANGE);
    let mut proven = true;
    for target in best.lower_bound..best.bins.len() {
        let mut search = Completion::new(items, capacity, target, step_limit);
        match search.widen() {
            Found::Yes => {
                best.bins = search.bins_of_items(items);
                break;
            }
            Found::No if proven => best.lower_bound = target + 1,
            Found::No | Found::Unknown => proven = false,
        }
    }
    Ok(best)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Found {
    Yes,
    No,
    Unknown,
}

/// A search for a packing into a given number of bins.
struct Completion {
    capacity: u64,
    /// The distinct sizes above zero, largest first, and how many of each are left.
    sizes: Vec<u64>,
    left: Vec<usize>,
    bins_left: usize,
    /// How much may stay empty in the bins still to fill.
    waste_left: u128,
    steps_left: u64,
    /// The bins filled so far: positions in `sizes`.
    bins: Vec<Vec<usize>>,
}

impl Completion {
    fn new(items: &[u64], capacity: u64, target: usize, step_limit: u64) -> Self {
        let mut sizes: Vec<u64> = items.iter().copied().filter(|w| *w > 0).collect();
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        sizes.dedup();
        let left = sizes.iter().map(|size| items.iter().filter(|w| *w == size).count()).collect();
        let total: u128 = items.iter().map(|w| u128::from(*w)).sum();
        let waste_left = (target as u128 * u128::from(capacity)).saturating_sub(total);
        Self { capacity, sizes, left, bins_left: target, waste_left, steps_left: step_limit, bins: Vec::new() }
    }

    /// Searches with few departures from the fullest bin first, then with more, at last with any number: a bad choice
    /// near the root is else mended only after everything below it.
    fn widen(&mut self) -> Found {
        let all_steps = self.steps_left;
        for departures in [0, 1, 2, 4, 8, 16] {
            self.steps_left = all_steps / 8;
            match self.fill_bins(departures) {
                Found::Unknown => self.bins.clear(),
                found => return found,
            }
        }
        self.steps_left = all_steps;
        self.fill_bins(usize::MAX)
    }

    fn fill_bins(&mut self, departures: usize) -> Found {
        let Some(first) = self.left.iter().position(|count| *count > 0) else { return Found::Yes };
        if self.steps_left == 0 {
            return Found::Unknown;
        }
        self.steps_left -= 1;
        if self.bins_left == 0 || bound_of_descending(&self.remaining(), self.capacity) > self.bins_left {
            return Found::No;
        }
        let mut completions = self.completions(first);
        let cut_short = self.steps_left == 0;
        completions.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
        match self.try_each(completions, departures) {
            Found::No if cut_short => Found::Unknown,
            found => found,
        }
    }

    fn try_each(&mut self, completions: Vec<(u64, Vec<usize>)>, departures: usize) -> Found {
        let mut all_refuted = true;
        for (rank, (waste, bin)) in completions.into_iter().enumerate() {
            let Some(departures) = departures.checked_sub(rank) else {
                return Found::Unknown;
            };
            self.take(waste, &bin);
            self.bins.push(bin);
            match self.fill_bins(departures) {
                Found::Yes => return Found::Yes,
                Found::No => {}
                Found::Unknown => all_refuted = false,
            }
            if let Some(bin) = self.bins.pop() {
                self.give_back(waste, &bin);
            }
        }
        if all_refuted { Found::No } else { Found::Unknown }
    }

    fn take(&mut self, waste: u64, bin: &[usize]) {
        bin.iter().for_each(|size| self.left[*size] -= 1);
        self.waste_left -= u128::from(waste);
        self.bins_left -= 1;
    }

    fn give_back(&mut self, waste: u64, bin: &[usize]) {
        bin.iter().for_each(|size| self.left[*size] += 1);
        self.waste_left += u128::from(waste);
        self.bins_left += 1;
    }

    fn remaining(&self) -> Vec<u64> {
        self.sizes.iter().zip(&self.left).flat_map(|(size, count)| std::iter::repeat_n(*size, *count)).collect()
    }

    /// Every maximal bin that holds one item of the size at `first` and wastes no more than may be wasted,
    /// with its waste.
    fn completions(&mut self, first: usize) -> Vec<(u64, Vec<usize>)> {
        let mut found = Vec::new();
        let mut bin = vec![first];
        self.left[first] -= 1;
        self.extend(first, self.capacity - self.sizes[first], &mut bin, &mut found);
        self.left[first] += 1;
        found
    }

    fn extend(&mut self, from: usize, room: u64, bin: &mut Vec<usize>, found: &mut Vec<(u64, Vec<usize>)>) {
        if self.steps_left == 0 {
            return;
        }
        self.steps_left -= 1;
        let smallest_left = self.left.iter().rposition(|count| *count > 0);
        let full = smallest_left.is_none_or(|size| self.sizes[size] > room);
        if full && u128::from(room) <= self.waste_left {
            found.push((room, bin.clone()));
        }
        if full {
            return;
        }
        for size in from..self.sizes.len() {
            if self.left[size] == 0 || self.sizes[size] > room {
                continue;
            }
            self.left[size] -= 1;
            bin.push(size);
            self.extend(size, room - self.sizes[size], bin, found);
            bin.pop();
            self.left[size] += 1;
        }
    }

    /// The bins filled, in the caller's indices; empty items go into the first bin.
    fn bins_of_items(&self, items: &[u64]) -> Vec<Vec<usize>> {
        let of_size = |size: u64| items.iter().enumerate().filter(move |(_, w)| **w == size).map(|(index, _)| index);
        let mut supply: Vec<_> = self.sizes.iter().map(|size| of_size(*size)).collect();
        let mut bins: Vec<Vec<usize>> =
            self.bins.iter().map(|bin| bin.iter().filter_map(|size| supply[*size].next()).collect()).collect();
        if let Some(first) = bins.first_mut() {
            first.extend(of_size(0));
        }
        bins
    }
}
