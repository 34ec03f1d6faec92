"""Compares the radial schemes with SciPy's RBFInterpolator, or their definition, on fresh random data.

Usage: rbf_scipy.py BINARY [SEED]

BINARY is the example `scheme_table` of evenstep-scatter. The data are drawn anew on every run; the
seed is printed, and a run is repeated by giving it. For each kernel and each smoothing

    difference = max |ours - SciPy's| / max |SciPy's|     (over all queries and the three outputs)

must not exceed the tolerance beside the kernel. Needs numpy and scipy.
"""

import csv
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scipy
from scipy.interpolate import RBFInterpolator
from scipy.spatial.distance import cdist

SOLVED = 1e-8  # two solvers of one system; far above rounding, far below any slip in a formula
SITES, QUERIES = 300, 1000
KERNELS = [  # ours, SciPy's, epsilon, tolerance
    ("rbf-linear", "linear", None, SOLVED),
    ("rbf-thin-plate", "thin_plate_spline", None, SOLVED),
    ("rbf-cubic", "cubic", None, SOLVED),
    ("rbf-cubic:degree=2", "cubic", None, SOLVED),
    ("rbf-quintic", "quintic", None, SOLVED),
    ("rbf-multiquadric:shape=3", "multiquadric", 3.0, SOLVED),
    ("rbf-inverse-multiquadric:shape=3,degree=-1", "inverse_multiquadric", 3.0, SOLVED),
    ("rbf-inverse-multiquadric:shape=3,degree=0", "inverse_multiquadric", 3.0, SOLVED),
    ("rbf-gaussian:shape=6,degree=-1", "gaussian", 6.0, SOLVED),
    ("rbf-gaussian:shape=6,degree=1", "gaussian", 6.0, SOLVED),
    ("rbf-local:neighbours=30", "thin_plate_spline", None, SOLVED),
    ("rbf-local:cubic,neighbours=40", "cubic", None, SOLVED),
]
SMOOTHINGS = (0.0, 1e-3)


def wendland_c2(t):
    return np.maximum(1 - t, 0) ** 4 * (4 * t + 1)


def wendland_c4(t):
    return np.maximum(1 - t, 0) ** 6 * (35 * t**2 + 18 * t + 3) / 3


COMPACT = [("rbf-wendland:shape=0.8", wendland_c2, 0.8), ("rbf-wendland:c4,shape=0.7", wendland_c4, 0.7)]


def by_definition(kernel, shape, smoothing, sites, values, queries):
    """(K + smoothing I) w = f without a polynomial: SciPy's interpolator has no compact kernels."""
    matrix = kernel(shape * cdist(sites, sites)) + smoothing * np.eye(len(sites))
    return kernel(shape * cdist(queries, sites)) @ np.linalg.solve(matrix, values)


def write_table(path, sites, values, queries):
    with open(path, "w", newline="", encoding="ascii") as file:
        writer = csv.writer(file)
        writer.writerow(["kind", "x", "y", "z", "a", "b", "c"])
        for site, value in zip(sites, values):
            writer.writerow(["site", *map(repr, (*map(float, site), *map(float, value)))])
        for query in queries:
            writer.writerow(["query", *map(repr, map(float, query)), 0, 0, 0])


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) == 3 else time.time_ns() % 2**32
    print(f"seed {seed}, scipy {scipy.__version__}, numpy {np.__version__}")

    rng = np.random.default_rng(seed)
    sites = rng.random((SITES, 3))
    frequency, phase = rng.uniform(-6.0, 6.0, (3, 3)), rng.uniform(0.0, 6.0, 3)
    values = np.sin(sites @ frequency + phase) + 0.01 * rng.standard_normal((SITES, 3))
    queries = rng.uniform(-0.1, 1.1, (QUERIES, 3))

    def scipys(kernel, shape, ours):
        more = {} if shape is None else {"epsilon": shape}
        for option, name in (("degree=", "degree"), ("neighbours=", "neighbors")):
            if option in ours:
                more[name] = int(ours.split(option)[1])
        return lambda smoothing: RBFInterpolator(sites, values, kernel=kernel, smoothing=smoothing, **more)(queries)

    def defined(kernel, shape):
        return lambda smoothing: by_definition(kernel, shape, smoothing, sites, values, queries)

    checks = [(ours, scipys(theirs, shape, ours), tolerance) for ours, theirs, shape, tolerance in KERNELS]
    checks += [(ours, defined(kernel, shape), SOLVED) for ours, kernel, shape in COMPACT]
    passed, total = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "table.csv"
        write_table(table, sites, values, queries)
        for ours, theirs, tolerance in checks:
            for smoothing in SMOOTHINGS:
                run = subprocess.run(
                    [binary, table, ours, repr(smoothing)], check=True, capture_output=True, text=True
                )
                got = np.array([[float(v) for v in line.split(",")] for line in run.stdout.splitlines()])
                expected = theirs(smoothing)
                if got.shape != expected.shape:
                    sys.exit(f"{ours}: {got.shape} predictions, expected {expected.shape}")
                difference = np.abs(got - expected).max() / np.abs(expected).max()
                good = bool(difference <= tolerance)  # False for NaN too
                passed, total = passed + good, total + 1
                verdict = "ok" if good else "FAILED"
                print(f"{ours:42} smoothing {smoothing:g}: relative difference {difference:.2e} {verdict}")
    print(f"radial schemes: {passed} of {total} checks passed")
    sys.exit(0 if passed == total else 1)


if __name__ == "__main__":
    main()
