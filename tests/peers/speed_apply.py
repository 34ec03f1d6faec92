"""Times a 4K frame through a LUT beside ffmpeg's filter lut3d, one thread each.

Usage: speed_apply.py FRAME_SPEED [REPEATS]

FRAME_SPEED is the example of evenstep-apply, built with --release. Run by hand, never by .ci/run; docs/speed.md holds
figures. Both sides pass the same frame through the same cube FRAMES times in a process of one thread; what reading the
frame and starting cost is measured by a run without the work (ffmpeg: filter `null`) and taken off. CPU seconds, which
other users of the machine move less than the clock; the two sides take turns, medians are printed. A pair is floating
point (ours with the samples of a pixel side by side, ffmpeg in planes), 16 bits or 8 bits.

A second table holds two threads against one, ours alone, by the clock: it means something on a machine with two idle cores.

Needs numpy and the command ffmpeg.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

WIDTH, HEIGHT, FRAMES = 3840, 2160, 20
KINDS = {"f32": ("gbrpf32le", "<f4", 1), "u16": ("rgb48le", "<u2", 65535), "u8": ("rgb24", "u1", 255)}
SCALING = 1.8  # two threads against one
GOALS = {("f32", 33): 1, ("f32", 65): 2, ("u16", 33): 4}  # peer / ours, tetrahedral


def cpu(*command):
    """CPU seconds of a process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([str(c) for c in command], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def clock(*command):
    """Seconds that pass while a process runs."""
    before = time.perf_counter()
    subprocess.run([str(c) for c in command], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - before


def frame(rng):
    """Slow changes of colour with a little grain, as pictures have."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] / [[[HEIGHT]], [[WIDTH]]]
    waves = [0.5 + 0.45 * np.sin(a * x + b * y + c) for a, b, c in rng.uniform(1, 9, (3, 3))]
    return np.clip(np.stack(waves, -1) + rng.normal(0, 0.01, (HEIGHT, WIDTH, 3)), 0, 1)


def cube(path, size):
    axis = np.linspace(0, 1, size)
    b, g, r = np.meshgrid(axis, axis, axis, indexing="ij")
    table = np.stack([r**1.05, 0.95 * g + 0.05 * r, b**0.95], -1).reshape(-1, 3)
    path.write_text(f"LUT_3D_SIZE {size}\n" + "\n".join("%.6f %.6f %.6f" % tuple(row) for row in table) + "\n")


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    binary, repeats = sys.argv[1], int(sys.argv[2]) if len(sys.argv) == 3 else 5
    print(f"load average {os.getloadavg()[0]:.1f}, {repeats} repeats of {FRAMES} frames of {WIDTH} x {HEIGHT}\n")
    print("| LUT | samples | evaluation | ours, CPU ms | Mpx/s | ffmpeg, CPU ms | Mpx/s | ffmpeg / ours | goal |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    picture = frame(np.random.default_rng(1))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind, (pixels, dtype, largest) in KINDS.items():
            samples = (np.round(picture * largest) if largest > 1 else picture).astype(dtype)
            ours, theirs = folder / "ours.raw", folder / "theirs.raw"
            samples.tofile(ours)
            (samples[..., [1, 2, 0]].transpose(2, 0, 1) if kind == "f32" else samples).tofile(theirs)
            for size in (33, 65):
                lut = folder / f"{size}.cube"
                cube(lut, size)
                for how in ("tetrahedral", "trilinear"):

                    def ffmpeg(graph):
                        return cpu(
                            "ffmpeg", "-v", "error", "-nostdin", "-filter_threads", 1, "-threads", 1,
                            "-stream_loop", FRAMES - 1, "-f", "rawvideo", "-pix_fmt", pixels, "-s", f"{WIDTH}x{HEIGHT}",
                            "-i", theirs, "-vf", graph, "-pix_fmt", pixels, "-f", "null", "-",
                        )  # fmt: skip

                    times = ([], [])
                    for _ in range(repeats):
                        speed = [cpu(binary, lut, ours, kind, how, n) for n in (FRAMES, 0)]
                        times[0].append((speed[0] - speed[1]) / FRAMES)
                        speed = [ffmpeg(g) for g in (f"lut3d=file={lut}:interp={how}", "null")]
                        times[1].append((speed[0] - speed[1]) / FRAMES)
                    a, b = map(statistics.median, times)
                    rate = [WIDTH * HEIGHT / t / 1e6 for t in (a, b)]
                    goal = GOALS.get((kind, size), "") if how == "tetrahedral" else ""
                    if goal:
                        goal = f"{goal}: {'met' if b / a >= goal else '**missed**'}"
                    print(
                        f"| {size}³ | {kind} | {how} | {1e3 * a:.1f} | {rate[0]:.0f} | {1e3 * b:.1f} | {rate[1]:.0f} "
                        f"| {b / a:.1f} | {goal} |",
                        flush=True,
                    )
        print("\n| LUT | samples | evaluation | one thread, ms | two, ms | one / two | goal |")
        print("| --- | --- | --- | --- | --- | --- | --- |")
        for kind, (_, dtype, largest) in KINDS.items():
            ours = folder / "ours.raw"
            (np.round(picture * largest) if largest > 1 else picture).astype(dtype).tofile(ours)
            for size in (33, 65):
                times = ([], [])
                for _ in range(repeats):
                    for threads in (1, 2):
                        speed = [clock(binary, folder / f"{size}.cube", ours, kind, "tetrahedral", n, threads) for n in (FRAMES, 0)]
                        times[threads - 1].append((speed[0] - speed[1]) / FRAMES)
                a, b = map(statistics.median, times)
                goal = f"{SCALING}: {'met' if a / b >= SCALING else '**missed**'}"
                print(f"| {size}³ | {kind} | tetrahedral | {1e3 * a:.1f} | {1e3 * b:.1f} | {a / b:.2f} | {goal} |", flush=True)


if __name__ == "__main__":
    main()
