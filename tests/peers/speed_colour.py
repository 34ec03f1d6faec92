"""CIEDE2000 of a million pairs in one thread, ours against colour-science, in turns in one run.

Usage: speed_colour.py BINARY [REPEATS]

BINARY is the example `delta_e_speed` of evenstep-colour. Each turn times both, so that a machine slowed by others slows
both; the ratio of the medians of the turns is printed, and their ranges. By hand, never in .ci/run. Needs numpy and
colour-science.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import subprocess  # noqa: E402
import sys  # noqa: E402
import tempfile  # noqa: E402
import time  # noqa: E402
import warnings  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402

warnings.filterwarnings("ignore")  # colour-science speaks of optional packages that are not needed here
import colour  # noqa: E402

PAIRS = 1_000_000
AGREE = 1e-9  # of the means; each pair is checked in colour_values.py


def main():
    binary = sys.argv[1]
    repeats = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    rng = np.random.default_rng(1)
    lab = np.column_stack([rng.uniform(0, 100, PAIRS), rng.uniform(-100, 100, (PAIRS, 2))])
    near = lab + rng.normal(0, 3, lab.shape)
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "pairs.csv"
        np.savetxt(table, np.hstack([lab, near]), fmt="%.17g", delimiter=",", header="a,b,c,d,e,f", comments="")
        for _ in range(repeats):
            start = time.perf_counter()
            mean = colour.delta_E(lab, near, method="CIE 2000").mean()
            theirs.append(time.perf_counter() - start)
            printed = subprocess.run([binary, str(table), "1"], capture_output=True, text=True, check=True).stdout
            seconds, own = map(float, printed.split(","))
            if abs(own - mean) > AGREE * mean:
                sys.exit(f"means differ: {own} and {mean}")
            ours.append(seconds)
    a, b = np.median(ours), np.median(theirs)
    print(f"CIEDE2000, {PAIRS} pairs: ours {a:.4f} s ({min(ours):.4f} to {max(ours):.4f}), "
          f"colour-science {b:.4f} s ({min(theirs):.4f} to {max(theirs):.4f}), {b / a:.1f} times")


if __name__ == "__main__":
    main()
