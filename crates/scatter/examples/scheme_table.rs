//! Predicts a table of queries from a table of sites, for comparison with other programs.
//!
//! Usage: `scheme_table FILE SCHEME SMOOTHING`. FILE is a CSV with the header `kind,x,y,z,a,b,c` and
//! two kinds of rows: `site` with three values, and `query` whose last three fields are ignored.
//! Prints one line `a,b,c` with 17 significant digits for each query, followed by three standard errors where the scheme
//! has them.
#![expect(clippy::print_stdout, reason = "an example prints its result")]

use std::error::Error;

use evenstep_scatter::{Scheme, Sites};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [path, scheme, smoothing] = arguments.as_slice() else {
        return Err("usage: scheme_table FILE SCHEME SMOOTHING".into());
    };
    let scheme: Scheme = scheme.parse()?;

    let (mut sites, mut values, mut queries) = (Vec::new(), Vec::new(), Vec::new());
    for row in csv::Reader::from_path(path)?.deserialize() {
        let (kind, x, y, z, a, b, c): (String, f64, f64, f64, f64, f64, f64) = row?;
        match kind.as_str() {
            "site" => {
                sites.push([x, y, z]);
                values.push([a, b, c]);
            }
            "query" => queries.push([x, y, z]),
            other => return Err(format!("unknown kind of row {other:?}; use site or query").into()),
        }
    }

    let fitted = scheme.fit(Sites::new(&sites, &values), smoothing.parse()?)?;
    let mut out = vec![[0.0; 3]; queries.len()];
    fitted.eval_into(&queries, &mut out);
    for (at, value) in queries.iter().zip(out) {
        let error = fitted.standard_error(*at);
        let numbers = value.into_iter().chain(error.into_iter().flatten());
        let line: Vec<String> = numbers.map(|v| format!("{v:.16e}")).collect();
        println!("{}", line.join(","));
    }
    Ok(())
}
