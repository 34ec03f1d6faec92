use nalgebra::Matrix3;
use rayon::prelude::*;

/// Triples summed by one task: a fixed number, so that sums round alike on any number of threads.
const CHUNK: usize = 4096;

pub(crate) fn dot(a: &[[f64; 3]], b: &[[f64; 3]]) -> f64 {
    let parts: Vec<f64> = a
        .par_chunks(CHUNK)
        .zip(b.par_chunks(CHUNK))
        .map(|(a, b)| {
            let pairs = a.iter().zip(b);
            pairs
                .map(|(a, b)| a[0] * b[0] + a[1] * b[1] + a[2] * b[2])
                .sum()
        })
        .collect();
    parts.iter().sum()
}

/// `a += t · b`.
fn add(a: &mut [[f64; 3]], t: f64, b: &[[f64; 3]]) {
    a.par_chunks_mut(CHUNK)
        .zip(b.par_chunks(CHUNK))
        .for_each(|(a, b)| {
            for (a, b) in a.iter_mut().zip(b) {
                for c in 0..3 {
                    a[c] += t * b[c];
                }
            }
        });
}

/// `b = a + t · b`.
fn add_to(a: &[[f64; 3]], t: f64, b: &mut [[f64; 3]]) {
    b.par_chunks_mut(CHUNK)
        .zip(a.par_chunks(CHUNK))
        .for_each(|(b, a)| {
            for (b, a) in b.iter_mut().zip(a) {
                for c in 0..3 {
                    b[c] = a[c] + t * b[c];
                }
            }
        });
}

fn precondition(blocks: &[Matrix3<f64>], r: &[[f64; 3]]) -> Vec<[f64; 3]> {
    blocks
        .par_iter()
        .zip(r)
        .map(|(m, r)| (m * nalgebra::Vector3::from(*r)).into())
        .collect()
}

/// Solves `A x = b` for a symmetric positive definite A by conjugate gradients from `start`, preconditioned with a block
/// for each triple. Ends when the residual is `tolerance` times that of zero, or after `most` steps; gives the steps.
///
/// # Source
/// Hestenes & Stiefel (1952), "Methods of conjugate gradients for solving linear systems", J. Res. NBS 49(6).
pub(crate) fn solve(
    apply: impl Fn(&[[f64; 3]]) -> Vec<[f64; 3]>,
    blocks: &[Matrix3<f64>],
    b: &[[f64; 3]],
    start: Vec<[f64; 3]>,
    tolerance: f64,
    most: usize,
) -> (Vec<[f64; 3]>, usize) {
    let mut x = start;
    let mut r = b.to_vec();
    add(&mut r, -1.0, &apply(&x));
    let end = tolerance * tolerance * dot(b, &precondition(blocks, b));
    let mut z = precondition(blocks, &r);
    let mut rho = dot(&r, &z);
    let mut p = z.clone();
    for step in 0..most {
        if rho <= end {
            return (x, step);
        }
        let q = apply(&p);
        let alpha = rho / dot(&p, &q);
        add(&mut x, alpha, &p);
        add(&mut r, -alpha, &q);
        z = precondition(blocks, &r);
        let next = dot(&r, &z);
        add_to(&z, next / rho, &mut p);
        rho = next;
    }
    (x, most)
}
