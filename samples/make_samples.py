"""Makes the clip pair, the edit list and the plan in this folder again, from the made-up film of the demo.

    python samples/make_samples.py [demo-out]

With the folder of a finished demo its plan is taken over too.
"""

import sys
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from av.video.reformatter import ColorRange, Colorspace

from postfix.deliver.codecs import VideoSpec
from postfix.deliver.video import write_video
from postfix.demo.film import FILM, RATE
from postfix.demo.footage import START_TIMECODE
from postfix.source.timecode import timecode_at

HERE = Path(__file__).parent
SIZE = (480, 270)
SHOTS = ("beach", "lane")
FRAMES_OF_EACH = 20
SPEC = VideoSpec(
    codec="h264",
    pixel_format="yuv420p",
    width=SIZE[0],
    height=SIZE[1],
    rate=Fraction(25),
    profile="High",
    color_range=1,
    color_primaries=1,
    color_transfer=1,
    color_matrix=1,
)


def yuv420p(rgb):
    """Limited-range BT.709 planes of a float picture (H, W, 3)."""
    small = cv2.resize(rgb, SIZE, interpolation=cv2.INTER_AREA)
    frame = av.VideoFrame.from_ndarray((np.clip(small, 0, 1) * 255 + 0.5).astype(np.uint8), "rgb24")
    frame = frame.reformat(format="yuv420p", dst_colorspace=Colorspace.ITU709, dst_color_range=ColorRange.MPEG)
    return tuple(np.frombuffer(p, np.uint8).reshape(p.height, -1)[:, : p.width].copy() for p in frame.planes)


def make_clips():
    """Two short clips of two shots: a far horizon, and banners cut by both edges."""
    shots = [shot for shot in FILM if shot.name in SHOTS]
    pairs = [shot.scene.render(frame) for shot in shots for frame in range(FRAMES_OF_EACH)]
    for number, eye in enumerate(("left", "right")):
        path = HERE / f"slipway_{eye}.mp4"
        write_video(path, SPEC, (yuv420p(pair[number]) for pair in pairs))
        print(path, path.stat().st_size, "bytes")


def make_edit_list():
    """The cuts of the whole film as a CMX 3600 list."""
    lines = ["TITLE: WIND OVER THE SLIPWAY", "FCM: NON-DROP FRAME", ""]
    first = 0
    for number, shot in enumerate(FILM, start=1):
        start, end = (timecode_at(START_TIMECODE, frame, RATE) for frame in (first, first + shot.frames))
        lines.append(f"{number:03d}  KITE     V     C        {start} {end} {start} {end}")
        lines.append(f"* FROM CLIP NAME: {shot.name}")
        first += shot.frames
    (HERE / "kite-workshop.edl").write_text("\n".join(lines) + "\n")


def keep_plan(demo_folder):
    """Take the plan for the 12 m cinema from a finished demo."""
    plan = Path(demo_folder) / "run" / "cinema-12m" / "plan.toml"
    (HERE / "kite-workshop-plan.toml").write_bytes(plan.read_bytes())


if __name__ == "__main__":
    make_clips()
    make_edit_list()
    if len(sys.argv) > 1:
        keep_plan(sys.argv[1])
