"""Parallax of what touches the left and right frame edge, by rows.

At the left edge it is read in the right eye and at the right edge in the left eye. Something in front of the screen
lies further left in the right eye, so it is the right eye's left edge that cuts it, and the cut part still has its
partner in the left eye; the other way round there would be none.
"""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.table import EDGE_BANDS, NAN

STRIP_SHARE = 0.01
"""Content within this share of the width of an edge is taken to touch it."""

_MIN_STRIP_PX = 4
_NEED_IN_ROW = 0.5
_FRONT_SHARE = 0.1
_MIN_ROWS = 2


def edge_bands(parallax: Parallax, hidden: npt.NDArray[np.int32], *, right_side: bool) -> npt.NDArray[np.float64]:
    """Most negative parallax in each row band of one side, in the map's own unit; NaN where nothing was matched.

    Parameters
    ----------
    parallax : (h, w) float32
        Seen from the right eye for the left side, from the left eye for the right side.
    hidden : (h,) int
        Columns of that eye that are black at that side, per row: the strip begins behind them.
    right_side : bool

    Notes
    -----
    A row's value is the median over its strip; a band's value is low among its rows (its tenth part), so that a single
    row cannot decide and a small object still does.
    """
    height, width = parallax.shape
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    offsets = hidden[:, None] + np.arange(strip)[None, :]
    inside = offsets < width
    columns = np.clip(width - 1 - offsets if right_side else offsets, 0, width - 1)
    values = np.where(inside, np.take_along_axis(parallax, columns, axis=1), np.nan)
    enough = np.isfinite(values).mean(axis=1) >= _NEED_IN_ROW
    rows = np.full(height, np.nan)
    if enough.any():
        rows[enough] = np.nanmedian(values[enough], axis=1)
    bands = np.full(EDGE_BANDS, np.nan)
    borders = np.linspace(0, height, EDGE_BANDS + 1).round().astype(int)
    for band, (first, after) in enumerate(itertools.pairwise(borders)):
        found = rows[first:after]
        found = found[np.isfinite(found)]
        if found.size >= min(_MIN_ROWS, after - first) and found.size:
            bands[band] = np.sort(found)[int(_FRONT_SHARE * found.size)]
    return bands


def nearest_band(bands: npt.NDArray[np.float64]) -> float:
    """The most negative of the bands; NaN where all are empty."""
    found = bands[np.isfinite(bands)]
    return float(found.min()) if found.size else NAN
