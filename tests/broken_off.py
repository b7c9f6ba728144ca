"""Jobs that end at any instant: what the disk holds at each step of a run, and small footage of several segments."""

import contextlib
import os
import shutil
import threading
from fractions import Fraction

import numpy as np
from footage import yuv422p10
from picture_files import write_still_file

from postfix.deliver.spec import VideoSpec
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.effort import Effort, using
from postfix.job.choice import SourceChoice
from postfix.job.run import run_clip
from postfix.job.settings import Settings
from postfix.viewing import BUILTIN_SCREENS

SIZE, FRAMES, SEGMENT = (64, 36), 5, 2
"""Three segments, the last of them short."""

GONE = 2**22 + 77
"""The number of a process that never was: larger than any that the system gives."""

STEPS = ("replace", "rename", "unlink", "mkdir", "rmdir", "link")
"""What changes the names on a disk; whatever else a run does between two of them it does to files that have none."""


def pictures(far_pct, size=SIZE, frames=FRAMES):
    """One layer in front of another; or the same picture for both eyes, which needs no change."""
    layers = [Layer(far_pct), Layer(far_pct - 0.8, (0.3, 0.3, 0.7, 0.8), 5)]
    scene = layered_scene(*size, layers, seed=11)
    shown = [tuple((np.asarray(eye) * 255).astype(np.uint8) for eye in scene.render(i)) for i in range(frames)]
    return shown if far_pct else [(left, left) for left, _ in shown]


def write_videos(folder, *, far_pct=1.4, suffix=".mkv", codec="ffv1", frames=FRAMES):
    folder.mkdir(parents=True)
    pixel_format = "yuv422p10le" if codec != "h264" else "yuv420p"
    spec = VideoSpec(codec, pixel_format, *SIZE, Fraction(24), color_range=1, color_primaries=1, color_transfer=1,
                     color_matrix=1)  # fmt: skip
    paths = [folder / f"gull_{eye}{suffix}" for eye in ("left", "right")]
    for number, path in enumerate(paths):
        shown = (yuv422p10(pair[number]) for pair in pictures(far_pct, frames=frames))
        if codec == "h264":
            shown = ((y // 4, u[::2] // 4, v[::2] // 4) for y, u, v in shown)
            shown = (tuple(plane.astype(np.uint8) for plane in planes) for planes in shown)
        write_video(path, spec, shown)
    return paths


def write_stills(folder, *, far_pct=1.4, frames=FRAMES):
    paths = [folder / eye for eye in ("left", "right")]
    for number, path in enumerate(paths):
        path.mkdir(parents=True)
        for index, pair in enumerate(pictures(far_pct, frames=frames)):
            write_still_file(path / f"gull.{1001 + index}.tif", pair[number].astype(np.uint16) * 257)
    return paths


def carry_out(paths, out, *screens, **settings):
    """A run of one clip without its page, on one thread for each task."""
    choice = SourceChoice(*paths, rate=Fraction(24) if paths[0].is_dir() else None, one_shot=True)
    wanted = tuple(BUILTIN_SCREENS[name] for name in screens or ("cinema-12m",))
    with using(Effort(workers=1)):
        return run_clip(choice, choice.open(), wanted, out, Settings(quiet=True, **settings))


def files(folder):
    """Every file below a folder, hidden ones too, with its bytes, and every empty folder."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() or (path.is_dir() and not any(path.iterdir())):
            found[path.relative_to(folder).as_posix()] = path.read_bytes() if path.is_file() else b""
    return found


def visible(found):
    return {name: data for name, data in found.items() if not any(part.startswith(".") for part in name.split("/"))}


def instants(monkeypatch, out, place, run):
    """Carry out ``run``, which writes to ``out``, and keep in ``place`` what the disk held before each of its steps.

    That is what a process leaves that dies at that instant: its number is given as one that no longer runs. Folders of
    copies, in order; two that hold the same are kept once.
    """
    lock, kept, last = threading.RLock(), [], [None]

    def keep():
        now = files(out)
        if now == last[0]:
            return
        last[0] = now
        kept.append(place / f"{len(kept):04d}")
        if out.exists():
            # Files that are being written have other bytes a moment later, or are gone.
            shutil.copytree(out, kept[-1])
        else:
            kept[-1].mkdir(parents=True)

    def watched(usual):
        def step(*arguments, **named):
            with lock:
                given = [one for one in arguments if isinstance(one, str | os.PathLike)]
                if named.get("dir_fd") is not None or any(str(out) in os.fspath(one) for one in given):
                    keep()
                return usual(*arguments, **named)

        return step

    with monkeypatch.context() as patched:
        patched.setattr(os, "getpid", lambda: GONE)
        for name in STEPS:
            patched.setattr(os, name, watched(getattr(os, name)))
        # What removes folders asks which functions take descriptors of them; it then takes the plain way.
        run()
    return kept


@contextlib.contextmanager
def short_segments(monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr("postfix.source.segments.SEGMENT_FRAMES", SEGMENT)
        yield
