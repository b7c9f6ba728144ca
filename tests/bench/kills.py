"""Kill a whole job at random moments, carry it on, and hold what it made against an undisturbed run.

    python tests/bench/kills.py [--trials 100] [--seed 1] [--jobs 2] [--keep FOLDER]

Footage is made up in six kinds: three shots of moving pictures each, in three segments, for two screens; one kind is of
footage that needs no change, so that its files are copied. Each trial starts `run`, ends it by SIGKILL after a random
time, looks at what lies there, and runs it again with --resume; every third trial is killed once more on the way.

Looked at: every file that has its own name after the kill is whole, that is, just what the undisturbed run made; the
finished job is byte for byte the undisturbed one, its page too; nothing hidden is left; the exit code is the same; the
footage is untouched. The table stands in docs/reliability.md.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import platform
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from footage import yuv422p10
from picture_files import write_still_file

from postfix.demo.layers import Layer, layered_scene

SIZE = (80, 44)
FRAMES = 130
"""Three segments, the last of them short."""
CUTS = (0, 40, 97)
SCREENS = ("cinema-12m", "tv-55in")
TONE = 0.1

Pair = tuple[Path, Path]


def shown(needs_change: bool) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Both eyes of every frame, (H, W, 3) uint8: each shot pans over a scene of its own, some of it cut by an edge."""
    width, height = SIZE
    scenes = []
    for number, far_pct in enumerate((0.9, 0.6, 1.2) if needs_change else (0.0, 0.0, 0.0)):
        near_pct = far_pct - 0.9
        layers = [Layer(far_pct), Layer(near_pct, (-0.3, 0.2, 0.5, 0.9), 5 + number)]
        scenes.append(layered_scene(2 * width, height, layers, seed=11 + number).render(0))
    ends = (*CUTS[1:], FRAMES)
    for picture, first, end in zip(scenes, CUTS, ends):
        codes = [(np.asarray(eye) * 255).astype(np.uint8) for eye in picture]
        for index in range(first, end):
            # Columns of both eyes alike, so that parallax stays and, being of twice the width, is twice as large.
            at = index - first
            left, right = (eye[:, at : at + width] for eye in codes)
            # Where both eyes have the same picture nothing needs a move or a window.
            yield left, right if needs_change else left


def write_video(path: Path, eye: int, codec: str, pixel_format: str, needs_change: bool, sound: bool) -> None:
    options = {"profile": "3"} if codec == "prores_ks" else {"bf": "2", "g": "30"} if codec == "libx264" else {}
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=24, options=options)
        stream.width, stream.height, stream.pix_fmt = *SIZE, pixel_format
        stream.codec_context.color_range = 1
        stream.codec_context.color_primaries = stream.codec_context.color_trc = stream.codec_context.colorspace = 1
        tone = container.add_stream("pcm_s16le", rate=48000, layout="stereo") if sound else None
        for index, pair in enumerate(shown(needs_change)):
            planes = yuv422p10(pair[eye])
            if pixel_format == "yuv420p":
                planes = tuple((plane >> 2).astype(np.uint8) for plane in (planes[0], planes[1][::2], planes[2][::2]))
            frame = av.VideoFrame(*SIZE, pixel_format)
            for plane, samples in zip(frame.planes, planes):
                view = np.frombuffer(plane, samples.dtype).reshape(plane.height, -1)
                view[:, : samples.shape[1]] = samples
            frame.pts, frame.time_base = index, Fraction(1, 24)
            frame.color_range, frame.colorspace, frame.color_primaries, frame.color_trc = 1, 1, 1, 1
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
        if tone is not None:
            total = FRAMES * 2000
            wave = (8000 * np.sin(2 * np.pi * 220 * np.arange(total) / 48000)).astype(np.int16)
            for start in range(0, total, 1000):
                block = np.repeat(wave[start : start + 1000], 2)[np.newaxis]
                audio = av.AudioFrame.from_ndarray(block, format="s16", layout="stereo")
                audio.sample_rate, audio.pts, audio.time_base = 48000, start, Fraction(1, 48000)
                container.mux(tone.encode(audio))
            container.mux(tone.encode(None))


def write_stills(folder: Path, eye: int, kind: str) -> None:
    folder.mkdir()
    for index, pair in enumerate(shown(True)):
        if kind == "tiff":
            write_still_file(folder / f"gull.{1001 + index}.tif", pair[eye].astype(np.uint16) * 257)
        else:
            ten_bits = (pair[eye].astype(np.uint16) << 2) | (pair[eye] >> 6)
            write_still_file(folder / f"gull.{1001 + index}.dpx", ten_bits, "dpx10")


@dataclass(frozen=True)
class Kind:
    """One kind of footage."""

    suffix: str = ""
    codec: str = ""
    pixel_format: str = "yuv422p10le"
    needs_change: bool = True
    sound: bool = False
    stills: str = ""

    def write(self, folder: Path) -> Pair:
        folder.mkdir(parents=True)
        paths = []
        for eye, name in enumerate(("left", "right")):
            paths.append(folder / (name if self.stills else f"gull_{name}{self.suffix}"))
            if self.stills:
                write_stills(paths[-1], eye, self.stills)
            else:
                write_video(paths[-1], eye, self.codec, self.pixel_format, self.needs_change, self.sound)
        return paths[0], paths[1]


KINDS = {
    "ProRes MOV, sound": Kind(".mov", "prores_ks", sound=True),
    "FFV1 MKV": Kind(".mkv", "ffv1"),
    "H.264 MP4": Kind(".mp4", "libx264", "yuv420p"),
    "TIFF 16-bit stills": Kind(stills="tiff"),
    "DPX 10-bit stills": Kind(stills="dpx"),
    "ProRes, no change": Kind(".mov", "prores_ks", needs_change=False),
}


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def tree(folder: Path) -> dict[str, str]:
    """Every file that has its own name: nothing hidden, and nothing in a hidden folder."""
    found = {path.relative_to(folder): path for path in folder.rglob("*") if path.is_file()}
    return {
        name.as_posix(): digest(path)
        for name, path in found.items()
        if not any(part.startswith(".") for part in name.parts)
    }


def command(pair: Pair, out: Path, *extra: str) -> list[str]:
    words = [sys.executable, "-m", "postfix", "run", "--left", str(pair[0]), "--right", str(pair[1])]
    rate = ["--rate", "24"] if pair[0].is_dir() else []
    screens = [word for name in SCREENS for word in ("--screen", name)]
    return [*words, *rate, *screens, "-o", str(out), *extra]


@dataclass
class Trial:
    """What came of one trial."""

    kind: str
    killed_after_s: list[float] = field(default_factory=list)
    killed_in: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    differs: list[str] = field(default_factory=list)
    code: int = -1
    said: str = ""
    took_s: float = 0.0


def place_of(pair: Pair) -> Path:
    """Where the runs of a kind write, one after the other: the page names its place."""
    return pair[0].parent.parent / "out"


def killed(words: list[str], after_s: float) -> bool:
    """Run, and kill after so long; False where it had ended by itself."""
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        process.wait(after_s)
        return False
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        process.wait()
        return True


def stage(out: Path) -> str:
    """How far a run had come when it was killed."""
    works = sorted(path.name.split(".unfinished")[0].lstrip(".") for path in out.glob(".*.unfinished"))
    if not out.exists():
        return "before anything is written"
    if works:
        return f"versions ({len(list(out.glob('.*.unfinished/marks/[0-9]*')))} marks)"
    if (out / "report.html").exists():
        return "after the page"
    return "page" if all((out / name).exists() for name in SCREENS) else "measure"


def trial(number: int, kind: str, pair: Pair, whole: dict[str, str], code: int, length_s: float, seed: int) -> Trial:
    chance = random.Random(seed * 100_003 + number)
    out, one = place_of(pair), Trial(kind)
    for attempt in range(2 if number % 3 == 0 else 1):
        after_s, words = chance.uniform(0.3, length_s), command(pair, out, *(["--resume"] if attempt else []))
        ended = not killed(words, after_s)
        while ended and attempt == 0:
            # It was quicker than the undisturbed run, when the machine had more to do: once more from the beginning.
            shutil.rmtree(out)
            after_s = chance.uniform(0.3, after_s)
            ended = not killed(words, after_s)
        if not ended:
            one.killed_after_s.append(round(after_s, 2))
            one.killed_in.append(stage(out))
        one.half += [name for name, found in tree(out).items() if whole.get(name) != found]
    started = time.monotonic()
    done = subprocess.run(command(pair, out, "--resume"), capture_output=True, text=True)
    one.took_s, one.code, one.said = time.monotonic() - started, done.returncode, done.stderr
    now = tree(out)
    one.differs = sorted(name for name in {*now, *whole} if now.get(name) != whole.get(name))
    one.differs += [f"left: {path.relative_to(out)}" for path in out.rglob(".*")]
    one.differs += [f"exit code {done.returncode}"] if done.returncode != code else []
    shutil.rmtree(out)
    return one


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2, help="trials at the same time")
    parser.add_argument("--keep", type=Path, help="work in this folder")
    options = parser.parse_args()
    if options.keep:
        options.keep.mkdir(parents=True, exist_ok=True)
    place = Path(tempfile.mkdtemp(prefix="kills-", dir=options.keep))
    pairs, wholes, codes, lengths, before = {}, {}, {}, {}, {}
    for number, (kind, made) in enumerate(KINDS.items()):
        pairs[kind] = made.write(place / str(number) / "in")
        out = place_of(pairs[kind])
        started = time.monotonic()
        done = subprocess.run(command(pairs[kind], out), capture_output=True, text=True)
        lengths[kind], codes[kind] = time.monotonic() - started, done.returncode
        if done.returncode not in (0, 5):
            sys.exit(f"{kind}: {done.stderr}")
        wholes[kind], before[kind] = tree(out), tree(pairs[kind][0].parent)
        shutil.rmtree(out)
        copies = sum(name.split("/")[0] in SCREENS and found in before[kind].values()
                     for name, found in wholes[kind].items())  # fmt: skip
        print(f"{kind}: {len(wholes[kind])} files, {copies} of them as in the source, exit code {codes[kind]}, "
              f"{lengths[kind]:.1f} s", flush=True)  # fmt: skip
    kinds, results = list(KINDS), []
    taken = {kind: threading.Lock() for kind in kinds}

    def one_at_a_time(number: int) -> Trial:
        kind = kinds[number % len(kinds)]
        with taken[kind]:
            return trial(number, kind, pairs[kind], wholes[kind], codes[kind], lengths[kind], options.seed)

    with ThreadPoolExecutor(options.jobs) as pool:
        futures = [pool.submit(one_at_a_time, number) for number in range(options.trials)]
        for number, future in enumerate(futures):
            one = future.result()
            results.append(one)
            print(f"{number} {kinds[number % len(kinds)]}: killed after {one.killed_after_s} s in {one.killed_in}; "
                  f"{one.took_s:.1f} s to the end", flush=True)  # fmt: skip
            if one.half or one.differs:
                print(f"NOT THE SAME: {one}", flush=True)
    touched = [kind for kind, pair in pairs.items() if tree(pair[0].parent) != before[kind]]
    print(f"\n{platform.platform()}, {os.cpu_count()} cores, {options.jobs} trials at a time, seed {options.seed}\n")
    print("| footage | trials | kills | identical in the end | half files |\n|---|---|---|---|---|")
    for kind in [*KINDS, "all"]:
        mine = [one for one in results if kind in (one.kind, "all")]
        kills, same = sum(len(one.killed_after_s) for one in mine), sum(not one.differs for one in mine)
        print(f"| {kind} | {len(mine)} | {kills} | {same} | {sum(len(one.half) for one in mine)} |")
    print(f"footage touched: {touched or 'none'}")
    shutil.rmtree(place)
    if touched or any(one.half or one.differs for one in results):
        sys.exit(1)


if __name__ == "__main__":
    main()
