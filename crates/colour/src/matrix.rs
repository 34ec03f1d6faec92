//! 3×3 algebra in `const` context, so that the fixed matrices are derived by the compiler from the
//! published figures: neither copied digits nor a lazy initialisation in the innermost loops.

use nalgebra::Matrix3;

pub(crate) type Rows = [[f64; 3]; 3];

pub(crate) const fn apply(m: &Rows, v: [f64; 3]) -> [f64; 3] {
    let mut out = [0.0; 3];
    let mut i = 0;
    while i < 3 {
        out[i] = m[i][0] * v[0] + m[i][1] * v[1] + m[i][2] * v[2];
        i += 1;
    }
    out
}

pub(crate) const fn product(left: &Rows, right: &Rows) -> Rows {
    let mut out = [[0.0; 3]; 3];
    let mut column = 0;
    while column < 3 {
        let image = apply(left, [right[0][column], right[1][column], right[2][column]]);
        out[0][column] = image[0];
        out[1][column] = image[1];
        out[2][column] = image[2];
        column += 1;
    }
    out
}

/// By cofactors; not finite when the determinant is 0.
pub(crate) const fn inverse(m: &Rows) -> Rows {
    let mut out = [[0.0; 3]; 3];
    let mut row = 0;
    while row < 3 {
        let mut column = 0;
        while column < 3 {
            // Cyclic indices carry the sign of the cofactor.
            let (r1, r2) = ((column + 1) % 3, (column + 2) % 3);
            let (c1, c2) = ((row + 1) % 3, (row + 2) % 3);
            out[row][column] = m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1];
            column += 1;
        }
        row += 1;
    }
    let determinant = m[0][0] * out[0][0] + m[0][1] * out[1][0] + m[0][2] * out[2][0];
    let mut i = 0;
    while i < 9 {
        out[i / 3][i % 3] /= determinant;
        i += 1;
    }
    out
}

pub(crate) const fn matrix3(m: &Rows) -> Matrix3<f64> {
    Matrix3::new(
        m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2],
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::array::uniform3;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-9; // about 30 operations on values up to 1/|determinant| ≤ 1e3

    proptest! {
        /// The inverse undoes the matrix, as the library's own algebra sees it.
        #[test]
        fn inverse_times_matrix_is_the_identity(m in uniform3(uniform3(-1.0_f64..1.0))) {
            prop_assume!(matrix3(&m).determinant().abs() > 1e-3);
            let identity = matrix3(&inverse(&m)) * matrix3(&m);
            prop_assert!((identity - Matrix3::identity()).amax() < ROUNDOFF);
        }

        /// Products and images agree with the library's own algebra.
        #[test]
        fn product_agrees_with_nalgebra(
            a in uniform3(uniform3(-1.0_f64..1.0)),
            b in uniform3(uniform3(-1.0_f64..1.0)),
        ) {
            let expected = matrix3(&a) * matrix3(&b);
            prop_assert!((matrix3(&product(&a, &b)) - expected).amax() < ROUNDOFF);
        }
    }
}
