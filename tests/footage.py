"""Clips whose parallax is known, made from photographs: a crop panned across a real pair, both eyes alike."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
from real_pairs import motorcycle, seen_by_both

from postfix.deliver.codecs import VideoSpec
from postfix.deliver.video import write_video

WIDTH, HEIGHT, FRAMES = 640, 360, 48


@dataclass(frozen=True)
class KnownFrame:
    """One frame of both eyes, (H, W, 3) uint8, and its exact figures in percent of the crop's width."""

    left: np.ndarray
    right: np.ndarray
    parallax_px: np.ndarray
    seen: np.ndarray

    def percentile_pct(self, share):
        return np.percentile(self.parallax_px[self.seen], share) * 100 / self.parallax_px.shape[1]


def panned(index, frames=FRAMES):
    """Frame ``index`` of the crop's way from the upper left to the lower right of the photographs."""
    left, right, parallax = motorcycle()
    height, width = parallax.shape
    share = index / (frames - 1)
    x, y = round(share * (width - WIDTH)), round(share * (height - HEIGHT))
    part = np.s_[y : y + HEIGHT, x : x + WIDTH]
    return KnownFrame(left[part], right[part], parallax[part], seen_by_both(parallax[part]))


def yuv422p10(rgb):
    """Limited-range BT.709 planes of an (H, W, 3) picture of 8 bits, chroma co-sited with the even columns."""
    r, g, b = (rgb[..., i].astype(np.float64) / 255 for i in range(3))
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    cb, cr = (b - y) / 1.8556, (r - y) / 1.5748
    smooth = [(np.roll(c, 1, 1) + 2 * c + np.roll(c, -1, 1))[:, ::2] / 4 for c in (cb, cr)]
    planes = (64 + 876 * y, *(512 + 896 * c for c in smooth))
    return tuple(np.rint(p).astype(np.uint16) for p in planes)


SPECS = {
    "prores.mov": VideoSpec("prores", "yuv422p10le", WIDTH, HEIGHT, Fraction(24), profile="HQ", color_range=1,
                            color_primaries=1, color_transfer=1, color_matrix=1, timecode="10:00:00:00"),
    "ffv1.mkv": VideoSpec("ffv1", "yuv422p10le", WIDTH, HEIGHT, Fraction(24000, 1001), color_range=1,
                          color_primaries=1, color_transfer=1, color_matrix=1),
}  # fmt: skip


def write_videos(folder: Path, kind: str, frames=FRAMES, wanted=None):
    """Left and right video of the panned crop."""
    shown = [panned(i) for i in (wanted or range(frames))]
    paths = tuple(folder / f"bike_{eye}{Path(kind).suffix}" for eye in ("left", "right"))
    for path, eye in zip(paths, ("left", "right")):
        write_video(path, SPECS[kind], (yuv422p10(getattr(frame, eye)) for frame in shown))
    return paths


def write_tiffs(folder: Path, frames=FRAMES, first=1001):
    """Left and right folders of 16-bit TIFF stills of the panned crop."""
    folders = tuple(folder / eye for eye in ("left", "right"))
    for place, eye in zip(folders, ("left", "right")):
        place.mkdir(parents=True)
        for i in range(frames):
            write_still(place / f"bike.{first + i:04d}.tif", getattr(panned(i), eye).astype(np.uint16) * 257)
    return folders


def write_still(path: Path, pixels):
    """One picture through OpenImageIO at its own depth."""
    height, width, channels = pixels.shape
    spec = oiio.ImageSpec(width, height, channels, pixels.dtype.name)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec), oiio.geterror()
    assert out.write_image(np.ascontiguousarray(pixels))
    out.close()
