"""A whole fit as one would write it with NumPy and SciPy, for speed.py: readings in, a lattice of drives out.

The same steps as ours in their simplest good form: black, tone curve from the neutral ramp and a matrix as base; a
thin-plate spline of what the base leaves, in the cube root of XYZ; its smoothing by closed-form leave-one-out; bounded
Newton with finite differences, all nodes at once, the solved ones left alone. Left out of it, and so in its favour:
noise, outliers, other kernels and encodings, the reach of the panel, gradation, rounding, checks of the readings.
"""

import colour
import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator, RBFInterpolator
from scipy.spatial.distance import cdist

SMOOTHINGS = (0.0, 1e-4, 1e-3, 1e-2)
ITERATIONS, HALF_WIDTH, SOLVED = 15, 1e-4, 1e-4


def leave_one_out(sites, values, smoothing):
    """Root mean square of the residuals left out, from the inverse of the whole system (Rippa 1999)."""
    n = len(sites)
    distance = cdist(sites, sites)
    with np.errstate(divide="ignore", invalid="ignore"):
        kernel = np.where(distance > 0, distance**2 * np.log(distance), 0.0)
    tail = np.hstack([np.ones((n, 1)), sites])
    system = np.block([[kernel + smoothing * np.eye(n), tail], [tail.T, np.zeros((4, 4))]])
    inverse = np.linalg.inv(system)[:n, :n]
    return np.sqrt((((inverse @ values) / np.diag(inverse)[:, None]) ** 2).mean())


def forward_model(readings):
    """Drive to XYZ, vectorised, and the drive that the base would ask for."""
    table = readings.groupby(["r", "g", "b"], as_index=False)[["X", "Y", "Z"]].mean().to_numpy()
    drive, xyz = table[:, :3], table[:, 3:]
    black = xyz[drive.max(axis=1) == 0][0]
    neutral = (drive == drive[:, :1]).all(axis=1)
    light = np.maximum.accumulate((xyz[neutral, 1] - black[1]) / (xyz[neutral, 1].max() - black[1]))
    tone = PchipInterpolator(drive[neutral, 0], light)
    matrix = np.linalg.lstsq(tone(drive), xyz - black, rcond=None)[0]

    def base(d):
        return np.cbrt(black + tone(d) @ matrix)

    residual = np.cbrt(xyz) - base(drive)
    best = min(SMOOTHINGS, key=lambda s: leave_one_out(drive, residual, s))
    spline = RBFInterpolator(drive, residual, kernel="thin_plate_spline", smoothing=best)
    fine = np.linspace(0, 1, 4096)

    def start(wanted):
        return np.interp((wanted - black) @ np.linalg.inv(matrix), tone(fine), fine)

    return lambda d: base(d) + spline(d), start, black


def fit_lut(path, nodes, peak):
    model, start, black = forward_model(pd.read_csv(path))
    at = np.linspace(0, 1, nodes)
    blue, green, red = np.meshgrid(at, at, at, indexing="ij")
    signal = np.stack([red, green, blue], axis=-1).reshape(-1, 3)
    # BT.1886 above the black, the primaries and white of BT.709.
    light = (colour.models.eotf_BT1886(signal, black[1], peak) - black[1]) / (peak - black[1])
    above = light @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ.T
    target = black * (1 - above[:, 1:2]) + above * peak

    drive, wanted = np.clip(start(target), 0, 1), np.cbrt(target)
    active = np.arange(len(drive))
    for _ in range(ITERATIONS):
        d = drive[active]
        miss = wanted[active] - model(d)
        jacobian = np.empty((len(d), 3, 3))
        for c in range(3):
            moved = d.copy()
            step = np.where(d[:, c] < 0.5, HALF_WIDTH, -HALF_WIDTH)
            moved[:, c] += step
            jacobian[:, :, c] = (model(moved) - (wanted[active] - miss)) / step[:, None]
        normal = np.einsum("nij,nik->njk", jacobian, jacobian) + 1e-9 * np.eye(3)
        change = np.linalg.solve(normal, np.einsum("nij,ni->nj", jacobian, miss)[..., None])[..., 0]
        new = np.clip(d + np.clip(change, -0.1, 0.1), 0, 1)
        drive[active] = new
        active = active[np.abs(new - d).max(axis=1) > SOLVED]
        if not len(active):
            break
    return drive.reshape(nodes, nodes, nodes, 3)
