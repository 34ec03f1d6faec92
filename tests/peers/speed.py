"""Times Evenstep beside what one would write with NumPy, SciPy, pandas or colour-science.

Usage: speed.py EVENSTEP CUBE_TOOL [REPEATS]

EVENSTEP is the command and CUBE_TOOL the example of evenstep-lut, both built with --release. Run by hand on a quiet
machine, never by .ci/run: the figures in docs/speed.md come from it, and no test asserts them. Each pair runs in turns
in the same process, so that a machine slowed by others slows both sides; medians and their ratio are printed. Our side
is timed as a whole process that reads its files and writes its results; the other side without its imports.

Needs numpy, scipy, pandas and colour-science.
"""

import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd

warnings.filterwarnings("ignore")  # colour-science speaks of optional packages that are not needed here
import colour  # noqa: E402

sys.dont_write_bytecode = True  # the checkout stays as it was
from speed_pipeline import fit_lut  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
LEVELS = 10  # a lattice of 10 levels joins the sparse list to make about 1000 patches
PEAK = 100  # cd/m2, given to both sides so that neither has to look for it


def run(*command):
    subprocess.run([str(c) for c in command], check=True, stdout=subprocess.DEVNULL)


def cpu_seconds():
    """Of this process and of those it waited for, on all cores."""
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in usage)


def pair(what, repeats, ours, theirs):
    """Runs the two in turns and prints medians, their ratio, ranges and CPU time, which other users move less."""
    wall, cpu = ([], []), ([], [])
    for _ in range(repeats):
        for side, work in enumerate((ours, theirs)):
            begun, used = time.perf_counter(), cpu_seconds()
            work()
            wall[side].append(time.perf_counter() - begun)
            cpu[side].append(cpu_seconds() - used)
    (a, b), (c, d) = (map(statistics.median, times) for times in (wall, cpu))
    spread = ", ".join(f"{min(t):.3f} to {max(t):.3f}" for t in wall)
    print(f"| {what} | {a:.3f} | {b:.3f} | {b / a:.1f} | {spread} | {c:.3f} | {d:.3f} |", flush=True)


def lattice_figures(table):
    """The audit's lattice figures in NumPy: neighbour steps, second differences, tetrahedral folds, percentiles."""
    n = len(table)  # axes: blue, green, red, channel
    figures = []
    for axis in range(3):
        step = np.diff(table, axis=axis) * (n - 1)
        second = np.diff(table, 2, axis=axis) * (n - 1) ** 2
        figures += [step.mean(), step.var(), step.min(), step.max()]
        figures += [np.sqrt((second**2).mean()), np.percentile(np.abs(second), 99)]
    corner = {}
    for i in range(8):
        r, g, b = i & 1, i >> 1 & 1, i >> 2 & 1
        corner[i] = table[b : n - 1 + b, g : n - 1 + g, r : n - 1 + r]
    folded = 0
    # The six ways from the low corner to the high one, with the sign of their order of axes.
    for first, then, sign in ((1, 3, 1), (1, 5, -1), (2, 3, -1), (2, 6, 1), (4, 5, 1), (4, 6, -1)):
        edges = [corner[first] - corner[0], corner[then] - corner[first], corner[7] - corner[then]]
        determinant = sign * np.einsum("...i,...i->...", edges[0], np.cross(edges[1], edges[2]))
        folded += int((determinant * (n - 1) ** 3 < -1e-6).sum())
    return figures, folded


def header_lines(path):
    with open(path, encoding="ascii") as file:
        for number, line in enumerate(file):
            if line[:1].isdigit() or line[:1] in "-.":
                return number
    raise ValueError(f"{path} holds no rows")


def patches(folder, dense):
    sparse = pd.read_csv(ROOT / "examples/foyer/sparse-patches.csv")[["r", "g", "b"]]
    lists = [sparse]
    if dense:
        at = np.linspace(0, 1, LEVELS)
        grid = np.stack(np.meshgrid(at, at, at, indexing="ij"), axis=-1).reshape(-1, 3)
        lists.append(pd.DataFrame(grid, columns=["r", "g", "b"]))
    path = folder / "patches.csv"
    pd.concat(lists).to_csv(path, index=False)
    return path


def main():
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    evenstep, cube_tool = sys.argv[1:3]
    repeats = int(sys.argv[3]) if len(sys.argv) == 4 else 5
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}, {repeats} repeats")
    print("| work | ours, s | peer, s | peer / ours | ranges, s | ours, CPU s | peer, CPU s |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for dense in (False, True):
            readings, lut, other = folder / f"run-{dense}.csv", folder / "ours.cube", folder / "theirs.npy"
            run(evenstep, "simulate", "--panel", "wrgb", "--at", patches(folder, dense), "-o", readings, "--quiet")
            count = len(pd.read_csv(readings)[["r", "g", "b"]].drop_duplicates())
            pair(
                f"fit 33^3 from {count} patches, NumPy and SciPy",
                repeats,
                lambda: run(evenstep, "fit", readings, "-o", lut, "--peak", PEAK, "--force", "--quiet"),
                lambda: np.save(other, fit_lut(readings, 33, PEAK)),
            )
            rows = np.loadtxt(lut, skiprows=header_lines(lut)).reshape(33, 33, 33, 3)
            # Two different models of one panel: near each other where both are right, which shows that both did the job.
            print(f"  mean drive difference of the two LUTs: {np.abs(rows - np.load(other)).mean():.4f}")

        for size in (33, 65):
            big = folder / f"{size}.cube"
            grid = np.linspace(0, 1, size)
            red, green, blue = np.meshgrid(grid, grid, grid, indexing="ij")
            table = np.stack([red**1.1, 0.9 * green + 0.05 * blue, blue**0.95], axis=-1)
            colour.write_LUT(colour.LUT3D(table, "big"), str(big), decimals=7)
            skip, table = header_lines(big), np.ascontiguousarray(table.transpose(2, 1, 0, 3))
            pandas = lambda: pd.read_csv(big, sep=" ", header=None, skiprows=skip, dtype=float)  # noqa: E731
            audit = lambda: run(evenstep, "audit", big, "--json", "-", "--quiet")  # noqa: E731
            if size == 65:
                read = lambda: run(cube_tool, "read", big)  # noqa: E731
                pair("read 65^3, pandas", repeats, read, pandas)
                pair("read 65^3, numpy.loadtxt", repeats, read, lambda: np.loadtxt(big, skiprows=skip))
                pair("read 65^3, colour-science", repeats, read, lambda: colour.read_LUT(str(big)))
            pair(f"read, whole audit, JSON {size}^3; pandas reading alone", repeats, audit, pandas)
            pair("the same; NumPy lattice figures alone, nodes in memory", repeats, audit, lambda: lattice_figures(table))
            pair("the same; pandas reading and NumPy lattice figures", repeats, audit,
                 lambda: lattice_figures(pandas().to_numpy().reshape(size, size, size, 3)))



if __name__ == "__main__":
    main()
