//! The schemes on the Delaunay triangulation: exactness, edges, order of the sites, leaving out.

use std::time::{Duration, Instant};

use evenstep_scatter::{FitError, Interpolant, LeaveOneOut, Scheme, Sites};
use nalgebra::{Matrix3, Rotation3, Vector3};
use proptest::prelude::*;

type Triples = Vec<[f64; 3]>;

/// Rounding of weights that add up to the place, on values up to some units.
const EXACT: f64 = 1e-12;

/// The cell of a point 1e-3 or more from the hull reaches up to 1e4 times the spacing of the sites, and its corners carry
/// the rounding of that length.
const NEAR_HULL: f64 = 1e-10;

const SCHEMES: [Scheme; 2] = [Scheme::DelaunayLinear, Scheme::NaturalNeighbour];

fn spread(count: u32) -> Triples {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    (1..=count)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect()
}

/// Without structure: the sequence of `spread` has parallelograms, which are ties of the triangulation.
fn scattered(count: usize) -> Triples {
    let mut state = 7_u64;
    let mut next = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count).map(|_| [next(), next(), next()]).collect()
}

fn lattice(size: u32) -> Triples {
    let at = |i: u32| f64::from(i) / f64::from(size - 1);
    (0..size * size * size)
        .map(|i| [at(i / size / size), at(i / size % size), at(i % size)])
        .collect()
}

/// 101 patches as they are measured: ramps of neutral, R, G and B, secondaries, few inside.
fn patches() -> Triples {
    let ramp = |steps: u32, mask: [f64; 3]| {
        (1..=steps).map(move |i| mask.map(|m| m * f64::from(i) / f64::from(steps)))
    };
    let mut sites: Triples = vec![[0.0; 3]];
    sites.extend(ramp(20, [1.0; 3]));
    for mask in [
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0],
        [1.0, 1.0, 0.0],
        [1.0, 0.0, 1.0],
        [0.0, 1.0, 1.0],
    ] {
        sites.extend(ramp(9, mask));
    }
    sites.extend(spread(26));
    sites
}

fn linear([x, y, z]: [f64; 3]) -> [f64; 3] {
    [x + 2.0 * y - z, 0.5 * y - 1.0, z - x]
}

fn smooth([x, y, z]: [f64; 3]) -> [f64; 3] {
    [(3.0 * x).sin() + y, y * z + x * x, (x - z).exp()]
}

fn values(sites: &[[f64; 3]]) -> Triples {
    sites.iter().map(|at| smooth(*at)).collect()
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
}

fn fit(scheme: Scheme, sites: &[[f64; 3]], values: &[[f64; 3]]) -> Box<dyn Interpolant> {
    scheme.fit(Sites::new(sites, values), 0.0).unwrap()
}

fn left_out(scheme: Scheme, sites: &[[f64; 3]], values: &[[f64; 3]]) -> LeaveOneOut {
    let data = Sites::new(sites, values);
    scheme.leave_one_out(data, &[0.0]).unwrap().remove(0)
}

/// Within the hull, on every kind of set: scattered, exact ties, ramps.
#[test]
fn linear_maps_are_exact_inside() {
    for sites in [lattice(2), lattice(7), patches()] {
        let values: Triples = sites.iter().map(|s| linear(*s)).collect();
        for scheme in SCHEMES {
            let fitted = fit(scheme, &sites, &values);
            let neutral = (0..=64).map(|i| [f64::from(i) / 64.0; 3]);
            for at in spread(300).into_iter().chain(neutral).chain(lattice(5)) {
                let (got, slope) = fitted.eval_with_gradient(at);
                let off = distance(got, linear(at));
                assert!(off < NEAR_HULL, "{scheme}, {at:?}: off by {off:e}");
                // At a site the slope is that of some direction only.
                if scheme == Scheme::DelaunayLinear {
                    let expected = Matrix3::new(1.0, 2.0, -1.0, 0.0, 0.5, 0.0, -1.0, 0.0, 1.0);
                    let off = (slope - expected).abs().max();
                    assert!(off < 1e3 * EXACT, "{scheme}, {at:?}: slope off by {off:e}");
                }
            }
        }
    }
}

/// A turned lattice: rounding takes the place of the ties and leaves cells and facets as thin as itself.
#[test]
fn linear_maps_are_exact_where_cells_are_thin() {
    let turn = Rotation3::from_euler_angles(0.3, -0.7, 1.1);
    let turned = |p: &[f64; 3]| -> [f64; 3] { (turn * Vector3::from(*p)).into() };
    let sites: Triples = lattice(5).iter().map(turned).collect();
    let values: Triples = sites.iter().map(|s| linear(*s)).collect();
    for scheme in SCHEMES {
        let fitted = fit(scheme, &sites, &values);
        // Every second point of this lattice is on a plane, edge or corner of that one.
        for at in lattice(9).iter().chain(&spread(100)).map(turned) {
            let off = distance(fitted.eval(at), linear(at));
            assert!(off < NEAR_HULL, "{scheme}, {at:?}: off by {off:e}");
        }
    }
}

/// A point outside has the value at the closest point of the hull, here of a cube.
#[test]
fn outside_the_closest_point_of_the_hull_counts() {
    let sites = lattice(4);
    let values = values(&sites);
    for scheme in SCHEMES {
        let fitted = fit(scheme, &sites, &values);
        for at in spread(200) {
            let out = at.map(|v| 3.0 * v - 1.0);
            let foot = out.map(|v| v.clamp(0.0, 1.0));
            let off = distance(fitted.eval(out), fitted.eval(foot));
            assert!(off < EXACT, "{scheme}, {out:?}: off by {off:e}");
            let slope = fitted.eval_with_gradient(out).1;
            for input in (0..3).filter(|i| out[*i] != foot[*i]) {
                assert!(slope.column(input).abs().max() < EXACT, "{out:?}: {slope}");
            }
        }
        // Across the hull and its edges nothing jumps.
        for on in [[0.0, 0.4, 0.7], [1.0, 1.0, 0.55], [0.0, 1.0, 0.0]] {
            let out = on.map(|v| v + 1e-6 * (v - 0.5));
            let inside = on.map(|v| v - 1e-6 * (v - 0.5));
            let (out, here, inside) = (fitted.eval(out), fitted.eval(on), fitted.eval(inside));
            // Slopes up to 3 over 1e-6.
            assert!(
                distance(out, here) < 1e-5,
                "{scheme}, {on:?}: {out:?} {here:?}"
            );
            assert!(
                distance(inside, here) < 1e-5,
                "{scheme}, {on:?}: {inside:?} {here:?}"
            );
        }
    }
}

/// Not one bit, on scattered sites and where ties abound.
#[test]
fn the_order_of_the_sites_does_not_change_a_bit() {
    let mut doubled = patches();
    doubled.extend(spread(9));
    for sites in [lattice(5), patches(), doubled, spread(60)] {
        let mut observed = values(&sites);
        let last = observed.len() - 1;
        observed[last][0] += 0.01; // coincident sites that contradict each other, if there are any
        let n = sites.len();
        let order: Vec<usize> = (0..n).rev().map(|i| (i + n / 3) % n).collect();
        let pick = |from: &[[f64; 3]]| order.iter().map(|i| from[*i]).collect::<Triples>();
        let (turned_sites, turned_values) = (pick(&sites), pick(&observed));
        for scheme in SCHEMES {
            let fitted = fit(scheme, &sites, &observed);
            let turned = fit(scheme, &turned_sites, &turned_values);
            for at in spread(100).into_iter().chain(lattice(4)) {
                let at = at.map(|v| 1.2 * v - 0.1);
                let (one, other) = (fitted.eval_with_gradient(at), turned.eval_with_gradient(at));
                assert_eq!(one, other, "{scheme}, {at:?}");
                assert_eq!(fitted.eval(at), turned.eval(at), "{scheme}, {at:?}");
            }
        }
    }
}

/// Points are answered alike alone, one after another and by two threads.
#[test]
fn threads_and_history_do_not_change_a_bit() {
    let sites = patches();
    let observed = values(&sites);
    let points: Triples = spread(300)
        .iter()
        .map(|p| p.map(|v| 1.2 * v - 0.1))
        .collect();
    for scheme in SCHEMES {
        let fitted = fit(scheme, &sites, &observed);
        let alone: Triples = points.iter().rev().map(|at| fitted.eval(*at)).collect();
        for threads in [1, 2] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
            let mut out = vec![[0.0; 3]; points.len()];
            pool.unwrap()
                .install(|| fitted.eval_into(&points, &mut out));
            out.reverse();
            assert!(out == alone, "{scheme}, {threads} threads");
        }
    }
}

/// Coincident sites count as one with the mean of their values.
#[test]
fn coincident_sites_are_averaged() {
    let mut sites = spread(30);
    let mut observed = values(&sites);
    sites.extend([sites[4]; 3]);
    observed.extend([1.0, 2.0, 6.0].map(|v| [v; 3]));
    let mean: [f64; 3] = std::array::from_fn(|k| (observed[4][k] + 9.0) / 4.0);
    for scheme in SCHEMES {
        let fitted = fit(scheme, &sites, &observed);
        assert!(distance(fitted.eval(sites[4]), mean) < EXACT, "{scheme}");
        let residual = left_out(scheme, &sites, &observed).residual;
        let expected = std::array::from_fn(|k| observed[4][k] - 3.0);
        assert!(distance(residual[4], expected) < EXACT, "{scheme}");
    }
}

/// Two sites close to each other are told apart; between others nothing leaves the range of values.
#[test]
fn nearly_coincident_sites_stay_in_range() {
    for gap in [1e-6, 1e-9, 1e-12, 1e-15] {
        let mut sites = spread(40);
        sites.push(sites[7]);
        sites[40][1] += gap;
        let mut observed = values(&sites);
        observed[40] = observed[7].map(|v| v + 1e-3);
        for scheme in SCHEMES {
            let fitted = fit(scheme, &sites, &observed);
            for i in [7, 40] {
                let off = distance(fitted.eval(sites[i]), observed[i]);
                assert!(off < EXACT, "{scheme}, gap {gap:e}: off by {off:e}");
            }
            for at in spread(500)
                .into_iter()
                .chain(sites.iter().map(|s| s.map(|v| v + 1e-10)))
            {
                let got = fitted.eval(at);
                for k in 0..3 {
                    let low = observed.iter().map(|v| v[k]).fold(f64::INFINITY, f64::min);
                    let high = observed.iter().map(|v| v[k]).fold(f64::MIN, f64::max);
                    let within = low - EXACT..=high + EXACT;
                    assert!(
                        within.contains(&got[k]),
                        "{scheme}, gap {gap:e}, {at:?}: {got:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn flat_sets_are_refused() {
    let point = vec![[0.2, 0.3, 0.4]; 6];
    let line: Triples = spread(20).iter().map(|[x, _, _]| [*x; 3]).collect();
    let plane: Triples = spread(20).iter().map(|[x, y, _]| [*x, *y, *y]).collect();
    let zero = vec![[0.0; 3]; 5];
    for sites in [point, line, plane, zero] {
        for scheme in SCHEMES {
            let values = values(&sites);
            let refused = scheme.fit(Sites::new(&sites, &values), 0.0).err();
            assert_eq!(
                refused,
                Some(FitError::Degenerate { degree: 1 }),
                "{scheme}"
            );
            let refused = scheme.leave_one_out(Sites::new(&sites, &values), &[0.0]);
            assert_eq!(refused, Err(FitError::Degenerate { degree: 1 }), "{scheme}");
        }
    }
}

#[test]
fn a_site_that_alone_spans_the_space_is_named() {
    let mut sites: Triples = spread(20).iter().map(|[x, y, _]| [*x, *y, 0.0]).collect();
    sites[7][2] = 1.0;
    let values = values(&sites);
    for scheme in SCHEMES {
        let loo = scheme.leave_one_out(Sites::new(&sites, &values), &[0.0]);
        assert_eq!(loo, Err(FitError::Indispensable { site: 7 }), "{scheme}");
    }
}

/// Coordinates of any size are scaled; a query out of all proportion is answered with not-a-number.
#[test]
fn extreme_coordinates_do_not_panic() {
    for scheme in SCHEMES {
        let observed = values(&spread(40));
        let at = [0.4, 0.5, 0.6];
        let expected = fit(scheme, &spread(40), &observed).eval(at);
        for size in [
            2_f64.powi(-900),
            2_f64.powi(-60),
            2_f64.powi(60),
            2_f64.powi(1000),
        ] {
            let sites: Triples = spread(40).iter().map(|s| s.map(|v| v * size)).collect();
            let fitted = fit(scheme, &sites, &observed);
            assert_eq!(fitted.eval(at.map(|v| v * size)), expected, "{size:e}");
        }
        let mixed: Triples = (spread(40).iter().enumerate())
            .map(|(i, s)| s.map(|v| v * 10_f64.powi(-8 * (i as i32))))
            .collect();
        if let Ok(fitted) = scheme.fit(Sites::new(&mixed, &observed), 0.0) {
            assert!(fitted.eval([1e-20, 1e-30, 1e-40])[0].is_finite());
        }
        let fitted = fit(scheme, &spread(40), &observed);
        assert!(fitted.eval([1e20, 0.0, 0.0])[0].is_finite());
        for bad in [f64::NAN, f64::INFINITY, 1e200, -f64::MAX] {
            let (got, slope) = fitted.eval_with_gradient([0.5, bad, 0.5]);
            assert!(
                got.iter().chain(slope.iter()).all(|v| v.is_nan()),
                "{bad}: {got:?}"
            );
        }
    }
}

/// Leaving out by way of the neighbours equals a refit of all others.
#[test]
fn leaving_out_equals_refits() {
    let tip = [lattice(3), vec![[0.5, 0.5, 1.5]]].concat();
    for sites in [spread(60), lattice(4), patches(), tip] {
        let observed = values(&sites);
        for scheme in SCHEMES {
            let residual = left_out(scheme, &sites, &observed).residual;
            for i in 0..sites.len() {
                let without = |list: &[[f64; 3]]| [&list[..i], &list[i + 1..]].concat();
                let refit = fit(scheme, &without(&sites), &without(&observed));
                let predicted = refit.eval(sites[i]);
                let expected = std::array::from_fn(|k| observed[i][k] - predicted[k]);
                let off = distance(residual[i], expected);
                assert!(off < NEAR_HULL, "{scheme}, site {i}: off by {off:e}");
            }
        }
    }
}

/// The limit asked for, on the lattice whose ties are the slowest case.
#[test]
fn leaving_out_343_sites_is_quick() {
    let sites = lattice(7);
    let observed = values(&sites);
    for scheme in SCHEMES {
        let start = Instant::now();
        left_out(scheme, &sites, &observed);
        let took = start.elapsed();
        assert!(took < Duration::from_secs(2), "{scheme}: {took:?}");
    }
}

/// Volume of {y: aᵢ · y ≤ bᵢ}, no two of which bound the same face: V = Σ bᵢ Vᵢ / (n |aᵢₖ|), with Vᵢ the volume of
/// face i in the other coordinates than k.
///
/// # Source
/// Lasserre (1983), An analytical expression and an algorithm for the volume of a convex polyhedron in Rⁿ (from memory).
fn volume(planes: &[(Vec<f64>, f64)]) -> f64 {
    let n = planes[0].0.len();
    if n == 1 {
        let bound = |sign: f64| {
            let own = planes.iter().filter(move |(a, _)| a[0] * sign > 0.0);
            own.map(move |(a, b)| b / a[0] * sign)
                .fold(f64::INFINITY, f64::min)
        };
        return (bound(1.0) + bound(-1.0)).max(0.0);
    }
    let part = |i: usize| {
        let (a, b) = &planes[i];
        let k = (0..n)
            .max_by(|j, k| a[*j].abs().total_cmp(&a[*k].abs()))
            .unwrap();
        let others = planes.iter().enumerate().filter(|(j, _)| *j != i);
        let reduced: Vec<(Vec<f64>, f64)> = others
            .map(|(_, (c, d))| {
                let part = c[k] / a[k];
                let rest = (0..n).filter(|j| *j != k).map(|j| c[j] - part * a[j]);
                (rest.collect(), d - part * b)
            })
            .collect();
        b / a[k].abs() * volume(&reduced)
    };
    (0..planes.len()).map(part).sum::<f64>() / n as f64
}

/// Sibson's coordinates by definition: the part of each Voronoi cell that is closer to the place than to its site.
fn stolen(sites: &[[f64; 3]], at: [f64; 3]) -> Vec<f64> {
    let closer = |a: [f64; 3], b: [f64; 3]| -> (Vec<f64>, f64) {
        let normal = (0..3).map(|c| b[c] - a[c]).collect();
        let offset = (0..3)
            .map(|c| (b[c] - a[c]) * ((b[c] + a[c]) / 2.0 - at[c]))
            .sum();
        (normal, offset)
    };
    let part = |i: usize| {
        let others = (0..sites.len()).filter(|j| *j != i);
        let cell = others.map(|j| closer(sites[i], sites[j]));
        volume(&cell.chain([closer(at, sites[i])]).collect::<Vec<_>>())
    };
    let parts: Vec<f64> = (0..sites.len()).map(part).collect();
    let whole: f64 = parts.iter().sum();
    parts.iter().map(|p| p / whole).collect()
}

/// By values of 1 at one site and 0 at the others the map gives its weights.
fn weights(sites: &[[f64; 3]], at: [f64; 3]) -> Vec<f64> {
    let one = |i: usize| {
        let values: Triples = (0..sites.len())
            .map(|j| [f64::from(u8::from(i == j)); 3])
            .collect();
        fit(Scheme::NaturalNeighbour, sites, &values).eval(at)[0]
    };
    (0..sites.len()).map(one).collect()
}

#[test]
fn natural_neighbour_weights_are_the_volumes_taken() {
    let mut sites = scattered(10);
    sites.extend(lattice(2).iter().map(|p| p.map(|v| 1.3 * v - 0.15)));
    for (i, site) in sites.iter_mut().enumerate() {
        // So that no two bisectors are parallel, which the recursion cannot tell from one face.
        site[i % 3] += 0.01 * (i as f64).sin();
    }
    for at in spread(12) {
        let (got, expected) = (weights(&sites, at), stolen(&sites, at));
        for (got, expected) in got.iter().zip(&expected) {
            // Rounding of about 10⁴ terms of the recursion.
            assert!((got - expected).abs() < 1e-10, "{at:?}: {got} {expected}");
        }
    }
}

/// By symmetry; every corner of the middle cell ties on one sphere.
#[test]
fn the_centre_of_a_cell_of_a_lattice_takes_an_eighth_of_each_corner() {
    let sites = lattice(4);
    let weights = weights(&sites, [0.5; 3]);
    for (site, weight) in sites.iter().zip(weights) {
        let corner = site.iter().all(|v| (v - 0.5).abs() < 0.2);
        assert!(
            (weight - if corner { 0.125 } else { 0.0 }).abs() < EXACT,
            "{site:?}: {weight}"
        );
    }
}

/// On the hull the slope is that of the inner side; at a site the mean of both sides.
#[test]
fn slopes_of_natural_neighbours_on_the_hull_and_at_sites() {
    const STEP: f64 = 1e-5;
    let sites = lattice(4);
    let fitted = fit(Scheme::NaturalNeighbour, &sites, &values(&sites));
    // Steps of 1e-5 times curvatures up to about 30 on the inner side.
    let close = |slope: f64, expected: f64| (slope - expected).abs() < 1e-3;
    for (at, inward) in [([0.0, 0.4, 0.7], 1.0), ([1.0, 0.45, 0.2], -1.0)] {
        let (here, slope) = fitted.eval_with_gradient(at);
        let mut inside = at;
        inside[0] += inward * STEP;
        let inside = fitted.eval(inside);
        for k in 0..3 {
            let expected = (inside[k] - here[k]) / (inward * STEP);
            assert!(close(slope[(k, 0)], expected), "{at:?}: {slope} {expected}");
        }
    }
    let site = sites[21];
    let (value, slope) = fitted.eval_with_gradient(site);
    assert!(distance(value, smooth(site)) < EXACT);
    for input in 0..3 {
        let (mut low, mut high) = (site, site);
        low[input] -= STEP;
        high[input] += STEP;
        let (low, high) = (fitted.eval(low), fitted.eval(high));
        for k in 0..3 {
            let expected = (high[k] - low[k]) / (2.0 * STEP);
            assert!(close(slope[(k, input)], expected), "{slope} {expected}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Coarse lattices with coincident and nearly coincident sites, shifted by rounding or a little more: no panic, values
    /// in range, and linear maps exact to the shift that makes cells flat.
    #[test]
    fn nearly_degenerate_sites_are_interpolated(cells in prop::collection::vec(prop::array::uniform3(0_u8..4), 8..40),
                                                shifts in prop::collection::vec(prop::array::uniform3(0_usize..5), 40),
                                                at in prop::array::uniform3(-0.2_f64..1.2)) {
        let size = [0.0, 0.0, 1e-16, 1e-12, 1e-9];
        let sites: Triples = cells.iter().zip(&shifts)
            .map(|(cell, shift)| std::array::from_fn(|c| f64::from(cell[c]) / 3.0 + size[shift[c]]))
            .collect();
        let map: Triples = sites.iter().map(|s| linear(*s)).collect();
        let observed = values(&sites);
        for scheme in SCHEMES {
            let Ok(fitted) = scheme.fit(Sites::new(&sites, &map), 0.0) else { continue };
            let identity = fit(scheme, &sites, &sites);
            let curved = fit(scheme, &sites, &observed);
            for at in sites.iter().copied().take(8).chain([at, at.map(|v| (v * 6.0).round() / 6.0)]) {
                // Outside, the place counted is the one the map of places gives.
                let off = distance(fitted.eval(at), linear(identity.eval(at)));
                prop_assert!(off < NEAR_HULL, "{scheme}, {at:?}: off by {off:e}");
                let (got, _) = curved.eval_with_gradient(at);
                let low = observed.iter().map(|v| v[2]).fold(f64::INFINITY, f64::min);
                let high = observed.iter().map(|v| v[2]).fold(f64::MIN, f64::max);
                prop_assert!(got[2] >= low - 1e-6 && got[2] <= high + 1e-6, "{scheme}, {at:?}: {got:?}");
            }
            let _ = scheme.leave_one_out(Sites::new(&sites, &observed), &[0.0]);
        }
    }

    /// Translation, uniform scaling and rotation of sites and point together change nothing where no
    /// sites tie; ties are broken by position, and so is what rounding makes of them.
    #[test]
    fn similar_sites_give_the_same_map(angles in prop::array::uniform3(-3.0_f64..3.0), size in 0.01..100.0,
                                       shift in prop::array::uniform3(-5.0..5.0)) {
        let turn = Rotation3::from_euler_angles(angles[0], angles[1], angles[2]);
        let moved = |p: &[f64; 3]| -> [f64; 3] {
            let p: Vector3<f64> = turn * Vector3::new(p[0], p[1], p[2]) * size;
            std::array::from_fn(|c| p[c] + shift[c])
        };
        let sites = scattered(60);
        let observed = values(&sites);
        let turned: Triples = sites.iter().map(moved).collect();
        for scheme in SCHEMES {
            let (one, other) = (fit(scheme, &sites, &observed), fit(scheme, &turned, &observed));
            for at in spread(40).iter().map(|p| p.map(|v| 1.4 * v - 0.2)) {
                // Moving rounds coordinates up to 200 times the size of the set: 1e-16 times 200 times
                // slopes up to some tens; and thin cells near the hull.
                let off = distance(one.eval(at), other.eval(moved(&at)));
                prop_assert!(off < 1e-9, "{scheme}, {at:?}: off by {off:e}");
            }
        }
    }
}
