//! A series cut into blocks of equal length, and the largest values of each.
//!
//! A rest shorter than a block is left out: its maximum would be drawn from fewer values than the others.

/// The largest value of each whole block; none where `length` is zero.
pub fn maxima(series: &[f64], length: usize) -> Vec<f64> {
    if length == 0 {
        return Vec::new();
    }
    // Maxima beside each other, so that the processor need not wait for the last one.
    let largest = |block: &[f64]| {
        let mut lanes = [f64::NEG_INFINITY; 8];
        let chunks = block.chunks_exact(8);
        let rest = chunks.remainder().iter().copied().fold(f64::NEG_INFINITY, f64::max);
        for chunk in chunks {
            for (lane, &value) in lanes.iter_mut().zip(chunk) {
                *lane = if value > *lane { value } else { *lane };
            }
        }
        lanes.into_iter().fold(rest, f64::max)
    };
    series.chunks_exact(length).map(largest).collect()
}

/// The `count` largest values of each whole block in descending order; none where `length` is zero.
pub fn largest(series: &[f64], length: usize, count: usize) -> Vec<Vec<f64>> {
    if length == 0 {
        return Vec::new();
    }
    let of_block = |block: &[f64]| {
        let mut sorted = block.to_vec();
        sorted.sort_by(|a, b| b.total_cmp(a));
        sorted.truncate(count);
        sorted
    };
    series.chunks_exact(length).map(of_block).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_rest_is_left_out() {
        let series: Vec<f64> = (0..23).map(|k| f64::from((k * 7) % 10)).collect();
        assert_eq!(maxima(&series, 10), [9.0, 9.0]);
        assert_eq!(maxima(&series[..19], 19), [9.0]);
        assert_eq!(largest(&series, 10, 3), [[9.0, 8.0, 7.0], [9.0, 8.0, 7.0]]);
        assert!(maxima(&series, 0).is_empty() && largest(&series, 24, 2).is_empty());
    }
}
