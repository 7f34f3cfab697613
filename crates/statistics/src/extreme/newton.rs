//! The least of a smooth function of a few variables, with its first and second derivatives.

/// A function at one place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Local<const N: usize> {
    pub(crate) value: f64,
    pub(crate) gradient: [f64; N],
    pub(crate) hessian: [[f64; N]; N],
}

impl<const N: usize> Local<N> {
    pub(crate) const ZERO: Self = Self { value: 0.0, gradient: [0.0; N], hessian: [[0.0; N]; N] };

    fn is_finite(&self) -> bool {
        let sum = self.value + self.gradient.iter().sum::<f64>() + self.hessian.iter().flatten().sum::<f64>();
        sum.is_finite()
    }
}

const MOST_STEPS: usize = 200;

/// Below this fall of the function a last whole step is taken: the error that it leaves is about its square.
const SMALL_FALL: f64 = 1e-10;

/// Newton's method with Levenberg's damping in each variable's own scale. `function` is `None` where it has no value; it must
/// have one at `start`. `None` where no minimum is reached.
pub(crate) fn minimum<const N: usize>(
    start: [f64; N],
    function: impl Fn([f64; N]) -> Option<Local<N>>,
) -> Option<([f64; N], Local<N>)> {
    let (mut at, mut here) = (start, function(start).filter(Local::is_finite)?);
    let mut damping = 0.0;
    for _ in 0..MOST_STEPS {
        let Some(step) = damped_step(&here, damping) else {
            damping = more(damping);
            continue;
        };
        let next: [f64; N] = std::array::from_fn(|i| at[i] + step[i]);
        let fall = -here.gradient.iter().zip(step).map(|(slope, step)| slope * step).sum::<f64>() / 2.0;
        match function(next).filter(Local::is_finite) {
            Some(there) if damping == 0.0 && fall < SMALL_FALL => return Some((next, there)),
            Some(there) if there.value <= here.value - 1e-3 * fall => {
                (at, here) = (next, there);
                damping = if damping < 1e-3 { 0.0 } else { damping / 10.0 };
            }
            // What is left to gain is below what floating point tells apart.
            Some(_) if damping > 1e12 && fall < SMALL_FALL => return Some((at, here)),
            _ => damping = more(damping),
        }
    }
    None
}

fn more(damping: f64) -> f64 {
    if damping == 0.0 { 1e-3 } else { damping * 10.0 }
}

/// Where the function is lowest if it is as curved as here; `None` where the damped curvature is not upwards everywhere.
fn damped_step<const N: usize>(here: &Local<N>, damping: f64) -> Option<[f64; N]> {
    let mut matrix = here.hessian;
    for (i, row) in matrix.iter_mut().enumerate() {
        row[i] += damping * row[i].abs().max(1e-12);
    }
    let root = cholesky(&matrix)?;
    Some(solve(&root, &here.gradient.map(|slope| -slope)))
}

/// The lower triangular root of a positive definite matrix; `None` for any other.
fn cholesky<const N: usize>(matrix: &[[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let mut root = [[0.0; N]; N];
    for i in 0..N {
        for j in 0..=i {
            let rest = matrix[i][j] - (0..j).map(|k| root[i][k] * root[j][k]).sum::<f64>();
            if i == j && (rest.is_nan() || rest <= 0.0) {
                return None;
            }
            root[i][j] = if i == j { rest.sqrt() } else { rest / root[j][j] };
        }
    }
    Some(root)
}

fn solve<const N: usize>(root: &[[f64; N]; N], right: &[f64; N]) -> [f64; N] {
    let mut x = *right;
    for i in 0..N {
        x[i] = (x[i] - (0..i).map(|k| root[i][k] * x[k]).sum::<f64>()) / root[i][i];
    }
    for i in (0..N).rev() {
        x[i] = (x[i] - (i + 1..N).map(|k| root[k][i] * x[k]).sum::<f64>()) / root[i][i];
    }
    x
}

/// The inverse of a positive definite matrix; `None` for any other.
pub(crate) fn inverse<const N: usize>(matrix: &[[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let root = cholesky(matrix)?;
    // Column by column; the matrix is symmetric, so columns are rows.
    Some(std::array::from_fn(|column| solve(&root, &std::array::from_fn(|i| if i == column { 1.0 } else { 0.0 }))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley (1960) ends at (1, 1); its derivatives by hand.
    #[test]
    fn the_bent_valley_is_followed_to_its_end() {
        let valley = |[x, y]: [f64; 2]| {
            let bend = y - x * x;
            Some(Local {
                value: 100.0 * bend * bend + (1.0 - x) * (1.0 - x),
                gradient: [-400.0 * x * bend - 2.0 * (1.0 - x), 200.0 * bend],
                hessian: [[1200.0 * x * x - 400.0 * y + 2.0, -400.0 * x], [-400.0 * x, 200.0]],
            })
        };
        let (at, _) = minimum([-1.2, 1.0], valley).expect("it has a minimum");
        assert!((at[0] - 1.0).abs() < 1e-9 && (at[1] - 1.0).abs() < 1e-9, "{at:?}");
    }

    #[test]
    fn a_function_without_a_minimum_has_none() {
        assert!(minimum([0.0], |[x]| Some(Local { value: x, gradient: [1.0], hessian: [[0.0]] })).is_none());
        assert!(minimum([0.0], |_: [f64; 1]| None).is_none());
    }

    #[test]
    fn a_matrix_times_its_inverse_is_one() {
        let matrix = [[4.0, 1.0, 0.5], [1.0, 3.0, -0.25], [0.5, -0.25, 2.0]];
        let inverse = inverse(&matrix).expect("positive definite");
        for (i, row) in matrix.iter().enumerate() {
            let product: [f64; 3] = std::array::from_fn(|j| (0..3).map(|k| row[k] * inverse[k][j]).sum());
            for (j, entry) in product.into_iter().enumerate() {
                assert!((entry - f64::from(u8::from(i == j))).abs() < 1e-12);
            }
        }
        assert!(super::inverse(&[[1.0, 2.0], [2.0, 1.0]]).is_none());
    }
}
