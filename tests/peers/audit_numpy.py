"""Computes the figures of the audit anew with NumPy and colour-science and compares them, on LUTs drawn anew.

Usage: audit_numpy.py BINARY [SEED]

BINARY is the example `audit_values` of evenstep-audit: an audit in depth, as JSON, on a panel that is a formula. The
formula, the walk along ramps, both interpolations and every figure are written here from docs/methods/audit.md. Ten LUTs
are smooth, ten rough (noise on every node), of 4 to 17 nodes, each fourth with a plane of nodes equal to the one before;
four LUTs more are curves alone. The seed is printed, and a run is repeated by giving it. Of places (nodes, codes) it is
checked that the figure is found there. The panel reaches everything, but for four LUTs a second time as far as `EDGE` says.
Not computed here are verdict and reasons, the list of worst places, the banding index, and figures behind curves before
a lattice. For every other figure

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
CURVES = 4
EDGES = 4
# Told to `audit_values`: what is bluer than red by more than this is out of the panel's reach.
EDGE = 0.6
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


def tetrahedra(lut):
    """Volume of one of the six tetrahedra of every cell, and by how much it is folded in what is shown."""
    n = lut.shape[0]
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
        light, ideal = (np.linalg.det(np.stack([c[k] - c[0] for k in (1, 2, 3)], axis=-2)) for c in seen)
        faces = [seen[0][b] - seen[0][a] for a, b in ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3))]
        crosses = [np.cross(faces[i], faces[j]) for i, j in ((0, 1), (0, 2), (1, 2), (3, 4))]
        most = np.max([np.linalg.norm(c, axis=-1) for c in crosses], axis=0)
        height = np.abs(light) / np.where(most > 0, most, 1)
        turned = (volume < -1e-6) & (np.sign(light) != np.sign(ideal))
        yield volume, np.where(turned, height, 0)


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
    found = list(tetrahedra(lut))
    depth = max(depth.max() for _, depth in found)
    folded = sum(int((volume < -1e-6).sum()) for volume, _ in found)
    collapsed = sum(int((np.abs(volume) <= 1e-6).sum()) for volume, _ in found)
    yield "fold_depth_itp", depth, LIGHT
    yield "folds.folded", folded, COUNT
    yield "folds.collapsed", collapsed, COUNT
    crossed = ramp_cells(lut)
    yield "folds.folded_on_ramps", sum(int(((volume < -1e-6) & crossed).sum()) for volume, _ in found), COUNT
    grid = np.stack(np.meshgrid(*[np.arange(n)] * 3, indexing="ij")[::-1], axis=-1)
    low = (lut < -1e-6) | ((lut <= 1e-6) & (grid > 0))
    high = (lut > 1 + 1e-6) | ((lut >= 1 - 1e-6) & (grid < n - 1))
    yield "clipped_nodes", int((low | high).any(axis=-1).sum()), COUNT
    for axis in range(3):
        planes = np.diff(lut, axis=2 - axis) == 0
        others = tuple(k for k in range(4) if k != 2 - axis)
        yield f"duplicate_planes.{axis}", int(planes.all(axis=others).sum()), COUNT
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
    yield "jump_after_plateau_itp", jump_after_longest(same, step), LIGHT


def jump_after_longest(same, step):
    """The step that ends the first of the longest runs of equal output; None without a run or where the ramp ends with it."""
    best, run = (0, None), 0
    for i, level in enumerate(same):
        run = run + 1 if level else 0
        if run > best[0]:
            best = (run, i)
    return None if best[1] is None or best[1] + 1 >= len(step) else step[best[1] + 1]


def bumps(points, lag, ends=None):
    """points[i] against those a lag before and after; what lies between the bends of `ends` is taken off first. Per code,
    the first of them 2 lags from the ramp's first."""
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
    return np.clip(np.minimum(length, both), 0, None)


def largest(values):
    return None if values is None else values.max()


def references(end):
    """Base correction and no correction at all are both the identity."""
    signal = walk(end)[1]
    near = (signal <= 0.1 + 1e-12).all(axis=1)
    dark = slice(0, near.sum() + 1)
    for name in ("base", "uncorrected"):
        for figure, value, tolerance in drive_figures(signal, wanted(signal)):
            if figure in ("reversal_depth_itp", "unevenness", "longest_plateau"):
                yield f"{name}.{figure}", value, tolerance
        for figure, value, tolerance in drive_figures(signal[dark], wanted(signal[dark])):
            if figure == "unevenness":
                yield f"{name}.near_black_unevenness", value, tolerance
        if end == ENDS["neutral"]:
            yield f"{name}.wobble_seen_itp", wobbles(signal, signal)[shown(signal)[:, 1] >= 0.005].max(), LIGHT


def ramp_figures(read, cells, end):
    """`read` gives the drives of signals; `cells` of a lattice along an axis, None without one."""
    codes, signal = walk(end)
    drive = np.clip(read(signal), 0, 1)
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
            elif name not in ("step_itp_max", "jump_after_plateau_itp"):
                yield f"{where}rounded.floor.{name}", value, tolerance
    lag = max(1, int(np.floor((len(codes) - 1) / cells + 0.5))) if cells else 32
    # The base correction is the identity.
    seen = [720 * itp(xyz) for xyz in (shown(drive), target_xyz, shown(signal))]
    yield "bump_itp", largest(bumps(seen[0], lag, seen[1:])), LIGHT
    yield "bump_drive", largest(bumps(drive, lag)), NODES
    differs = (np.abs(drive - drive[0]) > 1e-9).any(axis=1)
    yield "first_lit_code", int(codes[np.argmax(differs)]) if differs.any() else None, COUNT
    xyz = shown(drive)
    y = xyz[:, 1]
    mean = (y[1:] + y[:-1]) / 2
    yield "step_barten_max", np.abs(np.diff(y) / mean / barten_threshold(mean)).max(), BARTEN
    on = (y[1:] >= 10 ** gsdf_log(1)) & (y[:-1] >= 10 ** gsdf_log(1)) & (y[1:] >= 0.05) & (y[:-1] >= 0.05)
    index = np.interp(np.log10(np.maximum(y, 1e-9)), GSDF_LOG, GSDF_J)
    yield "step_gsdf_max", np.abs(np.diff(index))[on].max() if on.any() else None, GSDF
    distance = np.linalg.norm(drive - moving_mean(drive, 32), axis=1)
    for where, part in (("", whole), ("near_black.", dark)):
        yield f"{where}certain_fall_drive", certain_fall(drive[part], signal[part], end), NODES
        s = np.diff(d_2000(lab(xyz[part])[1:], lab(xyz[part])[:-1]))
        yield f"{where}roughness_de2000.rms", np.sqrt((s**2).mean()), ROUGH
        yield f"{where}roughness_de2000.p95", np.percentile(np.abs(s), 95), ROUGH
        yield f"{where}roughness_drive.rms", np.sqrt((distance[part] ** 2).mean()), NODES
        yield f"{where}roughness_drive.p95", np.percentile(distance[part], 95), NODES
        limit = np.maximum(1e-6 * np.diff(signal[part], axis=0), 1e-9)
        yield f"{where}drive_reversals", (np.diff(drive[part], axis=0) < -limit).sum(axis=0), COUNT


def codes_of(span):
    return span["from_code"], span["to_code"]


def ramp_places(read, cells, end, report):
    """What is found at the codes that the report names: its own figure."""
    codes, signal = walk(end)
    drive = np.clip(read(signal), 0, 1)
    xyz, target_xyz = shown(drive), wanted(signal)
    y = xyz[:, 1]
    step, ideal = (d_itp(itp(c)[1:], itp(c)[:-1]) for c in (xyz, target_xyz))
    lag = max(1, int(np.floor((len(codes) - 1) / cells + 0.5))) if cells else 32
    seen = [720 * itp(c) for c in (xyz, target_xyz, shown(signal))]

    def there(name, figure, value, tolerance):
        span = report.get(name)
        if span is None:
            return (f"{name}", None if not report[figure] or report[figure] == 1 else np.inf, None, COUNT)
        return (f"{name}", report[figure], value(*codes_of(span)), tolerance)

    rising = np.array(end) > 0
    middle = lambda bump: lambda a, b: bump[(a + b) // 2 - 2 * lag]
    yield there("reversal_between", "reversal_depth_itp", lambda a, b: 720 * (pq(y[a]) - pq(y[b])), LIGHT)
    yield there("plateau_between", "longest_plateau", lambda a, b: runs((np.abs(np.diff(drive[a : b + 1], axis=0)) <= 1e-9).all(axis=1)), COUNT)
    yield there("plateau_jump_between", "plateau_jump_excess_itp", lambda a, b: (step - ideal)[a], LIGHT)
    yield there("step_itp_max_between", "step_itp_max", lambda a, b: step[a], LIGHT)
    yield there("certain_fall_between", "certain_fall_drive", lambda a, b: (drive[a] - drive[b])[rising].min(), NODES)
    if report.get("bump_between") is not None:
        yield there("bump_between", "bump_itp", middle(bumps(seen[0], lag, seen[1:])), LIGHT)
        yield there("bump_drive_between", "bump_drive", middle(bumps(drive, lag)), NODES)


def ramp_cells(lut):
    """Whether a named ramp crosses a cell."""
    crossed = np.zeros((lut.shape[0] - 1,) * 3, bool)
    for end in ENDS.values():
        r, g, b = located(lut, walk(end)[1])[0].T
        crossed[b, g, r] = True
    return crossed


def lattice_places(lut, report):
    """The same for nodes."""
    n = lut.shape[0]
    at = lambda node: lut[node[2], node[1], node[0]]
    for axis, steps in enumerate(report["neighbour_steps"]):
        for name in ("min", "max"):
            node = list(steps[f"{name}_node"])
            after = list(node)
            after[axis] += 1
            value = (at(after) - at(node))[axis] * (n - 1)
            yield f"neighbour_steps.{name}_node", steps[name], value, NODES
        line = [slice(k, k + 1) for k in steps["worst_line"]]
        line[axis] = slice(None)
        along = np.diff(lut[line[2], line[1], line[0], axis].ravel()) * (n - 1)
        yield "neighbour_steps.worst_line", steps["worst_line_variance"], along.var(), NODES
    for name, faulty in (("folds.first_cell", report["folds"]["folded"]), ("fold_depth_cell", report["fold_depth_itp"])):
        cell = report["folds"].get("first_cell") if name == "folds.first_cell" else report.get(name)
        if cell is None:
            yield name, faulty, 0, COUNT
            continue
        r, g, b = cell
        volumes, depths = zip(*((v[b, g, r], d[b, g, r]) for v, d in tetrahedra(lut)))
        if name == "fold_depth_cell":
            yield name, faulty, max(depths), LIGHT
        else:
            # Red fastest; on a ramp before all others.
            folded = np.any([v < -1e-6 for v, _ in tetrahedra(lut)], axis=0)
            on_ramps = folded & ramp_cells(lut)
            bad = on_ramps if on_ramps.any() else folded
            first = np.unravel_index(np.argmax(bad), bad.shape)[::-1]
            yield name, cell, first, COUNT


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


def wobbles(signal, drive):
    error = (itp(shown(drive)) - itp(wanted(signal)))[:, 1:]
    return 720 * np.linalg.norm(error - moving_mean(error, 32), axis=1)


def around(lut, signal):
    """Largest CIEDE2000 and ΔE ITP to the 26 signals one code away, of what is shown and of what is wanted."""
    worst_shown, worst_wanted = np.zeros((len(signal), 2)), np.zeros((len(signal), 2))
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
    return worst_shown, worst_wanted


def whole_places(lut, report):
    """What is found at the codes and signals that the report names: its own figure."""
    signal = walk((1, 1, 1))[1]
    wobble = wobbles(signal, np.clip(tetrahedral(lut, signal), 0, 1))
    for name in ("neutral_wobble", "neutral_wobble_seen"):
        yield f"{name}_code", report[f"{name}_itp"], wobble[report[f"{name}_code"]], LIGHT
    near = report["neighbours26"]
    have, want = around(lut, signal)
    yield "neighbours26.de2000_code", near["de2000_max"], have[near["de2000_code"], 0], ROUGH
    yield "neighbours26.itp_code", near["itp_max"], have[near["itp_code"], 1], LIGHT
    if near.get("itp_excess_code") is not None:
        yield "neighbours26.itp_excess_code", near["itp_excess_max"], max(0.0, (have - want)[near["itp_excess_code"], 1]), LIGHT
    for name, region in report["regions"].items():
        there = gains(lut, np.array([region["drive_gain_signal"]]))[0][0]
        yield f"regions.{name}.drive_gain_signal", region["drive_gain_max"], there, NODES


def edge_figures(end):
    """Codes out of reach: their drive is judged by nothing but a count."""
    signal = walk(end)[1]
    return signal, signal[:, 2] - signal[:, 0] <= EDGE


def edge(lut, report):
    for ramp, end in ENDS.items():
        ours = next(r for r in report["ramps"] if r["name"] == ramp)
        signal, reach = edge_figures(end)
        y, want = shown(np.clip(tetrahedral(lut, signal), 0, 1))[:, 1], wanted(signal)[:, 1]
        judged = reach[1:] & reach[:-1]
        fall = np.diff(y) < -1e-9 * WHITE
        reversed_ = np.diff(y) < -np.maximum(1e-6 * np.diff(want), 1e-9 * WHITE)
        yield "edge.codes_unreachable", ours["codes_unreachable"], int((~reach).sum()), COUNT
        yield "edge.reversed_steps", ours["reversed_steps"], int((reversed_ & judged).sum()), COUNT
        yield "edge.reversed_steps_clipped", ours["reversed_steps_clipped"], int((fall & ~judged).sum()), COUNT
    axis = np.arange(lut.shape[0]) / (lut.shape[0] - 1)
    nodes = axis[:, None] - axis[None, :] <= EDGE  # [b, r]
    cells = nodes[:-1, :-1] & nodes[1:, :-1] & nodes[:-1, 1:] & nodes[1:, 1:]
    reach = np.broadcast_to(cells[:, None, :], (len(axis) - 1,) * 3)
    folds = report["lattice"]["folds"]
    for name, faulty in (("folded", lambda v: v < -1e-6), ("collapsed", lambda v: np.abs(v) <= 1e-6)):
        count = sum(int((faulty(v) & reach).sum()) for v, _ in tetrahedra(lut))
        yield f"edge.folds.{name}", folds[name], count, COUNT
    out = sum(int(((v <= 1e-6) & ~reach).sum()) for v, _ in tetrahedra(lut))
    yield "edge.folds.unreachable", folds["unreachable"], out, COUNT


def curves_figures(rows):
    n = len(rows)
    second = np.diff(rows, 2, axis=0) * (n - 1) ** 2
    fall = np.diff(rows, axis=0) < 0
    yield "rows", n, COUNT
    yield "falls", fall.sum(axis=0), COUNT
    yield "first_fall", [[c, int(np.argmax(fall[:, c])) + 1] for c in range(3) if fall[:, c].any()], COUNT
    yield "longest_plateau", [runs(np.diff(rows[:, c]) == 0) for c in range(3)], COUNT
    yield "second_difference.rms", np.sqrt((second**2).mean(axis=0)), NODES
    yield "second_difference.p99", np.percentile(np.abs(second), 99, axis=0), NODES
    yield "min", rows.min(axis=0), NODES
    yield "max", rows.max(axis=0), NODES
    distance = np.abs(rows - np.linspace(0, 1, n)[:, None])
    yield "distance_from_identity.rms", np.sqrt((distance**2).mean()), NODES
    yield "distance_from_identity.max", distance.max(), NODES


def curve_reader(rows):
    at = np.linspace(0, 1, len(rows))
    return lambda signal: np.column_stack([np.interp(signal[:, c], at, rows[:, c]) for c in range(3)])


def whole_figures(lut):
    codes, signal = walk((1, 1, 1))
    drive = np.clip(tetrahedral(lut, signal), 0, 1)
    wobble = wobbles(signal, drive)
    yield "neutral_wobble_itp", wobble.max(), LIGHT
    yield "neutral_wobble_seen_itp", wobble[shown(drive)[:, 1] >= 0.005].max(), LIGHT

    grey = np.repeat((np.arange(256) / 255)[:, None], 3, axis=1)
    _, gain = gains(lut, grey)
    known = np.isfinite(gain)
    for name, part in (("near_black", grey[:, 0] <= 0.1), ("mid", (grey[:, 0] >= 0.25) & (grey[:, 0] <= 0.75))):
        yield f"noise_gain.{name}_p95", np.percentile(gain[part & known], 95), LIGHT
        yield f"noise_gain.{name}_max", gain[part & known].max(), LIGHT

    worst_shown, worst_wanted = around(lut, signal)
    best = {}
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
    changes = np.array([(0, 0, 0), (0.05, 0, -0.03), (-0.04, 0, 0.05), (0, -0.05, -0.05)])
    skin = np.concatenate([k / 12 * (np.array(ENDS["skin"]) + changes) for k in range(1, 13)])
    volumes = np.stack([volume for volume, _ in tetrahedra(lut)])
    for name, signals in (
        ("all", cube), ("saturated", cube[spread >= 0.6]), ("neutral", neutral), ("near_black", dark), ("skin", skin),
    ):  # fmt: skip
        r, g, b = np.unique(located(lut, signals)[0], axis=0).T
        yield f"regions.{name}.cells", len(r), COUNT
        yield f"regions.{name}.folded", int((volumes[:, b, g, r] < -1e-6).sum()), COUNT
        yield f"regions.{name}.collapsed", int((np.abs(volumes[:, b, g, r]) <= 1e-6).sum()), COUNT
        by_drive, by_light = gains(lut, signals)
        by_light = by_light[np.isfinite(by_light)]
        yield f"regions.{name}.drive_gain_p95", np.percentile(by_drive, 95), NODES
        yield f"regions.{name}.drive_gain_max", by_drive.max(), NODES
        yield f"regions.{name}.noise_gain_p95", np.percentile(by_light, 95), LIGHT
        yield f"regions.{name}.noise_gain_max", by_light.max(), LIGHT


def draw(rng, smooth, plane):
    """A correction near a power law with some leak between channels; a rough one has noise on every node."""
    n = int(rng.integers(4, 18))
    axis = np.arange(n) / (n - 1)
    b, g, r = np.meshgrid(axis, axis, axis, indexing="ij")
    signal = np.stack([r, g, b], axis=-1)
    mix = np.eye(3) * 0.9 + rng.uniform(0, 0.04, (3, 3))
    lut = (signal @ mix.T) ** rng.uniform(0.85, 1.2, 3) * rng.uniform(0.9, 0.99)
    if not smooth:
        lut = lut + rng.normal(0, 10 ** rng.uniform(-4, -1.5), lut.shape)
    lut = np.clip(lut, 0, 1)
    if plane:
        along = np.moveaxis(lut, rng.integers(3), 0)
        k = rng.integers(1, n)
        along[k] = along[k - 1]
    return lut


def draw_curves(rng):
    """Power laws in few steps, with runs of equal rows and falls."""
    n = int(rng.integers(9, 400))
    rows = np.linspace(0, 1, n)[:, None] ** rng.uniform(0.8, 1.3, 3)
    rows = rows + rng.normal(0, 10 ** rng.uniform(-5, -3), rows.shape)
    return np.clip(np.round(rows * 1023) / 1023 if rng.random() < 0.5 else rows, 0, 1)


def fetch(report, path):
    for part in path.split("."):
        report = report[int(part) if isinstance(report, list) else part]
    return report


class Comparison:
    """The largest difference of each figure, and how many were beyond their tolerance."""

    def __init__(self):
        self.worst, self.failed = {}, 0

    def take(self, where, label, ours, theirs, tolerance):
        if ours is None or theirs is None:
            difference = 0.0 if ours is theirs else np.inf
        else:
            ours, theirs = np.asarray(ours, float), np.asarray(theirs, float)
            same = ours.shape == theirs.shape
            difference = np.abs(ours - theirs) / np.maximum(1, np.abs(theirs)) if same else np.inf
            difference = float(np.max(difference, initial=0.0))
        # Not "difference > tolerance", which what is no number would pass.
        if not difference <= tolerance:
            self.failed += 1
            print(f"{where}: {label}: ours {ours}, theirs {theirs}, {difference:.2g} > {tolerance:g}")
        if not difference < self.worst.get(label, (-1, 0))[0]:
            self.worst[label] = (difference, tolerance)

    def figures(self, where, prefix, report, figures):
        for name, theirs, tolerance in figures:
            self.take(where, prefix + name, fetch(report, name), theirs, tolerance)

    def places(self, where, prefix, places):
        for name, ours, theirs, tolerance in places:
            self.take(where, prefix + name, ours, theirs, tolerance)


def audited(binary, path, text, *more):
    path.write_text(text)
    done = subprocess.run([binary, str(path), *more], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{binary}: {done.stderr}")
    return json.loads(done.stdout)


def text_of(rows):
    return "\n".join(" ".join(f"{v:.17g}" for v in row) for row in rows.reshape(-1, 3)) + "\n"


def compare_ramps(found, where, report, read, cells):
    for ramp, end in ENDS.items():
        ours = next(r for r in report["ramps"] if r["name"] == ramp)
        here = f"{where}, {ramp}"
        found.figures(here, "", ours, ramp_figures(read, cells, end))
        found.places(here, "", ramp_places(read, cells, end, ours))
        of = {name: next(r for r in ramps if r["name"] == ramp) for name, ramps in report["references"].items()}
        found.figures(here, "references.", of, references(end))


def main():
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else time.time_ns() % 2**32
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    found = Comparison()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "one.cube"
        for i in range(LUTS):
            lut = draw(rng, smooth=i < LUTS // 2, plane=i % 4 == 3)
            n, where = lut.shape[0], f"LUT {i}"
            text = f"LUT_3D_SIZE {n}\n{text_of(lut)}"
            report = audited(binary, path, text)
            found.figures(where, "lattice.", report["lattice"], lattice_figures(lut))
            found.places(where, "lattice.", lattice_places(lut, report["lattice"]))
            compare_ramps(found, where, report, lambda at: tetrahedral(lut, at), n - 1)
            found.figures(where, "", report, whole_figures(lut))
            found.places(where, "", whole_places(lut, report))
            if i >= LUTS - EDGES:
                found.places(where, "", edge(lut, audited(binary, path, text, str(EDGE))))
        for i in range(CURVES):
            rows = draw_curves(rng)
            where = f"curves {i}"
            report = audited(binary, path, f"LUT_1D_SIZE {len(rows)}\n{text_of(rows)}")
            report["curves"]["first_fall"] = [[f["channel"], f["row"]] for f in report["curves"]["first_fall"]]
            found.figures(where, "curves.", report["curves"], curves_figures(rows))
            compare_ramps(found, where, report, curve_reader(rows), None)
    for label, (difference, tolerance) in found.worst.items():
        print(f"{label:<44} largest difference {difference:8.1e}, tolerance {tolerance:g}")
    print(f"{len(found.worst)} figures of {LUTS} LUTs and {CURVES} curves, {found.failed} differences beyond tolerance")
    if found.failed:
        sys.exit(1)


if __name__ == "__main__":
    main()
