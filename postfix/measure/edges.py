"""Parallax of what touches the left and right frame edge, by rows.

At the left edge it is read in the right eye and at the right edge in the left eye. Something in front of the screen
lies further left in the right eye, so it is the right eye's left edge that cuts it, and the cut part still has its
partner in the left eye; the other way round there would be none.

Two readings are combined. The outermost strip of each half band of rows is searched for in the other eye by
correlation on full-size pixels: exact, and it sees things only a few pixels wide. The dense map bears it out, and
speaks where the strip alone is ambiguous.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.hidden import hidden_columns
from postfix.measure.matching import SEARCH_PCT, Parallax
from postfix.measure.proxy import Grey
from postfix.measure.table import EDGE_BANDS, NAN

STRIP_SHARE = 0.008
"""Content within this share of the width of an edge is taken to touch it."""

_MIN_STRIP_PX = 6
_HALF_BANDS = 2 * EDGE_BANDS
_LIKENESS = 0.85
_CLEAR_BY = 0.05
_RESEMBLANCE = 0.5
_SAME_PEAK_PX = 3
_AGREE_PCT = 0.25
_SAME_THING_PCT = 0.5
_FLAT_SPREAD = 0.004
_NEED_IN_ROW = 0.5
_FRONT_SHARE = 0.1
_MIN_ROWS = 2

Halves = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Side:
    """What is needed to read one side edge.

    Attributes
    ----------
    own, other : (H, W) float32
        Luma of the eye in which the edge is read (right for the left side, left for the right side), and of the other
        one, the misfit between them taken out.
    parallax : (h, w) float32
        Dense map seen from the own eye, in proxy pixels; NaN where nothing was matched.
    own_hidden_px, other_hidden_px : (top, bottom)
        Black columns of each eye at that side.
    is_right : bool
        Whether this is the right side.
    """

    own: Grey
    other: Grey
    parallax: Parallax
    own_hidden_px: tuple[float, float]
    other_hidden_px: tuple[float, float]
    is_right: bool


def edge_bands(side: Side) -> npt.NDArray[np.float64]:
    """Most negative parallax in each row band of one side, percent of width; NaN where nothing was matched.

    A strip is believed where it was found clearly and the dense map or the strip above or below says the same. Where
    the other eye is hidden by a window, what touches the edge may have its partner behind the black; the dense map
    then follows something beside it and is believed only where the strip bears it out.
    """
    dense = _from_map(side)
    strips, held = _from_strips(side, dense)
    with_neighbour = np.zeros(_HALF_BANDS, bool)
    alike = np.abs(np.diff(strips)) <= _AGREE_PCT
    with_neighbour[:-1] |= alike
    with_neighbour[1:] |= alike
    borne_out = with_neighbour | (np.abs(strips - dense) <= _AGREE_PCT)
    sure = np.where(borne_out, strips, NAN)
    halves = np.where(borne_out, strips, _settled(held, sure))
    pairs = halves.reshape(EDGE_BANDS, 2)
    return np.asarray(np.fmin(pairs[:, 0], pairs[:, 1]), np.float64)


def _settled(held: Halves, sure: Halves) -> Halves:
    """Half bands that the map alone speaks for, moved onto a sure neighbour that shows the same thing.

    The upper or lower end of a thing fills only a part of its half band, and there the map is at its worst.
    """
    padded = np.concatenate([[NAN], sure, [NAN]])
    settled = held.copy()
    for neighbour in (padded[:-2], padded[2:]):
        same = np.abs(held - neighbour) <= _SAME_THING_PCT
        settled = np.where(same, neighbour, settled)
    return settled


def _from_strips(side: Side, dense_pct: Halves) -> tuple[Halves, Halves]:
    """Where each half band's outermost strip is found in the other eye, percent of width; NaN where not clearly.

    And the dense map's value where the strip at least resembles its partner there, else NaN. A strip too plain to tell
    leaves the map's value as it is, unless a window in the other eye makes the map guess.
    """
    # Mirrored, the right side reads like the left one: content in front lies further inwards in the other eye.
    own, other = (eye[:, ::-1] if side.is_right else eye for eye in (side.own, side.other))
    height, width = own.shape
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    reach = round(SEARCH_PCT / 100.0 * width) + strip
    own_columns = hidden_columns(side.own_hidden_px, height, 1.0)
    other_columns = hidden_columns(side.other_hidden_px, height, 1.0)
    found = np.full(_HALF_BANDS, NAN)
    held = np.full(_HALF_BANDS, NAN) if any(side.other_hidden_px) else dense_pct.copy()
    borders = np.linspace(0, height, _HALF_BANDS + 1).round().astype(int)
    for half, (first, after) in enumerate(itertools.pairwise(borders)):
        if after - first < _MIN_ROWS:
            continue
        begin, begin_other = int(own_columns[first:after].max()), int(other_columns[first:after].max())
        template = np.ascontiguousarray(own[first:after, begin : begin + strip])
        searched = np.ascontiguousarray(other[first:after, begin_other : begin + reach])
        if template.shape[1] < strip or searched.shape[1] < strip + 2 * _SAME_PEAK_PX:
            continue
        if float(template.std()) < _FLAT_SPREAD:
            continue
        likeness = cv2.matchTemplate(searched, template, cv2.TM_CCOEFF_NORMED)[0]
        origin = begin - begin_other
        place = _clear_peak(likeness)
        if place is not None:
            found[half] = (origin - place) * 100.0 / width
        if np.isfinite(dense_pct[half]):
            at = round(origin - dense_pct[half] * width / 100.0)
            near = likeness[max(0, at - 1) : max(0, at + 2)]
            held[half] = dense_pct[half] if near.size and float(near.max()) >= _RESEMBLANCE else NAN
    return found, held


def _clear_peak(likeness: npt.NDArray[np.float32]) -> float | None:
    """Sub-pixel place of the best correlation, where it is good and nothing elsewhere comes near it."""
    best = int(likeness.argmax())
    top = float(likeness[best])
    elsewhere = np.abs(np.arange(len(likeness)) - best) > _SAME_PEAK_PX
    if not np.isfinite(top) or top < _LIKENESS or top - float(likeness[elsewhere].max()) < _CLEAR_BY:
        return None
    return _sub_pixel(likeness, best)


def _sub_pixel(likeness: npt.NDArray[np.float32], best: int) -> float:
    """A parabola through the best place and its neighbours; the place itself where it is at an end or no peak."""
    if not 0 < best < len(likeness) - 1:
        return float(best)
    before, here, after = (float(value) for value in likeness[best - 1 : best + 2])
    bend = before - 2.0 * here + after
    offset = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return best + max(-0.5, min(0.5, offset))


def _from_map(side: Side) -> Halves:
    """Most negative parallax of the dense map in each half band's strip, percent of width.

    A row's value is the median over its strip; a half band's is low among its rows, so that a single row cannot decide.
    """
    height, width = side.parallax.shape
    scale = side.own.shape[1] / width
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    offsets = hidden_columns(side.own_hidden_px, height, scale)[:, None] + np.arange(strip)[None, :]
    columns = np.clip(width - 1 - offsets if side.is_right else offsets, 0, width - 1)
    values = np.where(offsets < width, np.take_along_axis(side.parallax, columns, axis=1), np.nan)
    enough = np.isfinite(values).mean(axis=1) >= _NEED_IN_ROW
    rows = np.full(height, NAN)
    if enough.any():
        rows[enough] = np.nanmedian(values[enough], axis=1)
    halves = np.full(_HALF_BANDS, NAN)
    borders = np.linspace(0, height, _HALF_BANDS + 1).round().astype(int)
    for half, (first, after) in enumerate(itertools.pairwise(borders)):
        found = rows[first:after]
        found = found[np.isfinite(found)]
        if found.size and found.size >= min(_MIN_ROWS, after - first):
            halves[half] = np.sort(found)[int(_FRONT_SHARE * found.size)] * 100.0 / width
    return halves


def nearest_band(bands: npt.NDArray[np.float64]) -> float:
    """The most negative of the bands; NaN where all are empty."""
    found = bands[np.isfinite(bands)]
    return float(found.min()) if found.size else NAN
