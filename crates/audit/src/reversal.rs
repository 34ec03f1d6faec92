use std::ops::Range;

use crate::light::Light;
use crate::walk::Guide;

/// A step is reversed when luminance falls by more than this share of the rise it should have made, and by
/// more than [`LUMINANCE_FLOOR`] of L_w (method, section 6).
const REVERSED_SHARE: f64 = 1e-6;
const LUMINANCE_FLOOR: f64 = 1e-9;
/// The same two limits for drives, where the rise that should have been is the signal's own.
const DRIVE_FLOOR: f64 = 1e-9;

/// The deepest fall below a luminance shown before.
pub(crate) struct Depth {
    /// ΔE ITP along luminance; 0 without a fall.
    pub(crate) itp: f64,
    /// The code of that luminance and the deepest code after it.
    pub(crate) ends: Option<(usize, usize)>,
}

/// Judged pairs whose luminance falls, by their first code.
pub(crate) fn falling_pairs(
    guide: &Guide,
    part: &Range<usize>,
    light: &Light,
) -> impl Iterator<Item = usize> {
    let limits = guide.target.as_ref().map(|target| {
        (
            &target.light,
            LUMINANCE_FLOOR * target.white.luminance_cd_m2(),
        )
    });
    guide.pairs(part).filter(move |&i| {
        limits.is_some_and(|(ideal, floor)| {
            light.rise(i) < -(REVERSED_SHARE * ideal.rise(i)).max(floor)
        })
    })
}

/// Number of judged pairs whose luminance falls.
pub(crate) fn reversed_steps(guide: &Guide, part: &Range<usize>, light: &Light) -> usize {
    falling_pairs(guide, part, light).count()
}

/// Which channels' drive falls from a code to the next, and which do not rise.
pub(crate) fn drive_falls(guide: &Guide, drive: &[[f64; 3]], i: usize) -> ([bool; 3], [bool; 3]) {
    let step = [0, 1, 2].map(|c| drive[i + 1][c] - drive[i][c]);
    let limit = [0, 1, 2].map(|c| {
        let wanted = guide.signals[i + 1][c] - guide.signals[i][c];
        (REVERSED_SHARE * wanted).max(DRIVE_FLOOR)
    });
    (
        [0, 1, 2].map(|c| step[c] < -limit[c]),
        [0, 1, 2].map(|c| step[c] <= limit[c]),
    )
}

/// Pairs set aside whose luminance falls.
pub(crate) fn reversed_steps_clipped(guide: &Guide, part: &Range<usize>, light: &Light) -> usize {
    let Some(target) = &guide.target else {
        return 0;
    };
    let floor = LUMINANCE_FLOOR * target.white.luminance_cd_m2();
    guide
        .pairs_set_aside(part)
        .filter(|&i| light.rise(i) < -floor)
        .count()
}

/// Reversal depth over the codes that are ends of judged pairs, in one pass: the running maximum is the worst
/// s′ for every s, because PQ rises with luminance.
pub(crate) fn depth(guide: &Guide, part: &Range<usize>, light: &Light) -> Depth {
    let mut deepest = Depth {
        itp: 0.0,
        ends: None,
    };
    let Some(target) = &guide.target else {
        return deepest;
    };
    let floor = LUMINANCE_FLOOR * target.white.luminance_cd_m2();
    let mut highest: Option<usize> = None;
    for i in guide.judged_codes(part) {
        match highest {
            Some(top) if light.luminance(i) < light.luminance(top) => {
                let fall = light.fall_itp(top, i);
                if light.luminance(top) - light.luminance(i) > floor && fall > deepest.itp {
                    deepest = Depth {
                        itp: fall,
                        ends: Some((top, i)),
                    };
                }
            }
            _ => highest = Some(i),
        }
    }
    deepest
}

/// Falls of the drive itself, which need no panel.
pub(crate) struct DriveReversals {
    /// Judged pairs in which a channel that should rise falls.
    pub(crate) pairs: usize,
    /// The same per channel, whether it should rise or not.
    pub(crate) per_channel: [usize; 3],
    /// Largest fall common to all rising channels over a stretch in which no channel rises at all: any panel
    /// that rises with each drive falls there.
    pub(crate) certain_fall: f64,
    /// Ends of that stretch.
    pub(crate) ends: Option<(usize, usize)>,
}

pub(crate) fn drive_reversals(
    guide: &Guide,
    part: &Range<usize>,
    drive: &[[f64; 3]],
) -> DriveReversals {
    let mut found = DriveReversals {
        pairs: 0,
        per_channel: [0; 3],
        certain_fall: 0.0,
        ends: None,
    };
    let mut start: Option<usize> = None;
    let mut before = None;
    for i in guide.pairs(part) {
        let (falls, idle) = drive_falls(guide, drive, i);
        for (count, falls) in found.per_channel.iter_mut().zip(falls) {
            *count += usize::from(falls);
        }
        found.pairs += usize::from((0..3).any(|c| falls[c] && guide.rising[c]));

        let none_rises = idle == [true; 3];
        let adjoins = before == Some(i.wrapping_sub(1));
        start = match start {
            Some(first) if none_rises && adjoins => Some(first),
            _ if none_rises => Some(i),
            _ => None,
        };
        before = Some(i);
        if let Some(first) = start {
            let fall = (0..3)
                .filter(|&c| guide.rising[c])
                .map(|c| drive[first][c] - drive[i + 1][c])
                .fold(f64::INFINITY, f64::min);
            if fall.is_finite() && fall > found.certain_fall + DRIVE_FLOOR {
                (found.certain_fall, found.ends) = (fall, Some((first, i + 1)));
            }
        }
    }
    found
}
