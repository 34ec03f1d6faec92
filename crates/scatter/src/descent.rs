//! The least value of a smooth function of a few variables, each between two bounds.

use nalgebra::{DMatrix, DVector};

/// Iterations after which the best point so far is taken.
const ITERATIONS: usize = 60;
/// Length of a first step, in the units of the variables: they are logarithms here, and a factor of 3 is a bold guess.
const FIRST_STEP: f64 = 1.0;
/// Fraction of the promised decrease that a step has to deliver: the usual choice of Armijo's rule.
const SUFFICIENT: f64 = 1e-4;
/// Halvings of a step before the search ends.
const HALVINGS: usize = 30;
/// Decrease still promised, relative to the size of the function, below which one last step is tried: less than a
/// millionth in a likelihood of some thousands tells no two models apart.
const NEGLIGIBLE: f64 = 1e-10;

/// What a function gives: its value and its gradient, or nothing where it has none.
pub(crate) type Valued = Option<(f64, Vec<f64>)>;

/// Where the search ended.
#[derive(Clone, Debug)]
pub(crate) struct Least {
    pub(crate) at: Vec<f64>,
    pub(crate) value: f64,
}

/// Quasi-Newton descent (BFGS) from `start`, projected on the box `[low, high]`; `None` if the function has no value at
/// the start. Deterministic: a local minimum, the same one every time.
///
/// # Source
/// Nocedal & Wright, Numerical Optimization, 2nd edition (2006), sections 3.1 and 6.1; projection on bounds: Bertsekas,
/// SIAM J. Control Optim. 20 (1982) 221–246 (from memory).
pub(crate) fn least(
    start: &[f64],
    bounds: &[(f64, f64)],
    mut function: impl FnMut(&[f64]) -> Valued,
) -> Option<Least> {
    let n = start.len();
    let clamp = |x: &DVector<f64>| {
        DVector::from_iterator(n, x.iter().zip(bounds).map(|(x, (l, h))| x.clamp(*l, *h)))
    };
    let mut x = clamp(&DVector::from_column_slice(start));
    let (mut value, gradient) = function(x.as_slice())?;
    let mut gradient = DVector::from_vec(gradient);
    // Inverse Hessian; `None` until the first step has shown a scale.
    let mut inverse: Option<DMatrix<f64>> = None;
    let mut free = vec![true; n];
    for _ in 0..ITERATIONS {
        let blocked = |i: usize| {
            (x[i] <= bounds[i].0 && gradient[i] > 0.0) || (x[i] >= bounds[i].1 && gradient[i] < 0.0)
        };
        let now: Vec<bool> = (0..n).map(|i| !blocked(i)).collect();
        if now != free {
            // The curvature known so far is that of another set of variables.
            (free, inverse) = (now, None);
        }
        let keep = |v: &DVector<f64>| DVector::from_fn(n, |i, _| if free[i] { v[i] } else { 0.0 });
        let slope = keep(&gradient);
        let direction = match &inverse {
            Some(h) => keep(&(-(h * &slope))),
            // Of a set length however flat the function is: where it is flat the minimum may be far.
            None => -&slope * (FIRST_STEP / slope.norm().max(f64::MIN_POSITIVE)),
        };
        if -slope.dot(&direction) <= NEGLIGIBLE * (1.0 + value.abs()) {
            // Without a curvature the length of the step means nothing: the slope alone says that this is the end.
            let last = clamp(&(&x + &direction));
            if inverse.is_some()
                && let Some((v, _)) = function(last.as_slice())
                && v < value
            {
                (x, value) = (last, v);
            }
            break;
        }
        let mut step = 1.0;
        let mut found = None;
        for _ in 0..HALVINGS {
            let next = clamp(&(&x + &direction * step));
            let promised = gradient.dot(&(&next - &x));
            if let Some((v, g)) = function(next.as_slice())
                && v <= value + SUFFICIENT * promised
            {
                found = Some((next, v, DVector::from_vec(g)));
                break;
            }
            step *= 0.5;
        }
        let Some((next, next_value, next_gradient)) = found else {
            // The curvature was wrong: once more along the slope. If that was it already, rounding hides the rest.
            if inverse.take().is_some() {
                continue;
            }
            break;
        };
        let (s, y) = (&next - &x, keep(&(&next_gradient - &gradient)));
        inverse = updated(inverse, &s, &y);
        (x, value, gradient) = (next, next_value, next_gradient);
    }
    Some(Least {
        at: x.as_slice().to_vec(),
        value,
    })
}

/// H ← (I − ρ s yᵀ) H (I − ρ y sᵀ) + ρ s sᵀ, skipped where the curvature along the step is not positive.
fn updated(
    inverse: Option<DMatrix<f64>>,
    s: &DVector<f64>,
    y: &DVector<f64>,
) -> Option<DMatrix<f64>> {
    let curvature = s.dot(y);
    if curvature <= f64::EPSILON * s.norm() * y.norm() {
        return inverse;
    }
    let n = s.len();
    let h = inverse.unwrap_or_else(|| DMatrix::identity(n, n) * (curvature / y.norm_squared()));
    let left = DMatrix::identity(n, n) - s * y.transpose() / curvature;
    Some(&left * h * left.transpose() + s * s.transpose() / curvature)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rosenbrock(x: &[f64]) -> Valued {
        let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
        Some((
            a * a + 100.0 * b * b,
            vec![-2.0 * a - 400.0 * x[0] * b, 200.0 * b],
        ))
    }

    /// Rosenbrock, Comput. J. 3 (1960) 175–184: the valley ends at (1, 1), from (−1.2, 1).
    #[test]
    fn follows_the_curved_valley() {
        let free = [(-5.0, 5.0); 2];
        let found = least(&[-1.2, 1.0], &free, rosenbrock).unwrap();
        // Decreases of 1e-12 are looked for, √ of that is the distance, and one more step is taken.
        assert!((found.at[0] - 1.0).abs() < 1e-7 && (found.at[1] - 1.0).abs() < 1e-7);
    }

    /// A valley so flat that no slope is above 1e-6, its end 6 away.
    #[test]
    fn goes_far_where_it_is_flat() {
        let flat = |x: &[f64]| Some((1e-8 * (x[0] - 6.0).powi(2) + 1.0, vec![2e-8 * (x[0] - 6.0)]));
        let found = least(&[0.0], &[(-10.0, 10.0)], flat).unwrap();
        // Decreases of 1e-10 are looked for: √(1e-10 ÷ 1e-8), and one more step is exact on a parabola.
        assert!((found.at[0] - 6.0).abs() < 1e-6, "{found:?}");
    }

    /// A start at the minimum is left by nothing.
    #[test]
    fn stays_where_it_is_least() {
        let bowl = |x: &[f64]| Some((x[0] * x[0], vec![2.0 * x[0]]));
        let found = least(&[1e-12], &[(-10.0, 10.0)], bowl).unwrap();
        assert!(found.value <= 1e-24, "{found:?}");
    }

    /// With x ≤ 0.5 the least is on the bound, at y = x².
    #[test]
    fn stops_at_a_bound() {
        let bounds = [(-5.0, 0.5), (-5.0, 5.0)];
        let found = least(&[-1.2, 1.0], &bounds, rosenbrock).unwrap();
        assert!((found.at[0] - 0.5).abs() < 1e-12 && (found.at[1] - 0.25).abs() < 1e-7);
        assert!((found.value - 0.25).abs() < 1e-12);
    }

    #[test]
    fn steps_back_from_where_the_function_has_no_value() {
        let function = |x: &[f64]| (x[0] > 0.0).then(|| (x[0] - x[0].ln(), vec![1.0 - 1.0 / x[0]]));
        let found = least(&[8.0], &[(-10.0, 10.0)], function).unwrap();
        assert!((found.at[0] - 1.0).abs() < 1e-8);
        assert!(least(&[-1.0], &[(-10.0, 10.0)], function).is_none());
    }
}
