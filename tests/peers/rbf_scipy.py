"""Compares the radial schemes with SciPy's RBFInterpolator, or their definition, on fresh random data.

Usage: rbf_scipy.py BINARY [SEED]

BINARY is the example `scheme_table` of evenstep-scatter. The data are drawn anew on every run; the
seed is printed, and a run is repeated by giving it. For each kernel and each smoothing

    difference = max |ours - SciPy's| / max |SciPy's|     (over all queries and the three outputs)

must not exceed the tolerance beside the kernel. Needs numpy and scipy.
"""

import sys
import tempfile
import time

import numpy as np
import scipy
from scipy.interpolate import RBFInterpolator
from scipy.spatial.distance import cdist

sys.dont_write_bytecode = True  # the checkout stays as it was
from scheme_table import Binary  # noqa: E402

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


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
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
    with tempfile.TemporaryDirectory() as folder:
        binary = Binary(sys.argv[1], folder)
        for ours, theirs, tolerance in checks:
            for smoothing in SMOOTHINGS:
                got = binary.predict(ours, smoothing, sites, values, queries)
                binary.check(f"{ours}, smoothing {smoothing:g}", got, theirs(smoothing), tolerance)
    binary.finish("radial schemes")


if __name__ == "__main__":
    main()
