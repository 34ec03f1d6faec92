"""Compares the banding index with that of its authors, as libvmaf computes it, on pictures drawn anew.

Usage: banding_vmaf.py BINARY [SEED]

BINARY is the example `banding_values` of evenstep-audit. The other side is the feature `cambi` of the filter `libvmaf`, of the
ffmpeg that the package imageio-ffmpeg carries, with a window of 63 pixels. Pictures have 3840 x 2160 pixels, at which
libvmaf scales neither the window nor what counts as smooth, and codes of 10 bits, narrow range: straight bands of one
width and one step, upright and lying; slow waves in two directions, rounded to 8 and to 9 bits; the same with grain.
libvmaf takes the most frequent code of 3 x 3 first along rows, then along columns: for straight bands that is the same, for
others nearly. The seed is printed, and a run is repeated by giving it.

    difference = |ours - theirs| / max(1, |theirs|)

Needs numpy and imageio-ffmpeg.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import imageio_ffmpeg
import numpy as np

WIDTH, HEIGHT = 3840, 2160
BLACK, WHITE = 64, 940
# Six decimals in its log, and sums in single precision.
STRAIGHT = 2e-6
# The two filters differ where contours bend or single pixels stand out. In the six runs looked at by at most 1.3e-4 and 6.6e-4.
BENT, GRAIN = 1e-3, 3e-3


def pictures(rng):
    """Name, tolerance and codes."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    for along, name in ((x, "upright"), (y, "lying")):
        for _ in range(2):
            # 32 and more: at the last scale a band of 16 has one pixel, and the order of the filter counts.
            wide, step, first = int(rng.integers(2, 20)) * 16, int(rng.integers(1, 5)), int(rng.integers(BLACK, 300))
            yield f"{name} bands of {wide}, {step} codes apart from {first}", STRAIGHT, np.minimum(first + step * (along // wide), WHITE)
    a, b, c, d = rng.uniform(2, 6, 4)
    wave = 0.3 + 0.1 * np.sin(a * x / WIDTH + c) + 0.1 * np.sin(b * y / HEIGHT + d)
    for bits in (8, 9):
        share = 2 ** (bits - 8)
        for name, tolerance, grain in (("waves", BENT, 0.0), ("waves with grain", GRAIN, rng.normal(0, 0.15, wave.shape))):
            yield f"{name}, {bits} bits", tolerance, BLACK + 4 / share * np.round(219 * share * wave + grain)


def theirs(folder, codes):
    """Of a frame with grey chroma, which the index does not look at."""
    frame, log = folder / "frame.raw", folder / "log.json"
    frame.write_bytes(codes.tobytes() + np.full(WIDTH * HEIGHT // 2, 512, "<u2").tobytes())
    source = ["-f", "rawvideo", "-pix_fmt", "yuv420p10le", "-s", f"{WIDTH}x{HEIGHT}", "-i", str(frame)]
    graph = f"[0:v][1:v]libvmaf=feature=name=cambi\\\\:window_size=63:log_fmt=json:log_path={log}:model="
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-nostdin", *source, *source, "-lavfi", graph, "-f", "null", "-"]
    subprocess.run(command, check=True)
    (value,) = (v for k, v in json.loads(log.read_text())["frames"][0]["metrics"].items() if k.startswith("cambi"))
    return value


def main():
    binary = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else time.time_ns() % 2**32
    print(f"seed {seed}")
    count = failed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for label, tolerance, codes in pictures(np.random.default_rng(seed)):
            codes = codes.astype("<u2")
            (folder / "luma.raw").write_bytes(codes.tobytes())
            run = subprocess.run([binary, folder / "luma.raw", str(WIDTH)], check=True, capture_output=True, text=True)
            a, b = float(run.stdout), theirs(folder, codes)
            difference = abs(a - b) / max(1, abs(b))
            good = difference <= tolerance
            count, failed = count + 1, failed + (not good)
            print(f"{label:<45} ours {a:9.5f}, theirs {b:9.5f}, {difference:.1e} {'<=' if good else '>'} {tolerance:g}")
    print(f"{count} pictures, {failed} differences beyond tolerance")
    if failed:
        sys.exit(1)


if __name__ == "__main__":
    main()
