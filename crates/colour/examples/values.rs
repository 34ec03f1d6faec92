//! Prints colour values of a table of numbers, for comparison with other programs.
//!
//! Usage: `values FUNCTION FILE`. FILE is a CSV with a header line and as many columns as FUNCTION takes; one line of
//! results with 17 significant digits is printed for each row.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;

use evenstep_colour::{
    Bt1886, Hlg, Itp, Lab, Xyz, delta_e_2000, delta_e_itp, gsdf_index, gsdf_luminance,
    ictcp_from_xyz, lab_from_xyz, pq_eotf, pq_inverse_eotf,
};

/// The results of one row.
fn values(function: &str, row: &[f64]) -> Result<Vec<f64>, Box<dyn Error>> {
    let results = match (function, row) {
        ("delta-e-2000", &[l1, a1, b1, l2, a2, b2]) => {
            vec![delta_e_2000(Lab::new(l1, a1, b1), Lab::new(l2, a2, b2))]
        }
        ("lab", &[x, y, z, white_x, white_y, white_z]) => {
            let white = Xyz::new(white_x, white_y, white_z);
            let Lab { l, a, b } = lab_from_xyz(Xyz::new(x, y, z), white);
            vec![l, a, b]
        }
        ("ictcp", &[x, y, z]) => {
            let colour = ictcp_from_xyz(Xyz::new(x, y, z));
            vec![colour.i, colour.ct, colour.cp]
        }
        ("delta-e-itp", &[i1, t1, p1, i2, t2, p2]) => {
            let itp = |i, t, p| Itp { i, t, p };
            vec![delta_e_itp(itp(i1, t1, p1), itp(i2, t2, p2))]
        }
        ("pq-eotf", &[signal]) => vec![pq_eotf(signal)],
        ("pq-inverse-eotf", &[cd_m2]) => vec![pq_inverse_eotf(cd_m2)],
        ("hlg-eotf", &[r, g, b, white, black]) => Hlg::new(white, black).eotf([r, g, b]).to_vec(),
        ("bt1886-eotf", &[signal, white, black]) => vec![Bt1886::new(white, black).eotf(signal)],
        ("gsdf", &[index]) => vec![gsdf_luminance(index)],
        ("gsdf-index", &[cd_m2]) => vec![gsdf_index(cd_m2).unwrap_or(f64::NAN)],
        _ => return Err(format!("no function {function:?} of {} numbers", row.len()).into()),
    };
    Ok(results)
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [function, path] = arguments.as_slice() else {
        return Err("usage: values FUNCTION FILE".into());
    };
    for row in csv::Reader::from_path(path)?.deserialize() {
        let row: Vec<f64> = row?;
        let printed: Vec<String> = values(function, &row)?
            .iter()
            .map(|v| format!("{v:.16e}"))
            .collect();
        println!("{}", printed.join(","));
    }
    Ok(())
}
