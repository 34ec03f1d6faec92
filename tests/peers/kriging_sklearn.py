"""Compares kriging with scikit-learn's Gaussian process regression on fresh random data.

Usage: kriging_sklearn.py BINARY [SEED]

BINARY is the example `scheme_table` of evenstep-scatter. The data are drawn anew on every run; the seed is printed, and a
run is repeated by giving it. Mean and standard deviation for the same fixed kernel, isotropic and as a sum over orders of
interaction composed of one-axis kernels; and the length that scikit-learn's optimiser finds against ours, through the
predictions it leads to. Needs numpy and scikit-learn.
"""

import sys
import tempfile
import time
import warnings

import numpy as np
import sklearn
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, Kernel, Matern, WhiteKernel

sys.dont_write_bytecode = True  # the checkout stays as it was
from scheme_table import Binary  # noqa: E402

SOLVED = 1e-10  # two solvers of one system with a condition of at most 1e5, relative to the largest figure
# Two optimisers: scikit-learn's stops (L-BFGS-B) where the likelihood changes by 2e-9 of its size, so the length is
# found to about the root of that, 5e-5, and predictions move by less.
FOUND = 1e-4
SITES, QUERIES, NOISE = 200, 500, 1e-3


class OneAxis(Kernel):
    """A stationary kernel of one coordinate, so that sums and products compose an ANOVA kernel."""

    def __init__(self, axis, kernel):
        self.axis, self.kernel = axis, kernel

    def __call__(self, x, y=None, eval_gradient=False):
        if eval_gradient:
            raise NotImplementedError("this kernel is not optimised")
        return self.kernel(x[:, [self.axis]], None if y is None else y[:, [self.axis]])

    def diag(self, x):
        return self.kernel.diag(x[:, [self.axis]])

    def is_stationary(self):
        return True


def stationary(name, length):
    if name == "squared-exponential":
        return RBF(length)
    return Matern(length, nu={"matern32": 1.5, "matern52": 2.5}[name])


def anova(name, length):
    r, g, b = (OneAxis(axis, stationary(name, length)) for axis in range(3))
    ninth, third = ConstantKernel(1 / 9), ConstantKernel(1 / 3)
    return ninth * (r + g + b) + ninth * (r * g + r * b + g * b) + third * (r * g * b)


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    seed = int(sys.argv[2]) if len(sys.argv) == 3 else time.time_ns() % 2**32
    print(f"seed {seed}, scikit-learn {sklearn.__version__}, numpy {np.__version__}")
    rng = np.random.default_rng(seed)
    sites = rng.random((SITES, 3))
    frequency, phase = rng.uniform(-6.0, 6.0, (3, 3)), rng.uniform(0.0, 6.0, 3)
    values = np.sin(sites @ frequency + phase) + 0.01 * rng.standard_normal((SITES, 3))
    queries = rng.uniform(-0.1, 1.1, (QUERIES, 3))
    with tempfile.TemporaryDirectory() as folder:
        run = Binary(sys.argv[1], folder)
        for name in ("matern32", "matern52", "squared-exponential"):
            for scheme, kernel in (("kriging", stationary(name, 0.4)), ("kriging-anova", anova(name, 0.4))):
                process = GaussianProcessRegressor(kernel=kernel, alpha=NOISE, optimizer=None).fit(sites, values)
                mean, deviation = process.predict(queries, return_std=True)
                spec = f"{scheme}:{name},length=0.4,degree=-1"
                both = run.predict(spec, NOISE, sites, values, queries)
                got, error = both[:, :3], both[:, 3:]
                run.check(f"{spec}: mean", got, mean, SOLVED)
                # Their deviation is that of signal variance 1; ours has its estimate f'C^-1 f / n in it.
                covariance = kernel(sites) + NOISE * np.eye(SITES)
                signal = (values * np.linalg.solve(covariance, values)).sum(0) / SITES
                unit = np.asarray(deviation).reshape(QUERIES, -1)[:, :1]
                run.check(f"{spec}: standard error", error, unit * np.sqrt(signal), SOLVED)
        # Estimated: signal variance and length, the noise a fixed part of the signal. One output, the others 0.
        single = np.zeros_like(values)
        single[:, 0] = values[:, 0]
        for name in ("matern32", "matern52"):
            inner = stationary(name, 0.5)
            kernel = ConstantKernel(1.0, (1e-4, 1e5)) * (inner + WhiteKernel(NOISE, "fixed"))
            with warnings.catch_warnings():
                warnings.simplefilter("error", ConvergenceWarning)
                process = GaussianProcessRegressor(
                    kernel=kernel, alpha=0, n_restarts_optimizer=2, random_state=0
                ).fit(sites, single[:, 0])
            found = process.kernel_
            clean = found.k1 * found.k2.k1
            weights = np.linalg.solve(found(sites), single[:, 0])
            got = run.predict(f"kriging:{name},degree=-1", NOISE, sites, single, queries)
            run.check(f"kriging:{name},degree=-1, length estimated: mean", got[:, 0], clean(queries, sites) @ weights, FOUND)
    run.finish("kriging")


if __name__ == "__main__":
    main()
