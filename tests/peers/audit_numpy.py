"""Computes the figures of the audit anew with NumPy and colour-science and compares them, on LUTs drawn anew.

Usage: audit_numpy.py BINARY [SEED]

BINARY is the example `audit_values` of evenstep-audit: an audit in depth, as JSON, on a panel that is a formula. The
formula, the walk along ramps, both interpolations and every figure are written here from docs/methods/audit.md. Ten LUTs
are smooth, ten rough (noise on every node), of 4 to 17 nodes; the seed is printed, and a run is repeated by giving it.
Not computed here are places (nodes, codes, signals), verdict and reasons, the base correction's and the uncorrected figures,
the banding index, curves, `duplicate_planes`, `jump_after_plateau_itp`, `codes_unreachable` and `reversed_steps_clipped` (this
panel reaches all), near black `certain_fall_drive` and roughness, the region skin, and folds by region. For every other figure

    difference = |ours - theirs| / max(1, |theirs|)

must not exceed its tolerance, stated below with its reason. Needs numpy and colour-science.
"""

import itertools
import json
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

warnings.filterwarnings("ignore")  # colour-science speaks of optional packages that are not needed here
import colour  # noqa: E402
from colour.contrast import contrast_sensitivity_function_Barten1999  # noqa: E402

LUTS = 20
WHITE, BLACK = 100.0, 0.05
EXPONENTS = np.array([2.1, 2.2, 2.35])
# Node values and figures of nodes: differences of numbers about 1, times up to 16 squared.
NODES = 1e-10
# Light: PQ near black magnifies rounding up to 1e5 times, and ratios of steps divide by it again.
LIGHT = 1e-7
# CIEDE2000 of neighbours: the root of differences that nearly cancel.
ROUGH = 1e-6
# Barten's peak over frequency is found by golden section on both sides: S is flat to second order there.
BARTEN = 1e-6
# DICOM's formula is inverted here by a table of 200 000 indices, straight between them.
GSDF = 1e-5
COUNT = 0
# Slack of a node that stands at an end of the range: a tenth of a 16-bit code, crates/audit/src/node_figures.rs.
AT_END = 1e-6
ENDS = {
    "neutral": (1, 1, 1), "red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1), "cyan": (0, 1, 1),
    "magenta": (1, 0, 1), "yellow": (1, 1, 0), "skin": (0.90, 0.70, 0.60), "sky": (0.55, 0.75, 0.95),
    "foliage": (0.45, 0.60, 0.25),
}

D65 = np.array([0.3127, 0.3290])
UNIT_WHITE = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
MATRIX = colour.normalised_primary_matrix(np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]]), D65)


def light(drive, exponents):
    xyz = (WHITE * drive**exponents) @ MATRIX.T
    return xyz + BLACK * UNIT_WHITE * (1 - xyz[..., 1:2] / WHITE)


def shown(drive):
    return light(np.clip(drive, 0, 1), EXPONENTS)


def wanted(signal):
    return light(signal, np.full(3, 2.2))


def itp(xyz):
    return colour.XYZ_to_ICtCp(np.maximum(xyz, 0), D65, method="ITU-R BT.2100-2 PQ") * [1, 0.5, 1]


def d_itp(a, b):
    return 720 * np.linalg.norm(a - b, axis=-1)


def pq(y):
    return colour.models.eotf_inverse_ST2084(np.maximum(y, 0))


def lab(xyz):
    return colour.XYZ_to_Lab(xyz / WHITE, D65)


def d_2000(a, b):
    return colour.delta_E(a, b, method="CIE 2000")


def located(lut, at):
    last = lut.shape[0] - 1
    position = np.clip(at, 0, 1) * last
    cell = np.minimum(position.astype(int), last - 1)
    return cell, position - cell


def tetrahedral(lut, at, bits=None):
    """lut[b, g, r]; from the low corner along the axes in falling order of the fraction."""
    cell, fraction = located(lut, at)
    if bits:
        fraction = np.floor(fraction * 2**bits + 0.5) / 2**bits
    order = np.argsort(-fraction, axis=1, kind="stable")
    sorted_fraction = np.take_along_axis(fraction, order, 1)
    corner = cell.copy()
    value = lambda c: lut[c[:, 2], c[:, 1], c[:, 0]]
    out = value(corner) * (1 - sorted_fraction[:, :1])
    rows = np.arange(len(at))
    for k in range(3):
        corner[rows, order[:, k]] += 1
        weight = sorted_fraction[:, k] - (sorted_fraction[:, k + 1] if k < 2 else 0)
        out = out + value(corner) * weight[:, None]
    return out


def trilinear(lut, at):
    cell, fraction = located(lut, at)
    out = 0
    for corner in itertools.product((0, 1), repeat=3):
        weight = np.prod(np.where(corner, fraction, 1 - fraction), axis=1)
        c = cell + corner
        out = out + weight[:, None] * lut[c[:, 2], c[:, 1], c[:, 0]]
    return out


def moving_mean(values, half):
    out = np.empty_like(values)
    for i in range(len(values)):
        reach = min(half, i, len(values) - 1 - i)
        out[i] = values[i - reach : i + reach + 1].mean(axis=0)
    return out


def lattice_figures(lut):
    """lut[b, g, r, channel]; own channel along each axis."""
    n = lut.shape[0]
    variances, seconds, locals_ = [], [], []
    for axis in range(3):
        own = np.moveaxis(lut[..., axis], 2 - axis, -1)
        step = np.diff(own, axis=-1) * (n - 1)
        variances.append(step.var())
        for name, value in (("mean", step.mean()), ("min", step.min()), ("max", step.max())):
            yield f"neighbour_steps.{axis}.{name}", value, NODES
        yield f"neighbour_steps.{axis}.worst_line_variance", step.var(axis=-1).max(), NODES
        seconds.append(np.diff(step, axis=-1).ravel() * (n - 1))
        if n >= 6:
            windows = np.lib.stride_tricks.sliding_window_view(step, 5, axis=-1).reshape(-1, 5)
            design = np.column_stack([np.ones(5), np.arange(5)])
            residual = windows.T - design @ np.linalg.lstsq(design, windows.T, rcond=None)[0]
            locals_.append((residual**2).sum(axis=0) / 3)
    yield "step_variance", variances, NODES
    yield "second_difference.rms", [np.sqrt((s**2).mean()) for s in seconds], NODES
    yield "second_difference.p99", [np.percentile(np.abs(s), 99) for s in seconds], NODES
    if locals_:
        all_ = np.concatenate(locals_)
        for name, value in (("mean", all_.mean()), ("p95", np.percentile(all_, 95)), ("max", all_.max())):
            yield f"local_step_variance.{name}", value, NODES
    index = np.stack(np.meshgrid(*[np.arange(n)] * 3, indexing="ij")[::-1], axis=-1)
    low = np.where(index == 0, lut < -AT_END, lut <= AT_END)
    high = np.where(index == n - 1, lut > 1 + AT_END, lut >= 1 - AT_END)
    yield "clipped_low", low.sum(axis=(0, 1, 2)), COUNT
    yield "clipped_high", high.sum(axis=(0, 1, 2)), COUNT
    yield "clipped_nodes", int((low | high).any(axis=-1).sum()), COUNT
    folded = collapsed = 0
    depth = 0.0
    axis = np.arange(n) / (n - 1)
    signals = np.stack(np.meshgrid(axis, axis, axis, indexing="ij")[::-1], axis=-1)
    colours = [720 * itp(xyz) for xyz in (shown(lut), wanted(signals))]
    for path in itertools.permutations(range(3)):
        sign = np.linalg.det(np.eye(3)[list(path)])
        corners, at, seen = [], [0, 0, 0], ([], [])
        for axis in (None, *path):
            if axis is not None:
                at[axis] = 1
            r, g, b = at
            part = slice(b, n - 1 + b), slice(g, n - 1 + g), slice(r, n - 1 + r)
            corners.append(lut[part])
            for kept, colour_of in zip(seen, colours):
                kept.append(colour_of[part])
        edges = np.stack([corners[k + 1] - corners[k] for k in range(3)], axis=-2)
        volume = sign * np.linalg.det(edges) * (n - 1) ** 3
        folded += int((volume < -1e-6).sum())
        collapsed += int((np.abs(volume) <= 1e-6).sum())
        light, ideal = (np.linalg.det(np.stack([c[k] - c[0] for k in (1, 2, 3)], axis=-2)) for c in seen)
        faces = [seen[0][b] - seen[0][a] for a, b in ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3))]
        crosses = [np.cross(faces[i], faces[j]) for i, j in ((0, 1), (0, 2), (1, 2), (3, 4))]
        largest = np.max([np.linalg.norm(c, axis=-1) for c in crosses], axis=0)
        height = np.abs(light) / np.where(largest > 0, largest, 1)
        turned = (volume < -1e-6) & (np.sign(light) != np.sign(ideal))
        depth = max(depth, np.where(turned, height, 0).max())
    yield "fold_depth_itp", depth, LIGHT
    yield "folds.folded", folded, COUNT
    yield "folds.collapsed", collapsed, COUNT
    grid = np.stack(np.meshgrid(*[np.arange(n)] * 3, indexing="ij")[::-1], axis=-1)
    low = (lut < -1e-6) | ((lut <= 1e-6) & (grid > 0))
    high = (lut > 1 + 1e-6) | ((lut >= 1 - 1e-6) & (grid < n - 1))
    yield "clipped_nodes", int((low | high).any(axis=-1).sum()), COUNT
    yield "distance_from_identity.rms", np.sqrt(((lut - grid / (n - 1)) ** 2).mean()), NODES
    yield "distance_from_identity.max", np.abs(lut - grid / (n - 1)).max(), NODES
    yield "min", lut.min(axis=(0, 1, 2)), NODES
    yield "max", lut.max(axis=(0, 1, 2)), NODES


def barten_threshold(y):
    """Peak over frequency by golden section in its logarithm; 60 degrees, square wave convention of BT.2246."""
    low, high = np.full_like(y, np.log(0.01)), np.full_like(y, np.log(100.0))
    diameter = 5 - 3 * np.tanh(0.4 * np.log10(y * 60**2 / 40**2))
    sigma = colour.contrast.sigma_Barten1999(0.5 / 60, 0.08 / 60, diameter)
    troland = np.pi * diameter**2 / 4 * y * (1 - (diameter / 9.7) ** 2 + (diameter / 12.4) ** 4)

    def s(ln_u):
        return contrast_sensitivity_function_Barten1999(
            u=np.exp(ln_u), sigma=sigma, k=3.0, T=0.1, X_0=60, Y_0=60, X_max=12, Y_max=12, N_max=15, n=0.03,
            p=1.2274e6, E=troland, phi_0=3e-8, u_0=7)

    golden = (np.sqrt(5) - 1) / 2
    for _ in range(40):
        left, right = high - golden * (high - low), low + golden * (high - low)
        lower = s(left) < s(right)
        low, high = np.where(lower, left, low), np.where(lower, high, right)
    return 2 / (1.27 * s((low + high) / 2))


GSDF_J = np.linspace(1, 1023, 200_001)


def gsdf_log(j):
    a, b, c, d, e = -1.3011877, -2.5840191e-2, 8.0242636e-2, -1.0320229e-1, 1.3646699e-1
    f, g, h, k, m = 2.8745620e-2, -2.5468404e-2, -3.1978977e-3, 1.2992634e-4, 1.3635334e-3
    x = np.log(j)
    return (a + c * x + e * x**2 + g * x**3 + m * x**4) / (1 + b * x + d * x**2 + f * x**3 + h * x**4 + k * x**5)


GSDF_LOG = gsdf_log(GSDF_J)


def runs(equal):
    longest = run = 0
    for same in equal:
        run = run + 1 if same else 0
        longest = max(longest, run)
    return longest + 1


def walk(end):
    end = np.array(end, float)
    lead = int(np.argmax(end))
    codes = np.arange(round(1023 * end[lead]) + 1)
    t = codes / 1023 / end[lead]
    signal = np.clip(t[:, None] * end, 0, 1)
    signal[:, end == end[lead]] = (codes / 1023)[:, None]
    return codes, signal


def monotone(values):
    """Pool adjacent violators; rising unless the last value is below the first."""
    sign = -1.0 if values[-1] < values[0] else 1.0
    means, counts = [], []
    for value in sign * values:
        mean, count = value, 1
        while means and means[-1] > mean:
            before, size = means.pop(), counts.pop()
            mean, count = (mean * count + before * size) / (count + size), count + size
        means.append(mean)
        counts.append(count)
    return sign * np.repeat(means, counts)


def smooth_curve(drive):
    return np.stack([monotone(channel) for channel in moving_mean(drive, 32).T], axis=1)


def certain_fall(drive, signal, end):
    limit = np.maximum(1e-6 * np.diff(signal, axis=0), 1e-9)
    idle = (np.diff(drive, axis=0) <= limit).all(axis=1)
    rising = np.array(end) > 0
    most, first = 0.0, None
    for i, none_rises in enumerate(idle):
        if not none_rises:
            first = None
            continue
        first = i if first is None else first
        most = max(most, (drive[first] - drive[i + 1])[rising].min())
    return most


def drive_figures(drive, target_xyz):
    """Figures that are asked for unrounded and rounded."""
    xyz = shown(drive)
    y, want_y = xyz[:, 1], target_xyz[:, 1]
    step, ideal = d_itp(itp(xyz)[1:], itp(xyz)[:-1]), d_itp(itp(target_xyz)[1:], itp(target_xyz)[:-1])
    rise = np.diff(y)
    yield "reversed_steps", int((rise < -np.maximum(1e-6 * np.diff(want_y), 1e-9 * WHITE)).sum()), COUNT
    yield "unevenness", np.sqrt(((np.where(rise < 0, -step, step) / ideal - 1) ** 2).mean()), LIGHT
    depth = 720 * (np.maximum.accumulate(pq(y)) - pq(y))
    top = np.maximum.accumulate(y)
    yield "reversal_depth_itp", max(0.0, np.where(top - y > 1e-9 * WHITE, depth, 0).max()), LIGHT
    same = (np.abs(np.diff(drive, axis=0)) <= 1e-9).all(axis=1)
    yield "merged_codes", int(same.sum()), COUNT
    yield "longest_plateau", runs(same), COUNT
    yield "step_itp_max", step.max(), LIGHT
    ends = np.flatnonzero(same[:-1] & ~same[1:]) + 1
    yield "plateau_jump_excess_itp", max(0.0, (step - ideal)[ends].max(initial=0.0)), LIGHT


def bump(points, lag, ends=None):
    """points[i] against those a lag before and after; what lies between the bends of `ends` is taken off first."""
    def bends(of):
        return of[lag:-lag] - (of[: -2 * lag] + of[2 * lag :]) / 2

    if len(points) <= 2 * lag:
        return None
    bend = bends(points)
    if ends is not None:
        start, end = (bends(e) for e in ends)
        line, off = end - start, bend - start
        length = (line**2).sum(axis=1)
        share = np.clip((off * line).sum(axis=1) / np.where(length > 0, length, 1), 0, 1)
        bend = off - share[:, None] * line
    if len(bend) <= 2 * lag:
        return None
    # No bend counts for more than twice what the bends on both its sides go the other way.
    here = bend[lag:-lag]
    length = np.linalg.norm(here, axis=1)
    unit = here / np.where(length > 0, length, 1)[:, None]
    both = np.minimum(*(-2 * (unit * beside).sum(axis=1) for beside in (bend[: -2 * lag], bend[2 * lag :])))
    return np.clip(np.minimum(length, both), 0, None).max()


def ramp_figures(lut, end):
    codes, signal = walk(end)
    drive = np.clip(tetrahedral(lut, signal), 0, 1)
    target_xyz = wanted(signal)
    for figure in drive_figures(drive, target_xyz):
        yield figure
    rounded, smooth = (np.round(d * 4095) / 4095 for d in (drive, smooth_curve(drive)))
    near = (signal <= 0.1 + 1e-12).all(axis=1)
    whole, dark = slice(None), slice(0, near.sum() + 1)  # and the step that leaves it
    for name, value, tolerance in drive_figures(drive[dark], target_xyz[dark]):
        yield f"near_black.{name}", value, tolerance
    for where, part in (("", whole), ("near_black.", dark)):
        for name, value, tolerance in drive_figures(rounded[part], target_xyz[part]):
            yield f"{where}rounded.{name}", value, tolerance
        for name, value, tolerance in drive_figures(smooth[part], target_xyz[part]):
            if name == "merged_codes":
                yield f"{where}rounded.merged_floor", value, tolerance
            elif name != "step_itp_max":
                yield f"{where}rounded.floor.{name}", value, tolerance
    yield "certain_fall_drive", certain_fall(drive, signal, end), NODES
    lag = max(1, int(np.floor((len(codes) - 1) / (lut.shape[0] - 1) + 0.5)))
    # The base correction is the identity.
    seen = [720 * itp(xyz) for xyz in (shown(drive), target_xyz, shown(signal))]
    yield "bump_itp", bump(seen[0], lag, seen[1:]), LIGHT
    yield "bump_drive", bump(drive, lag), NODES
    differs = (np.abs(drive - drive[0]) > 1e-9).any(axis=1)
    yield "first_lit_code", int(codes[np.argmax(differs)]) if differs.any() else None, COUNT
    xyz = shown(drive)
    y = xyz[:, 1]
    mean = (y[1:] + y[:-1]) / 2
    yield "step_barten_max", np.abs(np.diff(y) / mean / barten_threshold(mean)).max(), BARTEN
    on = (y[1:] >= 10 ** gsdf_log(1)) & (y[:-1] >= 10 ** gsdf_log(1)) & (y[1:] >= 0.05) & (y[:-1] >= 0.05)
    index = np.interp(np.log10(np.maximum(y, 1e-9)), GSDF_LOG, GSDF_J)
    yield "step_gsdf_max", np.abs(np.diff(index))[on].max() if on.any() else None, GSDF
    s = np.diff(d_2000(lab(xyz)[1:], lab(xyz)[:-1]))
    yield "roughness_de2000.rms", np.sqrt((s**2).mean()), ROUGH
    yield "roughness_de2000.p95", np.percentile(np.abs(s), 95), ROUGH
    distance = np.linalg.norm(drive - moving_mean(drive, 32), axis=1)
    yield "roughness_drive.rms", np.sqrt((distance**2).mean()), NODES
    yield "roughness_drive.p95", np.percentile(distance, 95), NODES
    fall = (np.diff(drive, axis=0) < -np.maximum(1e-6 * np.diff(signal, axis=0), 1e-9)).sum(axis=0)
    yield "drive_reversals", fall, COUNT


DIRECTIONS = np.array([d for d in itertools.product((-1.0, 0.0, 1.0), repeat=3) if any(d)])
HALF = DIRECTIONS[:13] / np.linalg.norm(DIRECTIONS[:13], axis=1, keepdims=True)


def gains(lut, signals):
    """Per signal the largest gain of drive and of light over pairs that stay in range."""
    drive_gain, light_gain = np.zeros(len(signals)), np.full(len(signals), -np.inf)
    for v in HALF:
        low, high = signals - v / 255, signals + v / 255
        inside = ((low >= 0) & (low <= 1) & (high >= 0) & (high <= 1)).all(axis=1)
        a, b = tetrahedral(lut, low), tetrahedral(lut, high)
        ratio = np.linalg.norm(a - b, axis=1) / np.linalg.norm(low - high, axis=1)
        drive_gain = np.maximum(drive_gain, np.where(inside, ratio, 0))
        want = d_itp(itp(wanted(np.clip(low, 0, 1))), itp(wanted(np.clip(high, 0, 1))))
        have = d_itp(itp(shown(a)), itp(shown(b)))
        counts = inside & (want >= 0.1)
        light_gain = np.maximum(light_gain, np.where(counts, have / np.where(counts, want, 1), -np.inf))
    return drive_gain, light_gain


def whole_figures(lut):
    codes, signal = walk((1, 1, 1))
    drive = np.clip(tetrahedral(lut, signal), 0, 1)
    error = (itp(shown(drive)) - itp(wanted(signal)))[:, 1:]
    wobble = 720 * np.linalg.norm(error - moving_mean(error, 32), axis=1)
    yield "neutral_wobble_itp", wobble.max(), LIGHT
    yield "neutral_wobble_seen_itp", wobble[shown(drive)[:, 1] >= 0.005].max(), LIGHT

    grey = np.repeat((np.arange(256) / 255)[:, None], 3, axis=1)
    _, gain = gains(lut, grey)
    known = np.isfinite(gain)
    for name, part in (("near_black", grey[:, 0] <= 0.1), ("mid", (grey[:, 0] >= 0.25) & (grey[:, 0] <= 0.75))):
        yield f"noise_gain.{name}_p95", np.percentile(gain[part & known], 95), LIGHT
        yield f"noise_gain.{name}_max", gain[part & known].max(), LIGHT

    best = {"de2000": 0.0, "itp": 0.0, "excess": 0.0, "de2000_ideal": 0.0, "itp_ideal": 0.0}
    worst_shown, worst_wanted = np.zeros((1024, 2)), np.zeros((1024, 2))
    for offset in DIRECTIONS:
        other = signal + offset / 1023
        inside = ((other >= 0) & (other <= 1)).all(axis=1)
        other = np.clip(other, 0, 1)
        for worst, a, b in (
            (worst_shown, shown(tetrahedral(lut, signal)), shown(tetrahedral(lut, other))),
            (worst_wanted, wanted(signal), wanted(other)),
        ):
            both = np.column_stack([d_2000(lab(a), lab(b)), d_itp(itp(a), itp(b))])
            np.maximum(worst, np.where(inside[:, None], both, 0), out=worst)
    best["de2000"], best["itp"] = worst_shown.max(axis=0)
    best["de2000_ideal"], best["itp_ideal"] = worst_wanted.max(axis=0)
    yield "neighbours26.de2000_max", best["de2000"], ROUGH
    yield "neighbours26.de2000_ideal_max", best["de2000_ideal"], ROUGH
    yield "neighbours26.itp_max", best["itp"], LIGHT
    yield "neighbours26.itp_ideal_max", best["itp_ideal"], LIGHT
    yield "neighbours26.itp_excess_max", max(0.0, (worst_shown - worst_wanted)[:, 1].max()), LIGHT

    last = lut.shape[0] - 1
    cells = np.stack(np.meshgrid(*[np.arange(last)] * 3), axis=-1).reshape(-1, 3).astype(float)
    middles = np.concatenate([(cells + m) / last for m in itertools.product((0, 0.5, 1), repeat=3) if m.count(0.5) >= 2])
    yield "evaluation_sensitivity.trilinear.drive", np.abs(trilinear(lut, middles) - tetrahedral(lut, middles)).max(), NODES
    steepest = 0.0
    for path in itertools.permutations(range(3)):
        at, total = [0, 0, 0], 0.0
        for axis in path:
            before = lut[at[2] : last + at[2], at[1] : last + at[1], at[0] : last + at[0]]
            at[axis] = 1
            total = total + np.abs(lut[at[2] : last + at[2], at[1] : last + at[1], at[0] : last + at[0]] - before)
        steepest = max(steepest, total.max())
    yield "evaluation_sensitivity.weights.drive", steepest / 2**9, NODES
    seen = [itp(shown(read)) for read in (trilinear(lut, signal), tetrahedral(lut, signal), tetrahedral(lut, signal, 8))]
    neutral_itp = max(d_itp(a, b).max() for a, b in itertools.combinations(seen, 2))
    yield "evaluation_sensitivity.neutral_itp", neutral_itp, LIGHT
    on_ramps = 0.0
    for end in ENDS.values():
        at = walk(end)[1]
        three = [trilinear(lut, at), tetrahedral(lut, at), tetrahedral(lut, at, 8)]
        on_ramps = max([on_ramps, *(np.abs(a - b).max() for a, b in itertools.combinations(three, 2))])
    yield "evaluation_sensitivity.on_ramps", on_ramps, NODES

    level = np.arange(13) / 12
    cube = np.stack(np.meshgrid(level, level, level), axis=-1).reshape(-1, 3)
    spread = cube.max(axis=1) - cube.min(axis=1)
    neutral = np.repeat((np.arange(129) / 128)[:, None], 3, axis=1)
    level = np.arange(6) / 5
    dark = np.stack(np.meshgrid(level, level, level), axis=-1).reshape(-1, 3)
    dark = 0.1 * dark[dark.max(axis=1) - dark.min(axis=1) <= 0.4]
    for name, signals in (
        ("all", cube), ("saturated", cube[spread >= 0.6]), ("neutral", neutral), ("near_black", dark),
    ):  # fmt: skip
        by_drive, by_light = gains(lut, signals)
        by_light = by_light[np.isfinite(by_light)]
        yield f"regions.{name}.drive_gain_p95", np.percentile(by_drive, 95), NODES
        yield f"regions.{name}.drive_gain_max", by_drive.max(), NODES
        yield f"regions.{name}.noise_gain_p95", np.percentile(by_light, 95), LIGHT
        yield f"regions.{name}.noise_gain_max", by_light.max(), LIGHT


def draw(rng, smooth):
    """A correction near a power law with some leak between channels; a rough one has noise on every node."""
    n = int(rng.integers(4, 18))
    axis = np.arange(n) / (n - 1)
    b, g, r = np.meshgrid(axis, axis, axis, indexing="ij")
    signal = np.stack([r, g, b], axis=-1)
    mix = np.eye(3) * 0.9 + rng.uniform(0, 0.04, (3, 3))
    lut = (signal @ mix.T) ** rng.uniform(0.85, 1.2, 3) * rng.uniform(0.9, 0.99)
    if not smooth:
        lut = lut + rng.normal(0, 10 ** rng.uniform(-4, -1.5), lut.shape)
    return np.clip(lut, 0, 1)


def fetch(report, path):
    for part in path.split("."):
        report = report[int(part) if isinstance(report, list) else part]
    return report


def main():
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else time.time_ns() % 2**32
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    worst, failed = {}, 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "one.cube"
        for i in range(LUTS):
            lut = draw(rng, smooth=i < LUTS // 2)
            n = lut.shape[0]
            rows = "\n".join(" ".join(f"{v:.17g}" for v in row) for row in lut.reshape(-1, 3))
            path.write_text(f"LUT_3D_SIZE {n}\n{rows}\n")
            done = subprocess.run([binary, str(path)], capture_output=True, text=True)
            if done.returncode != 0:
                sys.exit(f"{binary}: {done.stderr}")
            report = json.loads(done.stdout)
            figures = [("lattice", f"lattice.{name}", report["lattice"], name, value, tolerance)
                       for name, value, tolerance in lattice_figures(lut)]
            ramps = {ramp["name"]: ramp for ramp in report["ramps"]}
            for ramp, end in ENDS.items():
                figures += [(ramp, name, ramps[ramp], name, value, tolerance)
                            for name, value, tolerance in ramp_figures(lut, end)]
            figures += [("whole", name, report, name, value, tolerance) for name, value, tolerance in whole_figures(lut)]
            for place, label, part, name, theirs, tolerance in figures:
                ours = fetch(part, name)
                if ours is None or theirs is None:
                    difference = 0.0 if ours is theirs else np.inf
                else:
                    ours, theirs = np.asarray(ours, float), np.asarray(theirs, float)
                    difference = float(np.max(np.abs(ours - theirs) / np.maximum(1, np.abs(theirs))))
                # Not "difference > tolerance", which what is no number would pass.
                if not difference <= tolerance:
                    failed += 1
                    print(f"LUT {i}, {place}: {label}: ours {ours}, theirs {theirs}, {difference:.2g} > {tolerance:g}")
                if not difference < worst.get(label, (-1, 0))[0]:
                    worst[label] = (difference, tolerance)
    for label, (difference, tolerance) in worst.items():
        print(f"{label:<44} largest difference {difference:8.1e}, tolerance {tolerance:g}")
    print(f"{len(worst)} figures of {LUTS} LUTs, {failed} differences beyond tolerance")
    if failed:
        sys.exit(1)


if __name__ == "__main__":
    main()
