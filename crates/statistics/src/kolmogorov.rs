//! How far an empirical distribution function may lie from the true one.
//!
//! **Computes** the distribution of `D_n = sup |F_n - F|` exactly for small samples; the critical value that `D_n` passes with
//! a probability of at most one in `one_in`, never too small; its limit for large samples; the largest distance between two
//! empirical distribution functions.
//! **Source.** The critical values are those of L. H. Miller, "Table of percentage points of Kolmogorov statistics", JASA 51
//! (1956), and F. J. Massey, JASA 46 (1951); computed by G. Marsaglia, W. W. Tsang, J. Wang, "Evaluating Kolmogorov's
//! distribution", Journal of Statistical Software 8 (2003); beyond [`MOST_EXACT`] values the bound of P. Massart, "The tight
//! constant in the Dvoretzky-Kiefer-Wolfowitz inequality", Annals of Probability 18 (1990).
//! **Assumptions.** Independent values of one distribution. Where that has steps, as a clock makes, `D_n` is stochastically
//! smaller than here, so a band is only wider than needed.
//! **Symbols with units.** `n` values (count); `D_n` a difference of probabilities (parts per billion).
//! **Invariants and why it ends.** Massart's bound is never below the exact critical value, so halving below it finds that.
//! **Differs from the source** in nothing but the rounding upwards.
//! **Checked by** the published tables, and scipy in `tests/outside`.

use crate::binomial::WHOLE_PPB;

/// Critical values of larger samples come from Massart's bound; at this size it is 1 % above the exact one at 95 %.
pub const MOST_EXACT: u64 = 300;

/// Where less than this is left to error, the exact distribution in floating point is not precise enough to be asked.
const MOST_ONE_IN: u64 = 100_000_000;

/// `P(D_n < d)` for `n` values; 1 where `d` is one or more.
pub fn below(n: u64, d: f64) -> f64 {
    let reach = n as f64 * d;
    if n == 0 || reach <= 0.5 {
        return 0.0;
    }
    if d >= 1.0 {
        return 1.0;
    }
    let k = reach as usize + 1;
    let size = 2 * k - 1;
    let (power, mut exponent) = steps(size, k as f64 - reach).power(n);
    let mut result = power.at(k - 1, k - 1);
    for i in 1..=n {
        result = result * i as f64 / n as f64;
        if result < 1e-140 {
            result *= 1e140;
            exponent -= 140;
        }
    }
    (result * 10f64.powi(exponent)).clamp(0.0, 1.0)
}

/// The least distance in parts per billion that `D_n` passes with a probability of at most one in `one_in`; the whole where
/// there are no values.
pub fn critical_ppb(n: u64, one_in: u64) -> u64 {
    let bound = massart_ppb(n, one_in);
    if n == 0 || n > MOST_EXACT || one_in > MOST_ONE_IN {
        return bound;
    }
    let wanted = 1.0 - 1.0 / one_in.max(1) as f64;
    let (mut under, mut least) = (0, bound);
    while least - under > 1 {
        let middle = under + (least - under) / 2;
        if below(n, middle as f64 / WHOLE_PPB as f64) >= wanted { least = middle } else { under = middle }
    }
    least
}

/// `sqrt(ln(2 one_in) / (2 n))`, rounded up.
fn massart_ppb(n: u64, one_in: u64) -> u64 {
    let bound = ((2.0 * one_in as f64).ln() / (2.0 * n as f64)).sqrt() * WHOLE_PPB as f64;
    // Beyond the whole and where there are no values the cast ends at the largest number.
    (bound.ceil() as u64).saturating_add(1).min(WHOLE_PPB)
}

/// The probability that `sqrt(n) D_n` passes `x`, in the limit of large samples.
pub fn limit_above(x: f64) -> f64 {
    if x < 0.2 {
        return 1.0; // The rest is below 10^-12.
    }
    let term = |j: i32| (-2.0 * f64::from(j * j) * x * x).exp() * if j % 2 == 1 { 2.0 } else { -2.0 };
    (1..=100).map(term).sum::<f64>().clamp(0.0, 1.0)
}

/// What `sqrt(n) D_n` passes with a probability of one in `one_in`, in the limit of large samples.
pub fn limit_critical(one_in: u64) -> f64 {
    let (mut under, mut over) = (0.0, 10.0);
    for _ in 0..60 {
        let middle = (under + over) / 2.0;
        if limit_above(middle) * one_in as f64 > 1.0 { under = middle } else { over = middle }
    }
    over
}

/// The largest distance between the empirical distribution functions of two ascending samples, in parts per billion, rounded
/// up; the whole where one is empty.
pub fn distance_ppb(one: &[i64], other: &[i64]) -> u64 {
    if one.is_empty() || other.is_empty() {
        return WHOLE_PPB;
    }
    let (mut i, mut j, mut largest) = (0, 0, 0_u128);
    while i < one.len() && j < other.len() {
        let value = one[i].min(other[j]);
        i += one[i..].iter().take_while(|&&x| x == value).count();
        j += other[j..].iter().take_while(|&&x| x == value).count();
        largest = largest.max((i as u128 * other.len() as u128).abs_diff(j as u128 * one.len() as u128));
    }
    let whole = one.len() as u128 * other.len() as u128;
    // A share of the whole.
    (largest * u128::from(WHOLE_PPB)).div_ceil(whole) as u64
}

/// A square matrix, row by row.
#[derive(Clone)]
struct Square {
    size: usize,
    entries: Vec<f64>,
}

/// The matrix of Marsaglia, Tsang and Wang; `gap` is what `n d` lacks to the next whole number.
fn steps(size: usize, gap: f64) -> Square {
    let mut matrix = Square { size, entries: vec![0.0; size * size] };
    let mut power = 1.0;
    for i in 0..size {
        for j in 0..=(i + 1).min(size - 1) {
            matrix.entries[i * size + j] = 1.0;
        }
    }
    for i in 0..size {
        power *= gap;
        matrix.entries[i * size] -= power;
        matrix.entries[size * size - 1 - i] -= power;
    }
    matrix.entries[(size - 1) * size] += (2.0 * gap - 1.0).max(0.0).powi(size as i32);
    for i in 0..size {
        let mut factorial = 1.0;
        for j in (0..=i).rev() {
            factorial *= (i - j + 1) as f64;
            matrix.entries[i * size + j] /= factorial;
        }
    }
    matrix
}

impl Square {
    fn at(&self, row: usize, column: usize) -> f64 {
        self.entries[row * self.size + column]
    }

    fn times(&self, other: &Self) -> Self {
        let mut entries = vec![0.0; self.entries.len()];
        for (row, sums) in self.entries.chunks(self.size).zip(entries.chunks_mut(self.size)) {
            for (&factor, line) in row.iter().zip(other.entries.chunks(self.size)) {
                for (sum, &entry) in sums.iter_mut().zip(line) {
                    *sum += factor * entry;
                }
            }
        }
        Self { size: self.size, entries }
    }

    /// The power as a matrix times ten to the second result, so that it neither overflows nor vanishes.
    fn power(self, mut times: u64) -> (Self, i32) {
        let middle = self.size / 2;
        let mut one = Self { size: self.size, entries: vec![0.0; self.entries.len()] };
        for i in 0..self.size {
            one.entries[i * self.size + i] = 1.0;
        }
        let (mut product, mut product_exponent) = (one, 0);
        let (mut square, mut square_exponent) = (self, 0);
        while times > 0 {
            if times & 1 == 1 {
                product = product.times(&square);
                product_exponent += square_exponent;
                product_exponent += product.scale_down(middle);
            }
            times >>= 1;
            if times > 0 {
                square = square.times(&square);
                square_exponent *= 2;
                square_exponent += square.scale_down(middle);
            }
        }
        (product, product_exponent)
    }

    /// Takes 140 powers of ten out where the middle entry is large, and says so.
    fn scale_down(&mut self, middle: usize) -> i32 {
        if self.at(middle, middle) <= 1e140 {
            return 0;
        }
        self.entries.iter_mut().for_each(|entry| *entry *= 1e-140);
        140
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marsaglia, Tsang and Wang 2003 print P(D_10 < 0.274) = 0.6284796154565. From memory. For one value D_1 < d has
    /// the probability 2 d - 1, worked out by hand; for two, D_2 < 0.5 has 2 (2 0.5 - 0.5)^2 = 1/2.
    #[test]
    fn the_distribution_is_that_of_its_source() {
        assert!((below(10, 0.274) - 0.628_479_615_456_5).abs() < 1e-12);
        assert!((below(1, 0.7) - 0.4).abs() < 1e-12);
        assert!((below(2, 0.5) - 0.5).abs() < 1e-12);
        assert_eq!((below(10, 0.05), below(10, 1.0), below(0, 0.3)), (0.0, 1.0, 0.0));
    }

    #[test]
    fn massart_is_never_below_the_exact_value() {
        for n in [1, 2, 5, 20, MOST_EXACT] {
            for one_in in [10, 20, 1000] {
                assert!(critical_ppb(n, one_in) <= massart_ppb(n, one_in));
            }
        }
        let (exact, bound) = (critical_ppb(MOST_EXACT, 20), massart_ppb(MOST_EXACT, 20));
        assert!(bound - exact < exact / 50, "{exact} {bound}");
        assert_eq!(critical_ppb(0, 20), WHOLE_PPB);
    }

    #[test]
    fn distances_with_ties_are_counted_by_hand() {
        assert_eq!(distance_ppb(&[1, 2, 3, 4], &[3, 4, 5, 6]), 500_000_000);
        assert_eq!(distance_ppb(&[1, 1, 1], &[1, 1]), 0);
        assert_eq!(distance_ppb(&[1, 1, 2], &[1, 2, 2]), 333_333_334);
        assert_eq!(distance_ppb(&[1, 2], &[5, 6, 7]), WHOLE_PPB);
        assert_eq!(distance_ppb(&[], &[1]), WHOLE_PPB);
    }
}
