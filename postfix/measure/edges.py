"""Parallax of what touches the left and right frame edge, by rows.

At the left edge it is read in the right eye and at the right edge in the left eye. Something in front of the screen
lies further left in the right eye, so it is the right eye's left edge that cuts it, and the cut part still has its
partner in the left eye; the other way round there would be none.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.proxy import Grey8
from postfix.measure.table import EDGE_BANDS, NAN

STRIP_SHARE = 0.01
"""Content within this share of the width of an edge is taken to touch it."""

_MIN_STRIP_PX = 4
_NEED_IN_ROW = 0.5
_FRONT_SHARE = 0.1
_MIN_ROWS = 2

_LIKENESS = 0.7
"""Correlation from which a strip and its partner are taken to show the same thing."""

_FLAT_SPREAD = 4.0
"""Codes of 8 bit; where the strip varies less, correlation tells nothing and the match is believed."""


@dataclass(frozen=True)
class Side:
    """What is needed to read one side edge, all at one size.

    Attributes
    ----------
    own, other : (h, w) uint8
        The eye in which the edge is read (right for the left side, left for the right side), and the other one.
    parallax : (h, w) float32
        Seen from the own eye; NaN where nothing was matched.
    own_hidden, other_hidden : (h,) int
        Columns of each eye that are black at that side, per row.
    is_right : bool
        Whether this is the right side.
    """

    own: Grey8
    other: Grey8
    parallax: Parallax
    own_hidden: npt.NDArray[np.int32]
    other_hidden: npt.NDArray[np.int32]
    is_right: bool


def edge_bands(side: Side) -> npt.NDArray[np.float64]:
    """Most negative parallax in each row band of one side, in the map's own unit; NaN where nothing was matched.

    A row's value is the median over its strip; a band's value is low among its rows (its tenth part), so that a single
    row cannot decide and a small object still does. Where the other eye is hidden by a window, what touches the edge
    may have its partner behind the black and be matched with something beside it, so there each band is confirmed by
    correlation.
    """
    height = side.parallax.shape[0]
    rows = _row_values(side)
    bands = np.full(EDGE_BANDS, np.nan)
    borders = np.linspace(0, height, EDGE_BANDS + 1).round().astype(int)
    for band, (first, after) in enumerate(itertools.pairwise(borders)):
        found = rows[first:after]
        found = found[np.isfinite(found)]
        if found.size < min(_MIN_ROWS, after - first) or not found.size:
            continue
        if side.other_hidden[first:after].any() and not _is_confirmed(side, rows, first, after):
            continue
        bands[band] = np.sort(found)[int(_FRONT_SHARE * found.size)]
    return bands


def _row_values(side: Side) -> npt.NDArray[np.float64]:
    """Median parallax of each row's strip, (h,); NaN where less than half of it was matched."""
    inside = _offsets(side) < side.parallax.shape[1]
    values = np.where(inside, np.take_along_axis(side.parallax, _columns(side), axis=1), np.nan)
    enough = np.isfinite(values).mean(axis=1) >= _NEED_IN_ROW
    rows = np.full(len(values), np.nan)
    if enough.any():
        rows[enough] = np.nanmedian(values[enough], axis=1)
    return rows


def _offsets(side: Side) -> npt.NDArray[np.integer[Any]]:
    width = side.parallax.shape[1]
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    return side.own_hidden[:, None] + np.arange(strip)[None, :]


def _columns(side: Side) -> npt.NDArray[np.integer[Any]]:
    """Columns of the strip behind the own eye's black, (h, strip)."""
    width = side.parallax.shape[1]
    offsets = _offsets(side)
    return np.asarray(np.clip(width - 1 - offsets if side.is_right else offsets, 0, width - 1))


def _is_confirmed(side: Side, rows: npt.NDArray[np.float64], first: int, after: int) -> bool:
    """Whether the strip of a band looks like what it was matched with in the other eye."""
    known = first + np.flatnonzero(np.isfinite(rows[first:after]))
    columns = _columns(side)[known]
    # Parallax is right minus left, so a partner lies at +P for the left eye and at −P for the right one.
    partner = columns + (rows[known] if side.is_right else -rows[known])[:, None]
    width = side.parallax.shape[1]
    base = np.clip(np.floor(partner).astype(int), 0, width - 2)
    share = partner - base
    other = side.other[known].astype(np.float64)
    there = (1.0 - share) * np.take_along_axis(other, base, 1) + share * np.take_along_axis(other, base + 1, 1)
    here = np.take_along_axis(side.own[known].astype(np.float64), columns, axis=1)
    here, there = here - here.mean(), there - there.mean()
    spread = math.sqrt(float((here**2).mean()) * float((there**2).mean()))
    if spread < _FLAT_SPREAD:
        return True
    return float((here * there).mean()) / spread >= _LIKENESS


def nearest_band(bands: npt.NDArray[np.float64]) -> float:
    """The most negative of the bands; NaN where all are empty."""
    found = bands[np.isfinite(bands)]
    return float(found.min()) if found.size else NAN
