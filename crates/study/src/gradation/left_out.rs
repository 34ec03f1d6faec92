use evenstep_colour::{delta_e_2000, lab_from_xyz};
use evenstep_display::{PanelModel, panel_white};
use evenstep_fit::{FitFailure, FitOptions, model};
use evenstep_readings::{Patch, Readings};
use evenstep_scatter::Scheme;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Parts that readings are left out in, one after the other.
const FOLDS: usize = 5;
/// Seed of the parting: the same for every scheme, so that schemes can be compared.
const SEED: u64 = 1;

/// Mean CIEDE2000 over the readings of a display, each predicted by a model that has not seen it: a fifth is left out
/// five times over. `None` as a scheme lets the fit choose.
///
/// Black and white stay in: without them no base is fitted. White is the display's own.
///
/// # Errors
/// [`FitFailure`] where four fifths of the readings allow no model, or this scheme none.
pub fn left_out_de2000(readings: &Readings, scheme: Option<Scheme>) -> Result<f64, FitFailure> {
    let white = panel_white(readings);
    let corner = |p: &Patch| p.drive == [0.0; 3] || p.drive == [1.0; 3];
    let mut shuffled = readings.patches.clone();
    shuffled.shuffle(&mut ChaCha8Rng::seed_from_u64(SEED));
    let options = FitOptions {
        scheme,
        ..FitOptions::default()
    };
    let (mut sum, mut count) = (0.0, 0_usize);
    for fold in 0..FOLDS {
        let is_out = |i: usize, p: &Patch| i % FOLDS == fold && !corner(p);
        let (mut kept, mut left_out) = (Vec::new(), Vec::new());
        for (i, patch) in shuffled.iter().enumerate() {
            let side = if is_out(i, patch) {
                &mut left_out
            } else {
                &mut kept
            };
            side.push(patch.clone());
        }
        kept.sort_by_key(|p| p.order);
        let fitted = model(&Readings { patches: kept }, &options)?.model;
        for patch in &left_out {
            let [shown, read] =
                [fitted.xyz(patch.drive), patch.xyz()].map(|xyz| lab_from_xyz(xyz, white));
            sum += delta_e_2000(shown, read);
        }
        count += left_out.len();
    }
    Ok(sum / count.max(1) as f64)
}
