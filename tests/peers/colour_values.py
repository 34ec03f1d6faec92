"""Compares colour values with colour-science on fresh random points.

Usage: colour_values.py BINARY [SEED]

BINARY is the example `values` of evenstep-colour. The points are drawn anew on every run; the seed is printed, and a
run is repeated by giving it. For every function

    difference = max |ours - theirs| / max(1, |theirs|)     (over all points and outputs)

must not exceed its tolerance, which is stated beside it with its reason. Needs numpy and colour-science.
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

POINTS = 5000
D65 = np.array([0.3127, 0.3290])
# The same formulas in another order: some tens of operations, powers among them. PQ magnifies a rounding of its
# argument about 350 times. CIEDE2000 jumps where two hues are opposite, but only a pair within rounding of that could
# fall on either side, and random pairs do not come so near.
ROUNDOFF = 1e-11
# colour-science inverts GSDF with the standard's own polynomial, which errs by up to 0.09 index (DICOM PS3.14 (2024c)
# clause 7.1; see crates/colour/src/gsdf.rs); ours inverts the formula.
GSDF_INDEX = 0.1


def positive_xyz(rng, count):
    """Light inside BT.2020, 0.001 to 5000 cd/m2, spread over the logarithm."""
    rgb = np.exp(rng.uniform(np.log(1e-3), np.log(5e3), (count, 3)))
    return rgb @ colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_RGB_to_XYZ.T


def cases(rng):
    """Name, arguments (one row a point), colour-science's results, tolerance."""
    lab = np.column_stack([rng.uniform(0, 100, POINTS), rng.uniform(-100, 100, (POINTS, 2))])
    near = lab + rng.normal(0, 3, lab.shape)
    for other in (near, rng.permutation(lab)):
        yield "delta-e-2000", np.hstack([lab, other]), colour.delta_E(lab, other, method="CIE 2000"), ROUNDOFF

    white = colour.xy_to_XYZ(D65) * 120.0
    xyz = white * rng.random((POINTS, 3)) ** 3  # cubed: a third of them on the straight part near black
    theirs = colour.XYZ_to_Lab(xyz / white[1], D65)
    yield "lab", np.hstack([xyz, np.tile(white, (POINTS, 1))]), theirs, ROUNDOFF

    xyz = positive_xyz(rng, POINTS)
    ictcp = colour.XYZ_to_ICtCp(xyz, D65, method="ITU-R BT.2100-2 PQ")
    yield "ictcp", xyz, ictcp, ROUNDOFF

    other = rng.permutation(ictcp) * 0.1 + ictcp * 0.9
    halved = np.array([1.0, 0.5, 1.0])
    ours = np.hstack([ictcp * halved, other * halved])
    # delta_E_ITP of colour-science 0.4.7 halves Ct in the arrays it is given, so it gets copies.
    yield "delta-e-itp", ours, colour.difference.delta_E_ITP(ictcp.copy(), other.copy()), ROUNDOFF

    signal = rng.random(POINTS)
    yield "pq-eotf", signal[:, None], colour.models.eotf_ST2084(signal), ROUNDOFF
    light = np.exp(rng.uniform(np.log(1e-4), np.log(1e4), POINTS))
    yield "pq-inverse-eotf", light[:, None], colour.models.eotf_inverse_ST2084(light), ROUNDOFF

    # 400 to 2000 cd/m2: outside of it BT.2100 has another rule for the system gamma, which colour-science has not.
    for peak, black in ((1000.0, 0.0), (rng.uniform(400, 2000), rng.uniform(0, 0.1))):
        rgb = rng.random((POINTS // 10, 3))
        theirs = colour.models.eotf_BT2100_HLG(rgb, black, peak, method="ITU-R BT.2100-2")
        ends = np.tile([peak, black], (len(rgb), 1))
        yield "hlg-eotf", np.hstack([rgb, ends]), theirs, ROUNDOFF

    white, black = rng.uniform(80, 1000), rng.uniform(0, 0.5)
    theirs = colour.models.eotf_BT1886(signal, black, white)
    ends = np.tile([white, black], (POINTS, 1))
    yield "bt1886-eotf", np.column_stack([signal, ends]), theirs, ROUNDOFF

    index = rng.uniform(1, 1023, POINTS)
    light = colour.models.eotf_DICOMGSDF(index / 1023)
    yield "gsdf", index[:, None], light, ROUNDOFF
    yield "gsdf-index", light[:, None], index, ROUNDOFF
    theirs = colour.models.eotf_inverse_DICOMGSDF(light) * 1023
    yield "gsdf-index", light[:, None], theirs, GSDF_INDEX


def evaluated(binary, function, arguments, folder):
    table = folder / "table.csv"
    header = ",".join(f"v{i}" for i in range(arguments.shape[1]))
    np.savetxt(table, arguments, fmt="%.17g", delimiter=",", header=header, comments="")
    done = subprocess.run([binary, function, table], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{binary} {function}: {done.stderr}")
    return np.array([[float(v) for v in line.split(",")] for line in done.stdout.splitlines()])


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) == 3 else time.time_ns() % 2**32
    print(f"seed {seed}, colour-science {colour.__version__}, numpy {np.__version__}")
    passed, total = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for function, arguments, theirs, tolerance in cases(np.random.default_rng(seed)):
            ours = evaluated(binary, function, arguments, Path(folder))
            theirs = np.asarray(theirs).reshape(len(arguments), -1)
            if ours.shape != theirs.shape:
                sys.exit(f"{function}: {ours.shape} values, expected {theirs.shape}")
            difference = float((np.abs(ours - theirs) / np.maximum(1.0, np.abs(theirs))).max())
            good = bool(difference <= tolerance)  # False for NaN too
            passed, total = passed + good, total + 1
            print(f"{function}: difference {difference:.2e}, tolerance {tolerance:g} {'ok' if good else 'FAILED'}")
    print(f"colour values: {passed} of {total} checks passed")
    sys.exit(0 if passed == total else 1)


if __name__ == "__main__":
    main()
