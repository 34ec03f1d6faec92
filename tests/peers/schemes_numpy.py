"""Compares schemes with SciPy, or with their definitions written out plainly in NumPy, on fresh random data.

Usage: schemes_numpy.py BINARY [SEED]

BINARY is the example `scheme_table` of evenstep-scatter. The data are drawn anew on every run; the seed is printed, and a
run is repeated by giving it. Delaunay linear against SciPy's LinearNDInterpolator inside the hull; natural neighbour
against volumes of polytopes from half-space intersection; moving least squares, modified quadratic Shepard and lattice
regression against the definitions of docs/methods. Needs numpy and scipy.
"""

import sys
import tempfile
import time

import numpy as np
import scipy
from scipy.interpolate import LinearNDInterpolator
from scipy.optimize import linprog
from scipy.spatial import ConvexHull, Delaunay, HalfspaceIntersection
from scipy.spatial.distance import cdist

sys.dont_write_bytecode = True  # the checkout stays as it was
from scheme_table import Binary  # noqa: E402

DIRECT = 1e-9  # the same small systems, solved another way
VOLUMES = 1e-7  # volumes of some dozen small polytopes by Qhull, each to about 1e-10 of the largest
DENSE = 1e-8  # dense normal equations with a condition of about 1e7
SITES, QUERIES = 150, 300


def monomials(x, degree):
    x, y, z = x.T
    columns = [np.ones_like(x), x, y, z]
    if degree == 2:
        columns += [x * x, y * y, z * z, x * y, x * z, y * z]
    return np.stack(columns, axis=1)


def moving_least_squares(degree, smoothing, sites, values, queries):
    """Weights 1 / (lambda + 1e-12 + (d / h)^2q), q = degree + 2, h the distance of the sixth nearest other site."""
    h = np.sort(cdist(sites, sites), axis=1)[:, 6]
    out = np.empty((len(queries), values.shape[1]))
    for i, query in enumerate(queries):
        d = np.linalg.norm(sites - query, axis=1)
        root = 1 / np.sqrt(smoothing + 1e-12 + (d / h) ** (2 * (degree + 2)))
        system = root[:, None] * monomials(sites - query, degree)
        out[i] = np.linalg.lstsq(system, root[:, None] * values, rcond=None)[0][0]
    return out


def quadratic_shepard(sites, values, queries):
    """Renka's weights with 17 sites fitted and 32 blended; the count of fitted ones doubled until they suffice."""
    distances = cdist(sites, sites)
    ranked = np.argsort(distances, axis=1)
    root2 = np.sqrt(2)

    def terms(t):
        x, y, z = t.T
        return np.stack([x, y, z, x * x, y * y, z * z, root2 * x * y, root2 * x * z, root2 * y * z], axis=1)

    quadratics, reach = [], np.empty(len(sites))
    for k, site in enumerate(sites):
        order = ranked[k][1:]
        reach[k] = distances[k, order[32]]
        count = 17
        while True:
            members = order[:count]
            d = distances[k, members]
            if count < len(order):
                radius = distances[k, order[count]]
            else:
                radius = np.sqrt(1.1) * d[-1]
            scale = np.sqrt((d**2).mean())
            weight = ((radius - d) / (radius * d))[:, None]
            system = weight * terms((sites[members] - site) / scale)
            singular = np.linalg.svd(system, compute_uv=False)
            if len(singular) == 9 and singular[-1] >= singular[0] / 100:
                break
            if count >= len(order):
                raise SystemExit("150 random sites do not determine a quadratic: draw again")
            count = min(2 * count, len(order))
        right = weight * (values[members] - values[k])
        quadratics.append((scale, np.linalg.lstsq(system, right, rcond=None)[0]))
    out = np.empty((len(queries), values.shape[1]))
    for i, query in enumerate(queries):
        d = np.linalg.norm(sites - query, axis=1)
        inside = np.flatnonzero(d < reach)
        use = inside if len(inside) else np.arange(len(sites))
        if len(inside):
            w = ((reach[use] - d[use]) / (reach[use] * d[use])) ** 2
        else:
            w = (reach * d / (d - reach)) ** 2
        local = [
            values[k] + terms((query - sites[k])[None, :] / quadratics[k][0])[0] @ quadratics[k][1] for k in use
        ]
        out[i] = w @ np.array(local) / w.sum()
    return out


def lattice_regression(penalty, nodes, smoothing, sites, values, queries):
    low, side = sites.min(0), np.ptp(sites, axis=0).max()
    h = side / (nodes - 1)

    def weights(points):
        hats = []
        for axis in range(3):
            t = (points[:, axis] - low[axis]) / h
            cell = np.clip(np.floor(t), 0, nodes - 2)
            hat = np.zeros((len(points), nodes))
            rows = np.arange(len(points))
            hat[rows, cell.astype(int)] = 1 - (t - cell)
            hat[rows, cell.astype(int) + 1] = t - cell
            hats.append(hat)
        x, y, z = hats
        return np.einsum("pk,pj,pi->pkji", z, y, x).reshape(len(points), -1)

    one = np.eye(nodes)
    first, second = np.diff(one, axis=0), np.diff(one, n=2, axis=0)
    differences = {
        "laplacian": [(h, first, one, one), (h, one, first, one), (h, one, one, first)],
        "hessian": [(1 / h, second, one, one), (1 / h, one, second, one), (1 / h, one, one, second)]
        + [(2 / h, first, first, one), (2 / h, first, one, first), (2 / h, one, first, first)],
    }[penalty]
    matrix = np.zeros((nodes**3, nodes**3))
    for factor, z, y, x in differences:
        d = np.kron(z, np.kron(y, x))
        matrix += factor * d.T @ d
    w = weights(sites)
    solved = np.linalg.solve(w.T @ w + smoothing * matrix, w.T @ values)
    return weights(queries) @ solved


def bisectors(of, others):
    """Half-spaces of the points nearer to `of` than to each of the others, as a.x + b <= 0."""
    return np.hstack([2 * (others - of), (of @ of - (others**2).sum(1))[:, None]])


def inner_ball(halfspaces):
    norm = np.linalg.norm(halfspaces[:, :3], axis=1, keepdims=True)
    solved = linprog(
        [0, 0, 0, -1],
        A_ub=np.hstack([halfspaces[:, :3], norm]),
        b_ub=-halfspaces[:, 3],
        bounds=[(None, None)] * 3 + [(0, None)],
    )
    return (solved.x[:3], solved.x[3]) if solved.status == 0 else (None, 0.0)


def natural_neighbour(sites, values, queries):
    """Volumes that the cell of each query takes from the cells of the sites."""
    out = np.empty((len(queries), values.shape[1]))
    for i, query in enumerate(queries):
        own = bisectors(query, sites)
        corners = HalfspaceIntersection(own, query).intersections
        reach = 2 * np.linalg.norm(corners - query, axis=1).max()
        near = np.flatnonzero(np.linalg.norm(sites - query, axis=1) <= reach * (1 + 1e-12))
        weights = np.zeros(len(sites))
        for j in near:
            taken = np.vstack([own[near], bisectors(sites[j], sites[near[near != j]])])
            centre, radius = inner_ball(taken)
            if radius > 1e-9:
                weights[j] = ConvexHull(HalfspaceIntersection(taken, centre).intersections).volume
        out[i] = weights @ values / weights.sum()
    return out


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
    inside = queries[Delaunay(sites).find_simplex(queries) >= 0]
    # Cells that stay in the middle are bounded by the sites alone.
    middle = rng.uniform(0.3, 0.7, (25, 3))
    with tempfile.TemporaryDirectory() as folder:
        run = Binary(sys.argv[1], folder)

        def check(spec, smoothing, at, expected, tolerance):
            got = run.predict(spec, smoothing, sites, values, at)
            run.check(f"{spec}, smoothing {smoothing:g}, {len(at)} points", got, expected, tolerance)

        check("delaunay-linear", 0.0, inside, LinearNDInterpolator(sites, values)(inside), DIRECT)
        check("natural-neighbour", 0.0, middle, natural_neighbour(sites, values, middle), VOLUMES)
        for degree in (1, 2):
            for smoothing in (0.0, 1e-2):
                expected = moving_least_squares(degree, smoothing, sites, values, queries)
                check(f"moving-least-squares:degree={degree}", smoothing, queries, expected, DIRECT)
        check("quadratic-shepard", 0.0, queries, quadratic_shepard(sites, values, queries), DIRECT)
        for penalty in ("laplacian", "hessian"):
            for smoothing in (1e-4, 1e-2):
                expected = lattice_regression(penalty, 7, smoothing, sites, values, queries)
                check(f"lattice-regression:{penalty},nodes=7", smoothing, queries, expected, DENSE)
    run.finish("schemes")


if __name__ == "__main__":
    main()
