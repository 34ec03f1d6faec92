"""Passes pictures through LUTs and holds the result against ffmpeg and Pillow, on fresh random LUTs and pictures.

Usage: apply_ffmpeg.py EVENSTEP CUBE_TOOL [SEED]

EVENSTEP is the command, CUBE_TOOL the example of evenstep-lut. LUTs and pictures are drawn anew on every run; the seed is
printed, and a run is repeated by giving it. The cube files are written by us and read by ffmpeg; Pillow takes their
numbers. Checked, at 8 and 16 bits, for a smooth and a rough LUT:

- `apply` gives the codes nearest to what ffmpeg's filter `lut3d` gives for the same signals in floating point;
- ffmpeg's own whole-number result, which cuts decimals off, is ours or one code less;
- Pillow's `ImageFilter.Color3DLUT` (8 bits, trilinear) gives our codes within one;
- pictures that they write are read by us, and ours by them, sample by sample: PNG and TIFF, with and without alpha.

Needs numpy, pillow and the command ffmpeg.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import PIL
from PIL import Image, ImageFilter

WIDTH, HEIGHT = 301, 97
METHODS = ("tetrahedral", "trilinear")
# Both sides hold a position of up to 40 cells in single precision, rounded about twice on each side: 4 * 40 * 2^-24 of a
# cell in each of three channels. Over a cell the smooth LUT changes by at most 2 / 16, the rough one, of up to 5 cells,
# by 1: less than 4e-6 of the signal either way.
SINGLE = 4e-6
# Pillow holds the table and its weights as 16-bit whole numbers: to 1/64 of a code, and then it rounds; so do we.
PILLOW = 1


def run(*command, stdin=None):
    done = subprocess.run([str(c) for c in command], input=stdin, capture_output=True)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))}: {done.stderr.decode(errors='replace')}")
    return done.stdout


def ffmpeg(*arguments, stdin=None):
    return run("ffmpeg", "-v", "error", "-nostdin" if stdin is None else "-y", *arguments, stdin=stdin)


def raw(kind, size=(WIDTH, HEIGHT)):
    return ("-f", "rawvideo", "-pix_fmt", kind, "-s", f"{size[0]}x{size[1]}")


def decoded(path, kind, dtype, channels):
    data = ffmpeg("-i", path, "-f", "rawvideo", "-pix_fmt", kind, "-")
    return np.frombuffer(data, dtype).reshape(HEIGHT, WIDTH, channels)


def smooth(rng):
    """A correction as one is loaded: bent tone curves and a little mixing."""
    size = int(rng.integers(17, 41))
    axis = np.linspace(0, 1, size)
    b, g, r = np.meshgrid(axis, axis, axis, indexing="ij")
    rgb = np.stack([r, g, b], -1) ** rng.uniform(0.9, 1.1, 3)
    mixing = np.eye(3) + rng.uniform(-0.08, 0.08, (3, 3))
    return np.clip(rgb @ mixing.T, 0, 1)


def rough(rng):
    size = int(rng.integers(2, 7))
    return rng.uniform(0, 1, (size, size, size, 3))


def write_cube(table, path, tool, folder):
    """The table, its first axis blue, as a file of ours."""
    plain = folder / "plain.cube"
    rows = "\n".join(" ".join(f"{v:.7f}" for v in row) for row in table.reshape(-1, 3))
    plain.write_text(f"LUT_3D_SIZE {table.shape[0]}\n{rows}\n")
    run(tool, "rewrite", plain, path)


def lut3d(cube, how):
    return f"lut3d=file={cube}:interp={how}"


def main():
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    evenstep, tool = sys.argv[1:3]
    seed = int(sys.argv[3]) if len(sys.argv) == 4 else time.time_ns() % 2**32
    version = run("ffmpeg", "-version").decode().split()[2]
    print(f"seed {seed}, ffmpeg {version}, Pillow {PIL.__version__}, numpy {np.__version__}")
    rng = np.random.default_rng(seed)
    checks = []

    def check(what, difference, limit, unit="codes"):
        good = bool(difference <= limit)  # False for NaN too
        checks.append(good)
        print(f"{what}: largest difference {difference:.4g} {unit}, limit {limit:.4g} {'ok' if good else 'FAILED'}")

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for label, table in (("smooth", smooth(rng)), ("rough", rough(rng))):
            cube = folder / "lut.cube"
            write_cube(table, cube, tool, folder)
            for bits, kind, dtype in ((8, "rgb24", "u1"), (16, "rgb48le", "<u2")):
                largest = 2**bits - 1
                source = rng.integers(0, largest + 1, (HEIGHT, WIDTH, 3)).astype(dtype)
                # Ends of the axes and greys too.
                source[0] = rng.choice([0, largest], (WIDTH, 3))
                source[1] = source[1, :, :1]
                picture = folder / f"source{bits}.png"
                png = "rgb24" if bits == 8 else "rgb48be"
                ffmpeg(*raw(kind), "-i", "-", "-pix_fmt", png, picture, stdin=source.tobytes())
                signals = (source / largest).astype("<f4")
                planes = signals[..., [1, 2, 0]].transpose(2, 0, 1).tobytes()
                for how in METHODS:
                    what = f"{label} {table.shape[0]}^3, {bits} bits, {how}"
                    for ending in ("png", "tiff"):
                        out = folder / f"out.{ending}"
                        run(evenstep, "apply", cube, picture, "-o", out, "--evaluate", how, "--force", "--quiet")
                        ours = decoded(out, kind, dtype, 3).astype(float)
                        data = ffmpeg(
                            *raw("gbrpf32le"), "-i", "-", "-vf", lut3d(cube, how), *raw("gbrpf32le"), "-",
                            stdin=planes,
                        )
                        floats = np.frombuffer(data, "<f4").reshape(3, HEIGHT, WIDTH)[[2, 0, 1]].transpose(1, 2, 0)
                        miss = np.abs(ours - floats.astype(float) * largest).max()
                        check(f"{what}, {ending}, ffmpeg in floating point", miss, 0.5 + largest * SINGLE)
                    data = ffmpeg(*raw(kind), "-i", "-", "-vf", lut3d(cube, how), *raw(kind), "-", stdin=source.tobytes())
                    cut = np.frombuffer(data, dtype).reshape(source.shape).astype(float)
                    # Half a code off the middle: 0 and 1 are equally far.
                    check(f"{what}, ffmpeg in whole numbers", np.abs(ours - cut - 0.5).max(), 0.5)
                if bits == 8:
                    flat = table.reshape(-1, 3).astype(float).ravel().tolist()
                    theirs = Image.fromarray(source).filter(ImageFilter.Color3DLUT(table.shape[0], flat))
                    # The last method was trilinear.
                    check(f"{label}, 8 bits, trilinear, Pillow", np.abs(ours - np.asarray(theirs, float)).max(), PILLOW)

        identity = folder / "identity.cube"
        write_cube(np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij")[::-1], -1), identity, tool, folder)
        rgba = rng.integers(0, 256, (HEIGHT, WIDTH, 4)).astype("u1")
        for mode, array in (("RGBA", rgba), ("RGB", np.ascontiguousarray(rgba[..., :3])), ("L", rgba[..., 0])):
            for ending, options in (("png", {}), ("tiff", {"compression": "tiff_lzw"}), ("tif", {})):
                theirs, ours = folder / f"theirs.{ending}", folder / f"ours.{ending}"
                Image.fromarray(array).save(theirs, **options)
                run(evenstep, "apply", identity, theirs, "-o", ours, "--force", "--quiet")
                back = np.asarray(Image.open(ours)).astype(int)
                expected = np.repeat(array[..., None], 3, -1) if mode == "L" else array
                check(f"identity, {mode} {ending} {options or ''}, Pillow", np.abs(back - expected).max(), 0)

    print(f"apply: {sum(checks)} of {len(checks)} checks passed")
    sys.exit(0 if all(checks) else 1)


if __name__ == "__main__":
    main()
