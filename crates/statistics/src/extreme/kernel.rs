//! What both families of tails are made of: `s = ln(1 + xi z) / xi` and `k = (e^(xi t) - 1) / xi`, smooth where `xi` is zero.

/// A function of one variable with its first and second derivative.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Curve {
    pub(crate) value: f64,
    pub(crate) slope: f64,
    pub(crate) bend: f64,
}

/// Where the closed forms lose digits, the series are summed instead; this many terms leave nothing to add.
const NEAR_ZERO: f64 = 0.01;
const TERMS: i32 = 10;

/// `ln(1 + x) / x`, for `x` above -1.
pub(crate) fn log_ratio(x: f64) -> Curve {
    if x.abs() < NEAR_ZERO {
        return series(x, |n| (if n % 2 == 0 { 1.0 } else { -1.0 }) / f64::from(n + 1));
    }
    let inverse = 1.0 / (1.0 + x);
    let value = (1.0 + x).ln() / x;
    let slope = (inverse - value) / x;
    Curve { value, slope, bend: (-inverse * inverse - 2.0 * slope) / x }
}

/// `(e^x - 1) / x`.
pub(crate) fn exponential_ratio(x: f64) -> Curve {
    if x.abs() < NEAR_ZERO {
        let factorial = |n: i32| (1..=n + 1).map(f64::from).product::<f64>();
        return series(x, |n| 1.0 / factorial(n));
    }
    let power = x.exp();
    let value = x.exp_m1() / x;
    let slope = (power - value) / x;
    Curve { value, slope, bend: (power - 2.0 * slope) / x }
}

/// The sum of `coefficient(n) x^n` with its derivatives.
fn series(x: f64, coefficient: impl Fn(i32) -> f64) -> Curve {
    let mut curve = Curve { value: 0.0, slope: 0.0, bend: 0.0 };
    for n in (0..TERMS).rev() {
        // Horner's rule, derived twice.
        curve.bend = curve.bend * x + 2.0 * curve.slope;
        curve.slope = curve.slope * x + curve.value;
        curve.value = curve.value * x + coefficient(n);
    }
    curve
}

/// `s` with its derivatives in the order location, logarithm of scale, shape.
pub(crate) struct Standard {
    pub(crate) s: f64,
    pub(crate) first: [f64; 3],
    pub(crate) second: [[f64; 3]; 3],
}

/// `s` of a value at `z` scales above the location; `None` outside of the distribution.
pub(crate) fn standard(z: f64, scale: f64, shape: f64) -> Option<Standard> {
    let y = 1.0 + shape * z;
    if y.is_nan() || y <= 0.0 {
        return None;
    }
    let inverse = 1.0 / y;
    let (s, s_shape, s_shape_shape) = if shape.abs() * z.abs().max(1.0) < NEAR_ZERO {
        let ratio = log_ratio(shape * z);
        (z * ratio.value, z * z * ratio.slope, z * z * z * ratio.bend)
    } else {
        let s = y.ln() / shape;
        let s_shape = (z * inverse - s) / shape;
        (s, s_shape, -(z * z * inverse * inverse + 2.0 * s_shape) / shape)
    };
    let square = inverse * inverse;
    let (by_scale, mixed) = (1.0 / scale, z * z * square);
    let (location_log, location_shape) = (by_scale * square, by_scale * z * square);
    Some(Standard {
        s,
        first: [-by_scale * inverse, -z * inverse, s_shape],
        second: [
            [-shape * by_scale * by_scale * square, location_log, location_shape],
            [location_log, z * square, mixed],
            [location_shape, mixed, s_shape_shape],
        ],
    })
}

/// `k = (e^(shape t) - 1) / shape` as a function of the shape: how many scales a level lies above the location.
pub(crate) fn levels_above(t: f64, shape: f64) -> Curve {
    let ratio = exponential_ratio(shape * t);
    Curve { value: t * ratio.value, slope: t * t * ratio.slope, bend: t * t * t * ratio.bend }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Derivatives against differences of the function itself, on both sides of where the series begins.
    #[test]
    fn derivatives_are_what_differences_say() {
        let step = 1e-5;
        for shape in [-0.3, -0.02, -1e-4, 0.0, 1e-9, 0.005, 0.3] {
            for (z, scale) in [(-0.7, 1.0), (0.4, 2.0), (2.5, 0.5)] {
                let base = [z * scale, f64::ln(scale), shape];
                // The value lies at z scales above a location of zero.
                let at = |p: [f64; 3]| {
                    standard((z * scale - (p[0] - base[0])) / p[1].exp(), p[1].exp(), p[2]).expect("inside")
                };
                let here = at(base);
                for i in 0..3 {
                    let moved = |by: f64| {
                        let mut p = base;
                        p[i] += by;
                        at(p)
                    };
                    let (up, down) = (moved(step), moved(-step));
                    let near = |found: f64, expected: f64| (found - expected).abs() < 1e-6 * (1.0 + expected.abs());
                    assert!(near((up.s - down.s) / (2.0 * step), here.first[i]), "{shape} {z}: first {i}");
                    for j in 0..3 {
                        let slope = (up.first[j] - down.first[j]) / (2.0 * step);
                        assert!(
                            near(slope, here.second[j][i]),
                            "{shape} {z}: second {j} {i}: {slope} {}",
                            here.second[j][i]
                        );
                    }
                }
            }
            for t in [-1.0, 4.6, 9.0] {
                let (up, here, down) =
                    (levels_above(t, shape + step), levels_above(t, shape), levels_above(t, shape - step));
                assert!(((up.value - down.value) / (2.0 * step) - here.slope).abs() < 1e-5 * (1.0 + here.slope.abs()));
                assert!(((up.slope - down.slope) / (2.0 * step) - here.bend).abs() < 1e-5 * (1.0 + here.bend.abs()));
            }
        }
    }
}
