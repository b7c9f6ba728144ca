"""One eye laid over the other by the parallax map, and where both must then show the same.

The map's gaps are filled from what lies behind. Nothing can be said at depth edges, in half-hidden strips, where the
partner lies outside the other eye's frame, and in gaps between two depths.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax, filled_gaps
from postfix.measure.proxy import Grey8, pixel_grid

Floats = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

STEP = 2
"""The map is followed on every second row and column."""

CELL_PX = 4
"""Side of the cells over which brightness is compared."""

LEAST_CELLS = 100
"""Fewer cells than this tell nothing of brightness."""

_DEPTH_EDGE_PX = 2.0
_GAP_PX = 2.5
"""A gap whose two sides differ by more lies between two depths: what should be seen in it is not known."""

_TONE_STEPS = 6
_TONE_CELLS = 1500
_TREND_CODES = 24.0
_TREND_EVERY = 7


@dataclass(frozen=True)
class Overlay:
    """The right eye as seen from the left.

    Attributes
    ----------
    parallax : (h/2, w/2) float32
        With its gaps filled.
    judged : (h/2, w/2) bool
        Where both eyes must see the same.
    matched : (h/2, w/2) bool
    right : (h, w) uint8
    """

    parallax: Floats
    judged: Flags
    matched: Flags
    right: Grey8


def laid_over(right: Grey8, parallax: Parallax) -> Overlay | None:
    """Lay the right eye (h, w) over the left by the left eye's map in its pixels; None where the map is empty."""
    height, width = right.shape
    few = parallax[::STEP, ::STEP]
    matched = np.isfinite(few)
    if not matched.any():
        return None
    filled, between = _filled(few)
    filled = np.asarray(cv2.medianBlur(filled, 3), np.float32)
    judged = ~_not_judged(filled, between, width)
    columns, rows = pixel_grid(height, width)
    # Row 0 of the small map is row 0 of the picture, so both are cut to whole steps rather than stretched.
    dense = cv2.resize(filled, (filled.shape[1] * STEP, filled.shape[0] * STEP), interpolation=cv2.INTER_LINEAR)
    landing = cv2.add(columns, np.ascontiguousarray(dense[:height, :width]))
    over = cv2.remap(right, landing, rows, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    return Overlay(filled, judged, matched, np.asarray(over, np.uint8))


def _filled(few: Parallax) -> tuple[Floats, Flags]:
    """Gaps filled in each row from the farther of their two sides, and which gaps lie between two depths."""
    filled, gaps, in_front = filled_gaps(few)
    known = np.isfinite(few)
    empty = ~known.any(axis=1)
    if empty.any():
        filled[empty] = np.median(few[known])
    between = np.zeros(few.shape, np.bool_)
    between.ravel()[gaps] = np.isfinite(in_front) & (in_front < filled.ravel()[gaps] - np.float32(_GAP_PX))
    return filled, between


def _not_judged(filled: Floats, between: Flags, width: int) -> Flags:
    """Depth edges, gaps between depths, half-hidden strips, and what the right eye's frame does not reach."""
    kernel = np.ones((3, 3), np.uint8)
    edge = cv2.subtract(cv2.dilate(filled, kernel), cv2.erode(filled, kernel)) > _DEPTH_EDGE_PX
    landing = filled + np.arange(0, filled.shape[1] * STEP, STEP, dtype=np.float32)
    # Something further right in the left eye that lands further left stands in front and hides this.
    hidden = landing > np.minimum.accumulate(landing[:, ::-1], axis=1)[:, ::-1] + 1.0
    outside = (landing < 2.0) | (landing > width - 3.0)
    unclear = (edge | between | hidden | outside).view(np.uint8)
    return np.asarray(cv2.dilate(unclear, kernel), np.uint8).view(np.bool_)


@dataclass(frozen=True)
class Cells:
    """The pictures and the overlay's masks over cells of :data:`CELL_PX` pixels, all (rows, columns) float32.

    Attributes
    ----------
    own, other
        Codes of the left eye and of the one laid over it.
    judged, matched
        Share of each cell, 0 to 255.
    """

    own: Floats
    other: Floats
    judged: Floats
    matched: Floats


def in_cells(picture: Grey8, shape: tuple[int, int]) -> Floats:
    """Means over the cells of a picture, (rows, columns) of ``shape``."""
    return np.asarray(cv2.resize(picture, shape[::-1], interpolation=cv2.INTER_AREA), np.float32)


def over_cells(left: Grey8, overlay: Overlay) -> Cells:
    """Both pictures and the masks at cell size."""
    shape = (max(1, left.shape[0] // CELL_PX), max(1, left.shape[1] // CELL_PX))
    judged, matched = (mask.view(np.uint8) * np.uint8(255) for mask in (overlay.judged, overlay.matched))
    return Cells(*(in_cells(picture, shape) for picture in (left, overlay.right, judged, matched)))


def in_one_tone(right: Grey8, overlay: Overlay, cells: Cells) -> tuple[Grey8, Overlay, Cells]:
    """Bring the right eye to the left's tone: what differs everywhere alike is no rivalry."""
    usable = (cells.judged > 250.0) & (cells.matched > 250.0)
    every = 1 + np.count_nonzero(usable) // _TONE_CELLS
    own, other = cells.own[usable][::every], cells.other[usable][::every]
    if own.size < LEAST_CELLS:
        return right, overlay, cells
    groups = np.array_split(np.argsort(other), _TONE_STEPS)
    at = [float(np.median(other[group])) for group in groups]
    off = [float(np.median(own[group] - other[group])) for group in groups]
    codes = np.arange(256, dtype=np.float64)
    tone = codes + np.interp(codes, at, off)
    table = np.clip(tone + 0.5, 0, 255).astype(np.uint8)
    right, over = (np.asarray(cv2.LUT(eye, table), np.uint8) for eye in (right, overlay.right))
    toned = tone.astype(np.float32).take(cells.other.astype(np.uint8))
    return right, replace(overlay, right=over), replace(cells, other=toned)


def without_trend(cells: Cells, judged: Flags) -> Floats:
    """The left eye minus the other, less a slow change over the picture (lenses, a mirror rig); 0 where not judged.

    The change may add light or dim it, more from one side of the picture to the other.
    """
    difference = cells.own - cells.other
    rows, columns = judged.shape
    at = np.flatnonzero(judged)[::_TREND_EVERY]
    values = difference.ravel()[at]
    y = (2.0 * (at // columns) / rows - 1.0).astype(np.float32)
    x = (2.0 * (at % columns) / columns - 1.0).astype(np.float32)
    light = cells.own.ravel()[at] / np.float32(255.0)
    terms = np.stack([np.ones_like(x), x, y, light * x, light * y])
    fitted = np.zeros(5, np.float32)
    # What lies far from the first fit is likely a thing, not the trend.
    for _ in range(2):
        usual = np.abs(values - fitted @ terms) < _TREND_CODES
        if np.count_nonzero(usual) < LEAST_CELLS // 2:
            break
        kept = terms[:, usual]
        fitted = np.linalg.solve(kept @ kept.T + 1e-3 * np.eye(5), kept @ values[usual]).astype(np.float32)
    all_y = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    all_x = np.linspace(-1, 1, columns, dtype=np.float32)[None, :]
    plain = fitted[0] + fitted[1] * all_x + fitted[2] * all_y
    by_light = (fitted[3] * all_x + fitted[4] * all_y) * (cells.own / np.float32(255.0))
    return np.where(judged, difference - plain - by_light, np.float32(0.0))
