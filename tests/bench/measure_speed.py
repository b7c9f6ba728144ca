"""Time of measuring a clip against decoding it, and the largest memory at four times the pixels, as Markdown tables.

.venv/bin/python tests/bench/measure_speed.py [--frames 96] [--rounds 3] [--large-frames 24] [--only time|memory]

Two clips are made anew as ProRes HQ pairs: one that pans over a photographed pair enlarged to 1920×1080, which is
cluttered and 8 % of width deep, more than any screen takes; and the demo film's shots, which are as deep as shots are.
Both have grain of their own in each eye. Decoding both eyes to grey and measuring are timed in turn in the same
process, so that a busy machine spoils both alike; medians are given. Both use every core.
"""

import argparse
import os
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from footage import yuv422p10
from real_pairs import motorcycle
from run_time import timed as timed_command
from tables import heading, machine, outcome, row

from postfix.deliver.codecs import VideoSpec
from postfix.deliver.video import write_video
from postfix.demo.film import film_frame
from postfix.measure.clip import measure_clip
from postfix.source.pair import open_pair
from postfix.source.picture import grey

RATIO_LIMIT = 1.6
MEMORY_LIMIT_MIB = 1.2e9 / 2**20
CROP_WIDTH, CROP_HEIGHT = 640, 360
GRAIN_CODES = 3.0


def panned(eye, count, width, height, seed):
    """Yield planes of ``count`` frames: a crop on its way over the photograph, enlarged, with grain."""
    rows, columns = eye.shape[:2]
    rng = np.random.default_rng(seed)
    # Grain is drawn once and moved about: drawing it for every frame would take longer than encoding.
    grain = rng.normal(0, GRAIN_CODES, (height, width, 1)).astype(np.float32)
    for index in range(count):
        share = index / max(1, count - 1)
        x, y = share * (columns - CROP_WIDTH), share * (rows - CROP_HEIGHT)
        matrix = np.float64([[CROP_WIDTH / width, 0, x], [0, CROP_HEIGHT / height, y]])
        large = cv2.warpAffine(eye, matrix, (width, height), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)
        moved = np.roll(grain, rng.integers(0, (height, width)), axis=(0, 1))
        yield yuv422p10(np.clip(large + moved, 0, 255).astype(np.uint8))


def filmed(eye_number, count, width, height, seed):
    """Yield planes of ``count`` frames of the demo film from its first on, enlarged, with grain."""
    rng = np.random.default_rng(seed)
    grain = rng.normal(0, GRAIN_CODES, (height, width, 1)).astype(np.float32)
    for index in range(count):
        shot, frame = film_frame(index)
        small = np.asarray(shot.scene.render(frame)[eye_number], np.float32) * 255
        large = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
        moved = np.roll(grain, rng.integers(0, (height, width)), axis=(0, 1))
        yield yuv422p10(np.clip(large + moved, 0, 255).astype(np.uint8))


def write_pair(folder, count, width, height, made_up=False):
    """The two files, left and right: of the photograph, or of the demo film."""
    left, right, _ = motorcycle()
    tags = {"color_range": 1, "color_primaries": 1, "color_transfer": 1, "color_matrix": 1}
    spec = VideoSpec("prores", "yuv422p10le", width, height, Fraction(24), profile="HQ", timecode="10:00:00:00", **tags)
    paths = [folder / f"{'film' if made_up else 'pan'}_{eye}.mov" for eye in ("left", "right")]
    make, eyes = (filmed, (0, 1)) if made_up else (panned, (left, right))

    def write(path, eye, seed):
        write_video(path, spec, make(eye, count, width, height, seed))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(write, paths, eyes, (1, 2)))
    return paths


def decode_to_grey(pair):
    """Both eyes through the program's own reader, to the luma that is measured; cores shared as in measuring."""
    workers = os.cpu_count() or 1
    with ThreadPoolExecutor(workers) as pool:
        waiting = []
        for _, left, right in pair.frames():
            waiting.append(
                pool.submit(lambda planes: [grey(eye, pair.format) for eye in planes] and None, (left, right))
            )
            if len(waiting) > workers:
                waiting.pop(0).result()
        for future in waiting:
            future.result()


def decode_to_grey_plainly(paths):
    """Both eyes through libav alone to 8-bit grey, each in a thread of its own."""

    def decode(path):
        with av.open(str(path)) as container:
            container.streams.video[0].thread_type = "AUTO"
            for frame in container.decode(video=0):
                frame.to_ndarray(format="gray")

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(decode, paths))


def timed(job):
    """Wall and CPU seconds."""
    before, started = os.times(), time.perf_counter()
    job()
    wall, after = time.perf_counter() - started, os.times()
    return wall, after.user + after.system - before.user - before.system


def tell_time(folder, count, rounds, made_up):
    """Decoding, decoding plainly and measuring, in turn."""
    paths = write_pair(folder, count, 1920, 1080, made_up)
    pair = open_pair(*paths)
    jobs = {
        "decoding both eyes to grey, the program's reader": lambda: decode_to_grey(pair),
        "decoding both eyes to 8-bit grey, libav alone": lambda: decode_to_grey_plainly(paths),
        "measuring": lambda: measure_clip(pair),
    }
    decode_to_grey_plainly(paths)
    seen = {name: [] for name in jobs}
    for _ in range(rounds):
        for name, job in jobs.items():
            seen[name].append(timed(job))
    medians = {name: np.median(of, axis=0) * 1e3 / count for name, of in seen.items()}
    own, plain, measuring = medians.values()
    what = "the demo film" if made_up else "pan over a photograph"
    print(f"\n1920×1080 ProRes HQ, {what}, {count} frames, {rounds} rounds; limit {RATIO_LIMIT} times decoding.\n")
    heading("what", "wall, ms a frame", "CPU, ms a frame", "of it wall: least", "most")
    for name, (wall, cpu) in medians.items():
        walls = [w * 1e3 / count for w, _ in seen[name]]
        row(name, f"{wall:.1f}", f"{cpu:.1f}", f"{min(walls):.1f}", f"{max(walls):.1f}")
    print()
    heading("measuring takes", "wall", "CPU", f"wall, limit {RATIO_LIMIT}")
    for name, base in (("times the program's reader", own), ("times libav alone", plain)):
        wall, cpu = measuring / base
        row(name, f"{wall:.2f}", f"{cpu:.2f}", outcome(wall, RATIO_LIMIT))


def tell_memory(folder, count):
    """The largest memory of the command at 3840×2160."""
    left, right = write_pair(folder, count, 3840, 2160)
    wall, cpu, memory, code = timed_command(["measure", "--left", left, "--right", right, "-o", folder / "measure.csv"])
    print(f"\n`measure` at 3840×2160, {count} frames; memory stays under 1.2 GB ({MEMORY_LIMIT_MIB:.0f} MiB).\n")
    heading("wall, s", "CPU, s", "largest memory, MiB", "exit code", "outcome")
    row(f"{wall:.1f}", f"{cpu:.1f}", f"{memory:.0f}", code, outcome(memory, MEMORY_LIMIT_MIB))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=96)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--large-frames", type=int, default=24)
    parser.add_argument("--only", choices=("time", "memory"))
    asked = parser.parse_args()
    print(f"{machine()}.")
    with tempfile.TemporaryDirectory() as name:
        if asked.only != "memory":
            for made_up in (False, True):
                tell_time(Path(name), asked.frames, asked.rounds, made_up)
        if asked.only != "time":
            tell_memory(Path(name), asked.large_frames)


if __name__ == "__main__":
    main()
