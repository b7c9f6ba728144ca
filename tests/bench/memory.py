"""Largest memory of measuring and rendering by what was asked for, as Markdown tables: what --memory promises.

.venv/bin/python tests/bench/memory.py [--only NAME] [--memory SIZE ...] [--workers N ...] [--frames N]

Every row is a process of its own on clips of noisy pictures that shift between the eyes; its largest resident memory is
the kernel's high-water mark. ``least`` is what the program reckons that one worker needs; below it refuses (exit 2).
"""

import argparse
import sys
import tempfile
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from footage import yuv422p10
from picture_files import write_still_file
from run_time import timed
from tables import heading, machine, row

from postfix.cli import main
from postfix.deliver.spec import VideoSpec
from postfix.deliver.video import write_video

SPEC = VideoSpec(
    "prores", "yuv422p10le", 0, 0, Fraction(24), profile="HQ", color_range=1, color_primaries=1, color_transfer=1,
    color_matrix=1, timecode="10:00:00:00",
)  # fmt: skip


@dataclass(frozen=True)
class Material:
    """What a clip is made as: a codec of video, or a kind of still."""

    width: int
    height: int
    codec: str = ""
    pixel_format: str = ""
    profile: str = ""
    suffix: str = ".mov"
    still: str = ""
    frames: int = 24


MATERIALS = {
    "1080p ProRes HQ 10 bit": Material(1920, 1080, "prores", "yuv422p10le", "HQ"),
    "1080p H.264 8 bit": Material(1920, 1080, "h264", "yuv420p", "High", ".mp4", frames=64),
    "2160p ProRes HQ 10 bit": Material(3840, 2160, "prores", "yuv422p10le", "HQ"),
    "2160p H.264 8 bit": Material(3840, 2160, "h264", "yuv420p", "High", ".mp4", frames=64),
    "2160p HEVC 10 bit": Material(3840, 2160, "hevc", "yuv420p10le", "Main 10", ".mov", frames=48),
    "2160p FFV1 RGB 16 bit": Material(3840, 2160, "ffv1", "gbrp16le", "", ".mkv", frames=20),
    "2160p DPX 10 bit": Material(3840, 2160, still="dpx10", suffix=".dpx", frames=16),
    "2160p TIFF 16 bit": Material(3840, 2160, still="tiff16", suffix=".tif", frames=16),
    "2160p PNG 16 bit": Material(3840, 2160, still="png16", suffix=".png", frames=12),
    "2160p OpenEXR half": Material(3840, 2160, still="exr-half", suffix=".exr", frames=16),
}


@cache
def patches(width, height):
    """(height, width, 3) uint8: broad patches and grain."""
    rng = np.random.default_rng(5)
    broad = cv2.resize(rng.random((27, 48, 3), np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    grain = cv2.resize(rng.random((height // 2, width // 2, 3), np.float32), (width, height))
    mixed = np.clip(0.6 * broad + 0.3 * grain, 0, 1) * 255
    return mixed.astype(np.uint8)


def picture(width, height, index, shift):
    """The patches, moved to the side for an eye, a little on for each frame."""
    return np.roll(patches(width, height), shift + 3 * index, axis=1)


def planes(rgb, name):
    if name == "yuv422p10le":
        return yuv422p10(rgb)
    if name == "gbrp16le":
        return tuple(rgb[..., i].astype(np.uint16) * 257 for i in range(3))
    y, cb, cr = (plane[:: 1 if i == 0 else 2] for i, plane in enumerate(yuv422p10(rgb)))
    return (y, cb, cr) if name.endswith("10le") else tuple((plane >> 2).astype(np.uint8) for plane in (y, cb, cr))


def write_eyes(folder, what):
    """Both eyes, as the words that name them."""
    made = []
    for eye, shift in (("left", 0), ("right", what.width // 60)):
        shown = (picture(what.width, what.height, index, shift) for index in range(what.frames))
        if what.still:
            place = folder / eye
            place.mkdir()
            largest = {"dpx10": 1023}.get(what.still, 65535)
            for index, rgb in enumerate(shown):
                samples = (rgb.astype(np.float32) / 255).astype(np.float16)
                if what.still != "exr-half":
                    samples = np.rint(rgb.astype(np.float32) * (largest / 255)).astype(np.uint16)
                write_still_file(place / f"gull.{1001 + index}{what.suffix}", samples, what.still)
        else:
            place = folder / f"gull_{eye}{what.suffix}"
            size = {"width": what.width, "height": what.height, "pixel_format": what.pixel_format}
            spec = replace(SPEC, codec=what.codec, profile=what.profile, **size)
            write_video(place, spec, (planes(rgb, what.pixel_format) for rgb in shown))
        made += [f"--{eye}", place]
    return [*made, *(["--rate", "24"] if what.still else []), "--one-shot"]


def tell(name, what, memories, workers, screens):
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        source = write_eyes(folder, what)
        main([*map(str, ["measure", *source, "-q", "--every", "8", "-o", folder / "m.csv"])])
        typed = ["plan", folder / "m.csv", "-q", "--screen", "cinema-12m", "-o", folder / "plan.toml"]
        main([*map(str, typed)])
        for memory in memories:
            for count in workers:
                words = [*(["--memory", memory] if memory else []), *(["--workers", count] if count else [])]
                commands = {
                    "measure": ["measure", *source, "-q", "--force", "-o", folder / "m.csv"],
                    "render": [
                        "render", *source, "-q", "--no-check", "--plan", folder / "plan.toml", "--force",
                        "-o", folder / "out",
                    ],
                }  # fmt: skip
                if screens:
                    several = [word for screen in screens for word in ("--screen", screen)]
                    commands = {"run": ["run", *source, "-q", "--force", "--no-check", *several, "-o", folder / "run"]}
                for command, typed in commands.items():
                    wall, _, largest, code = timed([*typed, *words])
                    outcome = "refused" if code == 2 else f"{largest:.0f}"
                    row(name, command, memory or "", count or "", outcome, f"{wall:.1f}", code)


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("--only", default="")
    asked.add_argument("--memory", nargs="*", default=["", "4G", "2G", "1G", "600M"])
    asked.add_argument("--workers", nargs="*", default=[""])
    asked.add_argument("--screens", nargs="*", default=[])
    options = asked.parse_args()
    print(machine() + "\n")
    heading("clip", "command", "asked", "workers", "largest, MiB", "wall, s", "exit code")
    for name, what in MATERIALS.items():
        if options.only in name:
            tell(name, what, options.memory, options.workers, options.screens)
