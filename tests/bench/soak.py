"""Memory and open files of a long job from its first thousand frames to its last, as a Markdown table (Linux).

.venv/bin/python tests/bench/soak.py [measure] [render] [--frames 20000] [--every-s 0.25] [--keep FOLDER]

Tiny footage is made anew: kites that move before a windy sky, with a cut every few seconds, as FFV1. Each command runs
as a process of its own; how far it is is read from its progress bar, what it holds from /proc. Held against each other
are medians of what was seen around frame 1,000 and some 200 frames before the last of the same stage.
"""

import argparse
import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
from tables import heading, machine, row

from postfix.deliver.codecs import VideoSpec
from postfix.deliver.video import write_video

WIDTH, HEIGHT = 96, 54
RATE = Fraction(24)
EARLY_FRAMES = 1000
AROUND_FRAMES = 100
GROWTH_LIMIT_PCT = 5.0
_DONE = re.compile(rb"(\d+)/(\d+)")


# ---- footage


def sky(seed):
    """Clouds wider than the frame, (54, 288) float64, in codes of 8 bits."""
    rng = np.random.default_rng(seed)
    clouds = sum(
        np.kron(rng.random((HEIGHT // size + 1, 3 * WIDTH // size + 1)), np.ones((size, size)))[:HEIGHT, : 3 * WIDTH]
        for size in (2, 4, 9, 18)
    )
    return 40 + 40 * clouds


def eyes_of(frame, first, shot):
    """Luma of both eyes at a frame of a shot that began at ``first``: (54, 96) uint8 each."""
    rng = np.random.default_rng(shot)
    backdrop, far_px = sky(shot), rng.integers(0, 3)
    kites = [(*rng.uniform((0, 0, -0.7, 5), (WIDTH, HEIGHT, 0.7, 13)), 1 + rng.integers(0, 3)) for _ in range(3)]
    at, y, x = frame - first, *np.mgrid[:HEIGHT, :WIDTH]
    pan = round(WIDTH + 30 * np.sin(at / 40) + 8 * np.sin(at / 7))
    shown = []
    for side in (-0.5, 0.5):
        start = pan - round(far_px * (side + 0.5))
        picture = backdrop[:, start : start + WIDTH].copy()
        for number, (left, top, speed, size, near_px) in enumerate(kites):
            middle = (left + speed * at + 4 * np.sin(at / 9 + number)) % WIDTH - side * near_px
            high = HEIGHT / 2 + (top - HEIGHT / 2) * np.cos(at / 31 + number)
            inside = np.abs(x - middle) + np.abs(y - high) < size
            picture[inside] = (70 + 50 * number + 25 * ((x - middle).astype(int) // 3 % 2 + (y - high) / size))[inside]
        shown.append(np.clip(picture, 0, 255).astype(np.uint8))
    return shown


def write_footage(folder, frames):
    """Both eyes' files, left and right."""
    spec = VideoSpec("ffv1", "yuv422p10le", WIDTH, HEIGHT, RATE, color_range=1, color_primaries=1, color_transfer=1,
                     color_matrix=1, timecode="10:00:00:00")  # fmt: skip
    chroma = np.full((HEIGHT, WIDTH // 2), 512, np.uint16)

    def planes(eye):
        rng, first, shot, length = np.random.default_rng(1), 0, 0, 120
        for frame in range(frames):
            if frame == first + length:
                first, shot, length = frame, shot + 1, int(rng.integers(60, 260))
            luma = eyes_of(frame, first, shot)[eye].astype(np.uint16)
            yield (64 + luma * 3, chroma, chroma)

    paths = [folder / f"kites_{eye}.mkv" for eye in ("left", "right")]
    for eye, path in enumerate(paths):
        write_video(path, spec, planes(eye))
    return paths


# ---- watching


@dataclass
class Seen:
    """What was seen of a process: at which frame of which stage, and what it held then."""

    frames: list = field(default_factory=list)
    rss_mib: list = field(default_factory=list)
    files: list = field(default_factory=list)
    peak_mib: float = 0.0
    wall_s: float = 0.0

    def around(self, first, last, values):
        inside = [value for frame, value in zip(self.frames, values) if first <= frame <= last]
        return float(np.median(inside)) if inside else float("nan")


def watched(arguments, total, every_s):
    """Run a command with a terminal for its progress bar; what it held while a bar over ``total`` frames was shown."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("4H", 40, 160, 0, 0))
    seen, done, started = Seen(), [0], time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "postfix", *map(str, arguments)],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm"},
    )
    os.close(theirs)
    said = []

    def read_bar():
        while True:
            try:
                data = os.read(ours, 4096)
            except OSError:
                return
            if not data:
                return
            said.append(data)
            del said[:-50]
            counts = [int(count) for count, of in _DONE.findall(data) if int(of) == total]
            done[0] = counts[-1] if counts else done[0]

    reader = threading.Thread(target=read_bar)
    reader.start()
    while process.poll() is None:
        try:
            status = Path(f"/proc/{process.pid}/status").read_text()
            files = len(os.listdir(f"/proc/{process.pid}/fd"))
        except OSError:
            break
        held = {name: int(kib) / 1024 for name, kib in re.findall(r"(VmRSS|VmHWM):\s*(\d+)", status)}
        if held:
            seen.frames.append(done[0])
            seen.rss_mib.append(held["VmRSS"])
            seen.files.append(files)
            seen.peak_mib = held["VmHWM"]
        time.sleep(every_s)
    code = process.wait()
    reader.join()
    os.close(ours)
    if code not in (0, 5):
        raise RuntimeError(f"{arguments[0]} ended with {code}: {b''.join(said)[-2000:].decode(errors='replace')}")
    seen.wall_s = time.monotonic() - started
    return seen


def tell(name, seen, frames):
    """One row: around the early frame, at the end, the growth between them, and the peak of the whole process."""
    early = (EARLY_FRAMES - AROUND_FRAMES, EARLY_FRAMES + AROUND_FRAMES)
    # What comes after the last frame, such as writing, stands by itself; a bar may stop some frames short of its end.
    late = (frames - 3 * AROUND_FRAMES, frames - AROUND_FRAMES)
    after = max((mib for frame, mib in zip(seen.frames, seen.rss_mib) if frame > late[1]), default=float("nan"))
    rss = [seen.around(*where, seen.rss_mib) for where in (early, late)]
    files = [seen.around(*where, seen.files) for where in (early, late)]
    growth_pct = 100.0 * (rss[1] / rss[0] - 1.0)
    met = "met" if growth_pct <= GROWTH_LIMIT_PCT else "short" if growth_pct == growth_pct else "nothing seen"
    cells = [f"{value:.1f}" for value in (*rss, growth_pct, after, seen.peak_mib)]
    row(name, frames, *cells, f"{files[0]:.0f}", f"{files[1]:.0f}", max(seen.files), f"{seen.wall_s:.0f}", met)
    for share in range(1, 10):
        at = frames * share // 10
        print(
            f"  frame {at}: {seen.around(at - AROUND_FRAMES, at + AROUND_FRAMES, seen.rss_mib):.1f} MiB",
            file=sys.stderr,
        )


# ---- commands


def soak_measure(left, right, folder, frames, every_s):
    """Measure the footage."""
    out = folder / "kites.csv"
    tell("measure", watched(["measure", "--left", left, "--right", right, "-o", out], frames, every_s), frames)
    with out.open() as table:
        rows = sum(1 for _ in table) - 1
    if rows != frames:
        raise RuntimeError(f"{rows} rows of {frames}")


def soak_render(left, right, folder, frames, every_s):
    """Render a plan with a HIT, made of the first part of the footage's own measurement."""
    table, plan, out = folder / "kites.csv", folder / "kites.toml", folder / "rendered"
    if not table.exists():
        # The quickest look will do: what is watched is the rendering.
        typed = ["measure", "--left", left, "--right", right, "--every", "100", "-q", "-o", table]
        subprocess.run([sys.executable, "-m", "postfix", *map(str, typed)], check=True)
    typed = ["plan", table, "--screen", "cinema-12m", "-q", "-o", plan]
    made = subprocess.run([sys.executable, "-m", "postfix", *map(str, typed)])
    if made.returncode not in (0, 5):
        raise RuntimeError(f"plan ended with {made.returncode}")
    typed = ["render", "--left", left, "--right", right, "--plan", plan, "--measurement", table, "--no-check"]
    tell("render", watched([*typed, "-o", out], frames, every_s), frames)


COMMANDS = {"measure": soak_measure, "render": soak_render}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("commands", nargs="*", default=list(COMMANDS), metavar="command", help=", ".join(COMMANDS))
    parser.add_argument("--frames", type=int, default=20_000)
    parser.add_argument("--every-s", type=float, default=0.25)
    parser.add_argument("--keep", type=Path, help="folder for the footage and what is made of it; else a temporary one")
    options = parser.parse_args()
    if options.frames < 2 * EARLY_FRAMES:
        parser.error(f"--frames: at least {2 * EARLY_FRAMES}")
    if unknown := set(options.commands) - set(COMMANDS):
        parser.error(f"no command {', '.join(sorted(unknown))}")
    print(machine() + "\n", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder = options.keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        left, right = write_footage(folder, options.frames)
        heading(
            *("command", "frames", f"MiB at frame {EARLY_FRAMES}", "MiB at the last frames", "growth, %"),
            *("most after the last frame, MiB", "peak, MiB", f"files at {EARLY_FRAMES}", "files at the end"),
            *("most files", "wall, s", f"growth within {GROWTH_LIMIT_PCT:.0f} %"),
        )
        for command in options.commands:
            COMMANDS[command](left, right, folder, options.frames, options.every_s)


if __name__ == "__main__":
    main()
