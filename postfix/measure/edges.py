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
_RESEMBLANCE_BESIDE_WINDOW = 0.75
_DETAIL_LIKENESS = 0.7
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

    A strip is believed where it was found clearly and the dense map says the same; or, without the map, where the
    strip above or below says the same and the match holds in the fine detail too. Where the other eye is hidden by a
    window, what touches the edge may have its partner behind the black; the dense map then follows something beside it
    and is believed only where the strip resembles it.
    """
    dense = _from_map(side)
    readings = _from_strips(side, dense)
    detailed = np.where(readings.holds_in_detail, readings.found, NAN)
    alike = np.abs(np.diff(detailed)) <= _AGREE_PCT
    with_neighbour = np.concatenate([alike, [False]]) | np.concatenate([[False], alike])
    borne_out = with_neighbour | (np.abs(readings.found - dense) <= _AGREE_PCT)
    sure = np.where(borne_out, readings.found, NAN)
    halves = np.where(borne_out, sure, _settled(readings.held, sure))
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


@dataclass(frozen=True)
class _Readings:
    """What the strips of a side say, one value a half band.

    Attributes
    ----------
    found : Halves
        Where the strip was clearly found in the other eye, percent of width; NaN elsewhere.
    holds_in_detail : (halves,) bool
        Whether the match holds once every row's and every column's mean is taken out. Boards, canes or horizons look
        alike in many places; their fine detail does not.
    held : Halves
        The dense map's value where the strip at least resembles its partner there, else NaN. A strip too plain to tell
        leaves the map's value as it is, unless a window in the other eye makes the map guess.
    """

    found: Halves
    holds_in_detail: npt.NDArray[np.bool_]
    held: Halves


def _from_strips(side: Side, dense_pct: Halves) -> _Readings:
    """Search each half band's outermost strip in the other eye."""
    # Mirrored, the right side reads like the left one: content in front lies further inwards in the other eye.
    own, other = (eye[:, ::-1] if side.is_right else eye for eye in (side.own, side.other))
    height, width = own.shape
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    reach = round(SEARCH_PCT / 100.0 * width) + strip
    own_columns = hidden_columns(side.own_hidden_px, height, 1.0)
    other_columns = hidden_columns(side.other_hidden_px, height, 1.0)
    found = np.full(_HALF_BANDS, NAN)
    detail = np.zeros(_HALF_BANDS, bool)
    windowed = any(side.other_hidden_px)
    held = np.full(_HALF_BANDS, NAN) if windowed else dense_pct.copy()
    # Beside a window the map guesses, so more must agree.
    checked, enough = (2 * strip, _RESEMBLANCE_BESIDE_WINDOW) if windowed else (strip, _RESEMBLANCE)
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
            detail[half] = _detail_likeness(template, searched, place) >= _DETAIL_LIKENESS
        if np.isfinite(dense_pct[half]):
            at = round(origin - dense_pct[half] * width / 100.0)
            # What lies behind the screen has a partner only further inwards, as far as it lies behind.
            inwards = begin + max(0, -at)
            template = np.ascontiguousarray(own[first:after, inwards : inwards + checked])
            near = max(begin_other, begin_other + max(0, at) - 1)
            searched = np.ascontiguousarray(other[first:after, near : near + checked + 2])
            held[half] = dense_pct[half] if _resembles(template, searched, enough) else NAN
    return _Readings(found, detail, held)


def _resembles(template: Grey, searched: Grey, enough: float) -> bool:
    """Whether a strip looks at all like one of the few places searched."""
    if template.shape[1] < _MIN_STRIP_PX or searched.shape[1] < template.shape[1]:
        return False
    if float(template.std()) < _FLAT_SPREAD:
        return True
    return float(cv2.matchTemplate(searched, template, cv2.TM_CCOEFF_NORMED).max()) >= enough


def _detail_likeness(template: Grey, searched: Grey, place: float) -> float:
    """Correlation of a strip and its partner at a sub-pixel place, row and column means taken out of both."""
    width = template.shape[1]
    base = min(int(place), searched.shape[1] - width - 1)
    share = np.float32(place - base)
    partner = (1 - share) * searched[:, base : base + width] + share * searched[:, base + 1 : base + 1 + width]
    here, there = (
        part - part.mean(axis=0, keepdims=True) - part.mean(axis=1, keepdims=True) + part.mean()
        for part in (template, partner)
    )
    power = float(np.sqrt((here * here).sum() * (there * there).sum()))
    return float((here * there).sum()) / power if power > 0.0 else 0.0


def _clear_peak(likeness: npt.NDArray[np.float32]) -> float | None:
    """Sub-pixel place of the best correlation, where it is good and nothing elsewhere comes near it.

    The best at the very border is no peak: what lies behind the screen has its partner outside, and looks best there.
    """
    best = int(likeness.argmax())
    top = float(likeness[best])
    elsewhere = np.abs(np.arange(len(likeness)) - best) > _SAME_PEAK_PX
    if (
        not 0 < best < len(likeness) - 1
        or not np.isfinite(top)
        or top < _LIKENESS
        or top - float(likeness[elsewhere].max()) < _CLEAR_BY
    ):
        return None
    before, here, after = (float(value) for value in likeness[best - 1 : best + 2])
    bend = before - 2.0 * here + after
    offset = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return best + max(-0.5, min(0.5, offset))


def _from_map(side: Side) -> Halves:
    """Most negative parallax of the dense map in each half band at the edge, percent of width.

    A row's value is the median over the outermost strip that has partners. Content behind the screen has none in as
    many columns as it lies behind, so the strip may begin that much further inwards, and not more. A half band's value
    is low among its rows, so that a single row cannot decide.
    """
    parallax = side.parallax[:, ::-1] if side.is_right else side.parallax
    height, width = parallax.shape
    scale = side.own.shape[1] / width
    strip = max(_MIN_STRIP_PX, round(STRIP_SHARE * width))
    columns = np.arange(width)[None, :]
    hidden = hidden_columns(side.own_hidden_px, height, scale)
    matched = np.isfinite(parallax) & (columns >= hidden[:, None])
    outermost = matched.argmax(axis=1)
    taken = outermost[:, None] + np.arange(strip)[None, :]
    values = np.take_along_axis(parallax, np.minimum(taken, width - 1), axis=1)
    enough = matched.any(axis=1) & (np.isfinite(values).mean(axis=1) >= _NEED_IN_ROW)
    rows = np.full(height, NAN)
    if enough.any():
        rows[enough] = np.nanmedian(values[enough], axis=1)
    rows[outermost - hidden > np.maximum(np.nan_to_num(rows), 0.0) + strip * _NEED_IN_ROW] = NAN
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
