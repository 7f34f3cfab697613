//! Integer arithmetic that several analyses need.

/// The least common multiple of all `values`, none of them 0; none where it passes `u64`.
pub(crate) fn lcm_of(mut values: impl Iterator<Item = u64>) -> Option<u64> {
    values.try_fold(1, |lcm: u64, value| (lcm / num_integer::gcd(lcm, value)).checked_mul(value))
}
