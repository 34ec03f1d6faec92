"""Exchanges cube files with colour-science, both ways, on fresh random LUTs.

Usage: cube_exchange.py BINARY [SEED]

BINARY is the example `cube_tool` of evenstep-lut. The LUTs are drawn anew on every run; the seed is printed, and a run
is repeated by giving it. Checked, for 3D LUTs over two domains and for 1D curves:

- a file that colour-science writes and we rewrite holds the same numbers, read back by colour-science;
- our samples of it equal colour-science's own interpolation of the same file.

Needs numpy and colour-science.
"""

import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

warnings.filterwarnings("ignore")  # colour-science speaks of optional packages that are not needed here
import colour  # noqa: E402

EQUAL = 0.0  # decimal text names one f64, and both sides read it as that one
# A sample is a dozen operations on values up to 2, and the two sides order them differently.
TOLERANCE = 1e-12
POINTS = 2000
DECIMALS = 17  # of what colour-science writes: enough to keep every bit of these values


def run(binary, *arguments):
    done = subprocess.run([binary, *map(str, arguments)], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{binary} {arguments[0]}: {done.stderr}")
    return done.stdout


def samples(binary, cube, points, how, folder):
    table = folder / "points.csv"
    np.savetxt(table, points, fmt="%.17g", delimiter=",", header="r,g,b", comments="")
    printed = run(binary, "sample", cube, table, how)
    return np.array([[float(v) for v in line.split(",")] for line in printed.splitlines()])


def largest(ours, theirs, what):
    if ours.shape != theirs.shape:
        sys.exit(f"{what}: shape {ours.shape}, expected {theirs.shape}")
    return float(np.abs(ours - theirs).max())


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) == 3 else time.time_ns() % 2**32
    print(f"seed {seed}, colour-science {colour.__version__}, numpy {np.__version__}")
    rng = np.random.default_rng(seed)
    checks = []

    def check(what, difference, limit):
        good = bool(difference <= limit)  # False for NaN too
        checks.append(good)
        print(f"{what}: largest difference {difference:.2e}, limit {limit:g} {'ok' if good else 'FAILED'}")

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        theirs, rewritten = folder / "theirs.cube", folder / "ours.cube"
        for low, high in ((0.0, 1.0), (-0.25, 1.5)):
            size = int(rng.integers(2, 24))
            table = rng.uniform(-0.5, 1.5, (size, size, size, 3))
            domain = np.array([[low] * 3, [high] * 3])
            colour.write_LUT(colour.LUT3D(table, "fresh", domain), str(theirs), decimals=DECIMALS)
            run(binary, "rewrite", theirs, rewritten)
            before, after = colour.read_LUT(str(theirs)), colour.read_LUT(str(rewritten))
            label = f"3D {size}^3 over {low:g} to {high:g}"
            check(f"{label}, rewritten by us", largest(after.table, before.table, label), EQUAL)
            check(f"{label}, domain", largest(after.domain, before.domain, label), EQUAL)
            points = rng.uniform(low, high, (POINTS, 3))
            unit = (points - low) / (high - low)
            for how in ("trilinear", "tetrahedral"):
                expected = colour.algebra.table_interpolation(unit, before.table, method=how.title())
                ours = samples(binary, rewritten, points, how, folder)
                check(f"{label}, {how}", largest(ours, expected, label), TOLERANCE)

        size = int(rng.integers(2, 300))
        curves = colour.LUT3x1D(rng.uniform(-0.5, 1.5, (size, 3)), "fresh")
        colour.write_LUT(curves, str(theirs), decimals=DECIMALS)
        run(binary, "rewrite", theirs, rewritten)
        before, after = colour.read_LUT(str(theirs)), colour.read_LUT(str(rewritten))
        check(f"1D {size}, rewritten by us", largest(after.table, before.table, "1D"), EQUAL)
        points = rng.random((POINTS, 3))
        at = np.linspace(0, 1, size)
        expected = np.stack([np.interp(points[:, c], at, before.table[:, c]) for c in range(3)], axis=1)
        ours = samples(binary, rewritten, points, "tetrahedral", folder)
        check(f"1D {size}, samples against numpy.interp", largest(ours, expected, "1D"), TOLERANCE)

    print(f"cube exchange: {sum(checks)} of {len(checks)} checks passed")
    sys.exit(0 if all(checks) else 1)


if __name__ == "__main__":
    main()
