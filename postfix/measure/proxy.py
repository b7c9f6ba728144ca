"""The small 8-bit pictures on which parallax is found; they are never fed back into a finished picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.float32]
Grey8 = npt.NDArray[np.uint8]

PROXY_WIDTH_PX = 384
"""Wide enough that a percentile of parallax is good to a twentieth of a percent of width, small enough to keep up with
decoding."""

FLAT_CONTRAST = 0.004
"""A picture whose middle 99 % spans less than this share of white is flat: nothing in it can be matched."""

LARGEST_LUMA = 1e4
"""Reference white times this is no light a camera or a picture holds: such a sample counts as no number."""

SMALL_PX = (48, 27)
"""Columns and rows in which two frames are compared for standing still."""

_GAIN_RANGE = (0.5, 2.0)
_STRETCH_MAX = 10.0


@dataclass(frozen=True)
class ProxyPair:
    """Both eyes at proxy size, (h, w) uint8, alike in mean and contrast.

    Attributes
    ----------
    scale : float
        Source pixels per proxy pixel.
    luma, right_luma : (h, w) float32
        The left and the right eye as they are, 0 at black and 1 at white.
    is_finite : bool
        Whether every sample of both eyes is a number; if not, nothing else here means anything.
    is_flat : bool
        Whether one of the eyes has no contrast anywhere worth the name.
    """

    left: Grey8
    right: Grey8
    scale: float
    luma: Grey
    right_luma: Grey
    is_finite: bool
    is_flat: bool


def proxy_pair(left: Grey, right: Grey) -> ProxyPair:
    """Scale both eyes, bring the right to the left's mean and contrast, and spread them over 8 bits.

    Parameters
    ----------
    left, right : (H, W) float32, 0 at black and 1 at white
    """
    height, width = left.shape
    proxy_height = max(1, round(height * PROXY_WIDTH_PX / width))
    small_left, small_right = (_scaled(eye, PROXY_WIDTH_PX, proxy_height) for eye in (left, right))
    if not all(bool((np.abs(eye) < LARGEST_LUMA).all()) for eye in (small_left, small_right)):
        blank = np.zeros(small_left.shape, np.uint8)
        return ProxyPair(blank, blank, width / PROXY_WIDTH_PX, small_left, small_right, is_finite=False, is_flat=True)
    mean_left, spread_left = float(small_left.mean()), float(small_left.std())
    mean_right, spread_right = float(small_right.mean()), float(small_right.std())
    gain = float(np.clip(spread_left / max(spread_right, 1e-6), *_GAIN_RANGE))
    spans = [np.percentile(eye[::3, ::3], (0.5, 99.5)) for eye in (small_left, small_right)]
    low, high = (float(v) for v in spans[0])
    alike = (small_right - mean_right) * gain + mean_left
    stretch = min(255.0 / max(high - low, 1e-6), _STRETCH_MAX * 255.0)

    def as_bytes(eye: Grey) -> Grey8:
        return np.asarray(np.clip((eye - low) * stretch + 0.5, 0.0, 255.0), np.uint8)

    is_flat = any(float(span[1] - span[0]) < FLAT_CONTRAST for span in spans)
    return ProxyPair(
        as_bytes(small_left),
        as_bytes(alike),
        width / PROXY_WIDTH_PX,
        small_left,
        small_right,
        is_finite=True,
        is_flat=is_flat,
    )


@lru_cache(maxsize=4)
def pixel_grid(height: int, width: int) -> tuple[Grey, Grey]:
    """Column and row of every pixel of a small picture, (height, width) each, to move it by; read-only."""
    columns = np.broadcast_to(np.arange(width, dtype=np.float32), (height, width))
    rows = np.broadcast_to(np.arange(height, dtype=np.float32)[:, None], (height, width))
    grid = np.ascontiguousarray(columns), np.ascontiguousarray(rows)
    for part in grid:
        part.flags.writeable = False
    return grid


def small_luma(luma: Grey) -> Grey:
    """A proxy's luma, reduced to :data:`SMALL_PX`."""
    return np.asarray(cv2.resize(luma, SMALL_PX, interpolation=cv2.INTER_AREA), np.float32)


def _scaled(grey: Grey, width: int, height: int) -> Grey:
    if grey.shape == (height, width):
        return grey
    # Smaller pictures are enlarged: the matcher finds sub-pixel parallax with an error of its own grid.
    how = cv2.INTER_AREA if grey.shape[1] > width else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(grey, (width, height), interpolation=how), np.float32)
