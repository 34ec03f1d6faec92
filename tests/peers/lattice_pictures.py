"""Exchanges lattices with Pillow: its 3D LUT filter on our files, and our reading of pictures it wrote.

Usage: lattice_pictures.py BINARY [SEED]

BINARY is the command `evenstep`. LUTs are drawn anew on every run; the seed is printed, and a run is repeated by giving it.
Checked, for 16 and 25 nodes:

- a random lattice written as cube text, Common LUT Format and PNG by `convert` holds the same codes, read back by Python;
- a lattice that Pillow wrote as a PNG, converted by us to cube text, holds the same codes;
- Pillow's Color3DLUT with the nodes of our file gives a picture within rounding of trilinear interpolation in double
  precision of the nodes that went in.

Needs numpy and Pillow.
"""

import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as xml
from pathlib import Path

import numpy as np
import PIL
from PIL import Image, ImageFilter

# Pillow's filter on 8-bit pictures works in whole numbers: nodes in 1/64 of a code, positions in 2^-18 of a cell, weights in
# 2^-15, each of three mixes cut off to 1/64, the last result rounded (src/libImaging/ColorLUT.c of python-pillow/Pillow,
# read 2026). So a code differs by the rounding, half a node's unit, three cuts and weights whose sum is 2^-15 short in each
# mix, and by what its places move: the step of a position is cut off by less than 2^-18 and taken up to 255 times, and the
# weight by less than 2^-15, in each axis.
CODE = 0.5 + 0.5 / 64 + 3 / 64 + 3 * 255 * 2**-15
PLACE = 255 * 2**-18 + 2**-15
PIXELS = 64


def convert(binary, *arguments):
    done = subprocess.run([binary, "convert", *map(str, arguments)], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"convert {arguments}: {done.stderr}")


def rows(path):
    lines = path.read_text().splitlines()
    return np.array([[float(v) for v in line.split()] for line in lines if line[:1].isdigit() or line[:1] == "-"])


def trilinear(nodes, size, signal):
    """nodes[b, g, r, channel], signal[n, 3] of 0 to 1."""
    table = nodes.reshape(size, size, size, 3)
    at = signal * (size - 1)
    low = np.minimum(at.astype(int), size - 2)
    inside = at - low
    total = np.zeros_like(signal)
    for corner in np.ndindex(2, 2, 2):
        step = np.array(corner)
        weight = np.prod(np.where(step == 1, inside, 1 - inside), axis=1)
        r, g, b = (low + step).T
        total += weight[:, None] * table[b, g, r]
    return total


def slopes(nodes, size, signal):
    """Sum over the axes of how much each channel changes over the cell of a signal or one below it, at most: a position on a
    node that was cut off lies there."""
    table = nodes.reshape(size, size, size, 3)
    low = np.minimum((signal * (size - 1)).astype(int), size - 2)
    total = np.zeros_like(signal)
    for axis in range(3):
        step = np.eye(3, dtype=int)[axis]
        most = np.zeros_like(signal)
        for corner in np.ndindex(3, 3, 3):
            if corner[axis] < 2:
                r, g, b = here = np.maximum(low + np.array(corner) - 1, 0).T
                x, y, z = (here.T + step).T
                most = np.maximum(most, np.abs(table[z, y, x] - table[b, g, r]))
        total += most
    return total


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) == 3 else time.time_ns() % 2**32
    print(f"seed {seed}, Pillow {PIL.__version__}, numpy {np.__version__}")
    rng = np.random.default_rng(seed)
    checks = []

    def check(what, difference, limit):
        good = bool(difference <= limit)  # False for NaN too
        checks.append(good)
        print(f"{what}: largest difference {difference:.2e}, limit {limit:g} {'ok' if good else 'FAILED'}")

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for level in (4, 5):
            size, side = level**2, level**3
            codes = rng.integers(0, 256, (size**3, 3))
            theirs = folder / f"theirs{size}.png"
            Image.fromarray(codes.astype(np.uint8).reshape(side, side, 3)).save(theirs)
            cube, clf, png = (folder / f"ours{size}.{ending}" for ending in ("cube", "clf", "png"))
            convert(binary, theirs, "-o", cube)
            check(f"{size} nodes, their PNG as cube text", np.abs(rows(cube) * 255 - codes).max(), 1e-9)
            convert(binary, cube, "-o", clf, "--bits", 8)
            array = xml.parse(clf).find(".//{*}Array")
            blue_fastest = np.array(array.text.split(), dtype=float).reshape(size, size, size, 3)
            red_fastest = blue_fastest.transpose(2, 1, 0, 3).reshape(-1, 3)
            check(f"{size} nodes, our CLF", np.abs(red_fastest - codes).max(), 0)
            convert(binary, clf, "-o", png, "--bits", 8)
            back = np.asarray(Image.open(png)).reshape(-1, 3).astype(int)
            check(f"{size} nodes, our PNG", np.abs(back - codes).max(), 0)

            picture = rng.integers(0, 256, (PIXELS, PIXELS, 3))
            table = ImageFilter.Color3DLUT(size, rows(cube).ravel().tolist())
            image = Image.fromarray(picture.astype(np.uint8)).filter(table)
            expected = trilinear(codes.astype(float), size, picture.reshape(-1, 3) / 255)
            got = np.asarray(image).reshape(-1, 3).astype(float)
            allowed = CODE + PLACE * slopes(codes.astype(float), size, picture.reshape(-1, 3) / 255)
            check(f"{size} nodes, Pillow's filter with our file, of what rounding allows",
                  (np.abs(got - expected) / allowed).max(), 1)

    print(f"lattice pictures: {sum(checks)} of {len(checks)} checks passed")
    sys.exit(0 if all(checks) else 1)


if __name__ == "__main__":
    main()
