//! Sets of sites and the checks that several test programs share.
#![allow(dead_code, reason = "not every test program uses every helper")]
#![allow(unreachable_pub, reason = "a module of several test programs")]

use evenstep_scatter::Interpolant;
use nalgebra::Matrix3;

pub type Triples = Vec<[f64; 3]>;

/// Low-discrepancy points in the unit cube.
pub fn spread(count: u32) -> Triples {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    (1..=count)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect()
}

/// A lattice of side³ sites over the unit cube: exact ties everywhere.
pub fn lattice(side: u32) -> Triples {
    let at = |c: u32| f64::from(c) / f64::from(side - 1);
    (0..side.pow(3))
        .map(|i| [at(i % side), at(i / side % side), at(i / side / side)])
        .collect()
}

/// What is read in practice: a neutral ramp of 21, ramps of 9 for each channel and secondary, some of the interior.
pub fn patches() -> Triples {
    let mut sites: Triples = (0..21).map(|i| [f64::from(i) / 20.0; 3]).collect();
    for on in 1..7_u32 {
        let axis = |c: u32| f64::from(on >> c & 1);
        sites.extend((1..=8).map(|i| [0, 1, 2].map(|c| axis(c) * f64::from(i) / 8.0)));
    }
    sites.extend(
        spread(26)
            .iter()
            .map(|s| s.map(|v| (v * 16.0).round() / 16.0 * 0.8 + 0.1)),
    );
    sites
}

/// A smooth map that is no polynomial.
pub fn curved([x, y, z]: [f64; 3]) -> [f64; 3] {
    [(2.0 * x).sin() + y * y, x * y * z, (x - z).exp() - y]
}

/// A polynomial of degree 1 or 2 that has every term.
pub fn polynomial(degree: i8, [x, y, z]: [f64; 3]) -> [f64; 3] {
    let linear = [1.0 + x - 2.0 * y + 0.5 * z, x + y - z, 0.3 * y + 2.0 * z];
    let square = [x * x - y * z, 2.0 * x * y + z * z, y * y - 0.5 * x * z];
    std::array::from_fn(|k| linear[k] + if degree > 1 { square[k] } else { 0.0 })
}

pub fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
}

/// The largest difference between the Jacobian and central differences, relative to 1 + slope.
pub fn jacobian_error(fitted: &dyn Interpolant, at: [f64; 3], step: f64) -> f64 {
    let (value, jacobian) = fitted.eval_with_gradient(at);
    assert!(distance(value, fitted.eval(at)) < 1e-12, "{at:?}");
    let mut slopes = Matrix3::zeros();
    for input in 0..3 {
        let (mut low, mut high) = (at, at);
        low[input] -= step;
        high[input] += step;
        let (low, high) = (fitted.eval(low), fitted.eval(high));
        for output in 0..3 {
            slopes[(output, input)] = (high[output] - low[output]) / (2.0 * step);
        }
    }
    (jacobian - slopes).amax() / (1.0 + slopes.amax())
}

/// Turns, scales and shifts.
pub fn moved(sites: &[[f64; 3]]) -> Triples {
    let turn = nalgebra::Rotation3::from_euler_angles(0.3, -0.7, 1.1);
    let place = |s: &[f64; 3]| {
        let v = turn * nalgebra::Vector3::from(*s) * 7.0;
        [v[0] + 3.0, v[1] - 40.0, v[2] + 0.5]
    };
    sites.iter().map(place).collect()
}

/// All but one.
pub fn without(list: &[[f64; 3]], i: usize) -> Triples {
    [&list[..i], &list[i + 1..]].concat()
}

/// The values of many points, computed on a pool of so many threads.
pub fn values_on(threads: usize, fitted: &dyn Interpolant, at: &[[f64; 3]]) -> Triples {
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .unwrap();
    let mut out = vec![[0.0; 3]; at.len()];
    pool.install(|| fitted.eval_into(at, &mut out));
    out
}
