"""Times schemes beside SciPy and scikit-learn: one fit, and the evaluation of a whole lattice.

Usage: speed_schemes.py SCHEME_SPEED [REPEATS]

SCHEME_SPEED is the example of evenstep-scatter, built with --release. Run by hand on a quiet machine, never by .ci/run:
docs/speed.md holds the figures. Both sides take the same sites, values and lattice; the two run in turns, so that a
machine slowed by others slows both; medians and their ratio are printed, and how far the sums of the results differ.
One thread each where the row says so. Needs numpy, scipy and scikit-learn.
"""

import os
import statistics
import subprocess
import sys
import time

THREADS = os.environ.get("SPEED_THREADS", "1")
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = THREADS  # before numpy is loaded

import numpy as np  # noqa: E402
import scipy.linalg  # noqa: E402
from scipy.interpolate import LinearNDInterpolator, RBFInterpolator  # noqa: E402
from sklearn.gaussian_process import GaussianProcessRegressor  # noqa: E402
from sklearn.gaussian_process.kernels import Matern  # noqa: E402

sys.dont_write_bytecode = True  # the checkout stays as it was
from kriging_sklearn import anova  # noqa: E402


def sites_of(count):
    step = np.array([0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901])
    sites = (np.arange(1, count + 1)[:, None] * step) % 1.0
    x, y, z = sites.T
    return sites, np.stack([np.sin(5 * x) + y, y * z, np.exp(x - z)], axis=1)


def lattice_of(nodes):
    level = np.linspace(0, 1, nodes)
    z, y, x = np.meshgrid(level, level, level, indexing="ij")
    return np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)


def radial(kernel, **more):
    return lambda sites, values: RBFInterpolator(sites, values, kernel=kernel, **more)


def process(kernel):
    return lambda sites, values: (
        GaussianProcessRegressor(kernel, alpha=1e-4, optimizer=None).fit(sites, values).predict
    )


def row(binary, repeats, spec, smoothing, count, nodes, theirs):
    sites, values = sites_of(count)
    at = lattice_of(nodes)
    ours, peer, sums = ([], []), ([], []), [0.0, 0.0]
    for _ in range(repeats):
        command = [binary, str(count), str(nodes), spec, repr(smoothing)]
        run = subprocess.run(
            command, check=True, capture_output=True, text=True, env=os.environ | {"RAYON_NUM_THREADS": THREADS}
        )
        fit, lattice, sums[0] = map(float, run.stdout.split(","))
        ours[0].append(fit), ours[1].append(lattice)
        begun = time.perf_counter()
        fitted = theirs(sites, values)
        peer[0].append(time.perf_counter() - begun)
        begun = time.perf_counter()
        sums[1] = np.nansum(fitted(at))
        peer[1].append(time.perf_counter() - begun)
    cells = []
    for a, b in zip(ours, peer):
        a, b = statistics.median(a), statistics.median(b)
        cells += [f"{a:.4f}", f"{b:.4f}", f"{b / a:.1f}"]
    apart = abs(sums[0] / sums[1] - 1)
    print(f"| {spec}, {count} sites, {nodes}³ nodes | {' | '.join(cells)} | {apart:.0e} |", flush=True)


def solves(repeats):
    """OpenBLAS's Cholesky alone, against which a fit's solve is to be held."""
    for count in (1000, 4913):
        random = np.random.default_rng(1).random((count, count))
        matrix = random @ random.T + count * np.eye(count)
        times = []
        for _ in range(repeats):
            begun = time.perf_counter()
            scipy.linalg.cho_factor(matrix, lower=True, check_finite=False)
            times.append(time.perf_counter() - begun)
        print(f"OpenBLAS Cholesky, n = {count}: {statistics.median(times):.3f} s")


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary, repeats = sys.argv[1], int(sys.argv[2]) if len(sys.argv) == 3 else 3
    print(f"{THREADS} thread(s); load {os.getloadavg()[0]:.1f}")
    print("| work | fit: ours, s | peer, s | peer / ours | lattice: ours, s | peer, s | peer / ours | sums differ by |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for count, nodes in ((101, 33), (1000, 33), (4913, 33)):
        row(binary, repeats, "rbf-thin-plate", 0.0, count, nodes, radial("thin_plate_spline"))
    row(binary, repeats, "rbf-cubic", 0.0, 1000, 33, radial("cubic"))
    row(binary, repeats, "rbf-gaussian:shape=6,degree=0", 0.0, 1000, 33, radial("gaussian", epsilon=6.0))
    row(binary, repeats, "rbf-local:neighbours=50", 0.0, 4913, 33, radial("thin_plate_spline", neighbors=50))
    row(binary, repeats, "kriging:length=0.4,degree=-1", 1e-4, 1000, 33, process(Matern(0.4, nu=2.5)))
    row(binary, repeats, "kriging-anova:length=0.4,degree=-1", 1e-4, 1000, 33, process(anova("matern52", 0.4)))
    row(binary, repeats, "delaunay-linear", 0.0, 1000, 33, LinearNDInterpolator)
    solves(repeats)


if __name__ == "__main__":
    main()
