"""Runs the example `scheme_table` of evenstep-scatter: predictions of a scheme from a table of sites."""

import csv
import subprocess
import sys
from pathlib import Path

import numpy as np


class Binary:
    """The example, with a folder for its tables, and a tally of the checks made with it."""

    def __init__(self, path, folder):
        self.path, self.table = path, Path(folder) / "table.csv"
        self.passed = self.total = 0

    def predict(self, spec, smoothing, sites, values, queries):
        """One row for each query: three outputs, and their standard errors where the scheme has them."""
        with open(self.table, "w", newline="", encoding="ascii") as file:
            writer = csv.writer(file)
            writer.writerow(["kind", "x", "y", "z", "a", "b", "c"])
            for site, value in zip(sites, values):
                writer.writerow(["site", *map(repr, (*map(float, site), *map(float, value)))])
            for query in queries:
                writer.writerow(["query", *map(repr, map(float, query)), 0, 0, 0])
        run = subprocess.run(
            [self.path, self.table, spec, repr(smoothing)], check=True, capture_output=True, text=True
        )
        return np.array([[float(v) for v in line.split(",")] for line in run.stdout.splitlines()])

    def check(self, what, got, expected, tolerance):
        """Counts and prints whether max |got - expected| / max |expected| is within the tolerance."""
        if got.shape != expected.shape:
            sys.exit(f"{what}: {got.shape} figures, expected {expected.shape}")
        difference = np.abs(got - expected).max() / np.abs(expected).max()
        good = bool(difference <= tolerance)  # False for NaN too
        self.passed, self.total = self.passed + good, self.total + 1
        print(f"{what:66} relative difference {difference:.2e} {'ok' if good else 'FAILED'}")

    def finish(self, what):
        print(f"{what}: {self.passed} of {self.total} checks passed")
        sys.exit(0 if self.passed == self.total else 1)
