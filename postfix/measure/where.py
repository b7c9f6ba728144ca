"""Where the nearest and the farthest of a frame are to be found in the left eye's picture."""

from __future__ import annotations

import math

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax

PixelBox = tuple[int, ...]
"""x, y, width, height in pixels of the source; empty where there is none."""

_AROUND_PCT = 0.15
"""The map may lie off by this much, percent of width: what it has this little short of an end may lie at it."""

_MOST_SHARE = 0.5
"""One connected group that holds this share of what lies at an end is the thing to be found there."""

_GROUP_TRIM = 0.01
_ALL_TRIM = 0.05
"""Share of the pixels left out at each side of a box: strays of a group, and of scattered pixels."""

_LEAST_SHARE = 0.0005
"""Fewer pixels of the map than this share are chance."""

_GAP_PX = 5


def end_boxes(
    parallax: Parallax, near_pct: float, far_pct: float, width: int, height: int
) -> tuple[PixelBox, PixelBox]:
    """The places of near and far; empty where that figure is NaN or the map does not hold it.

    Parameters
    ----------
    parallax : (h, w) float32
        Dense map of the left eye, in its own pixels; NaN where unknown.
    near_pct, far_pct : float
        Percent of width.
    width, height : int
        Of the source.
    """
    to_px = parallax.shape[1] / 100.0
    # Comparing with NaN is never true, so what is unknown is at no end.
    near = parallax <= np.float32((near_pct + _AROUND_PCT) * to_px)
    far = parallax >= np.float32((far_pct - _AROUND_PCT) * to_px)
    return _box_of(near, width, height), _box_of(far, width, height)


def _box_of(there: npt.NDArray[np.bool_], width: int, height: int) -> PixelBox:
    """The box of the largest connected group, or of nearly all pixels where none holds the most of them."""
    pixels = there.view(np.uint8)
    count = cv2.countNonZero(pixels)
    if count < max(1.0, _LEAST_SHARE * there.size):
        return ()
    # Plain spots and single wrong matches do not part a thing.
    joined = cv2.morphologyEx(pixels, cv2.MORPH_CLOSE, np.ones((_GAP_PX, _GAP_PX), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8, ltype=cv2.CV_16U)
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    x, y, columns, rows = stats[largest, : cv2.CC_STAT_AREA].tolist()
    within = np.s_[y : y + rows, x : x + columns]
    group = (labels[within] == largest) & there[within]
    if cv2.countNonZero(group.view(np.uint8)) >= _MOST_SHARE * count:
        chosen, trim = group, _GROUP_TRIM
    else:
        chosen, trim, x, y = there, _ALL_TRIM, 0, 0
    scale_x, scale_y = width / there.shape[1], height / there.shape[0]
    x0, x1 = _span(chosen, 0, trim, x, scale_x)
    y0, y1 = _span(chosen, 1, trim, y, scale_y)
    x1, y1 = min(x1, width), min(y1, height)
    return x0, y0, x1 - x0, y1 - y0


def _span(chosen: npt.NDArray[np.bool_], axis: int, trim: float, first: int, scale: float) -> tuple[int, int]:
    """First pixel of the source and the one after the last between which all but the trimmed ends lie."""
    counts = cv2.reduce(chosen.view(np.uint8), axis, cv2.REDUCE_SUM, dtype=cv2.CV_32S).ravel()
    summed = np.cumsum(counts)
    spare = trim * float(summed[-1])
    low = first + int(np.searchsorted(summed, spare, side="right"))
    high = first + int(np.searchsorted(summed, summed[-1] - spare, side="left"))
    return math.floor(low * scale), math.ceil((high + 1) * scale)
