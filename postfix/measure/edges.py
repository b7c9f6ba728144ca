"""Parallax of what touches the left and right frame edge, by rows.

At the left edge it is read in the right eye and at the right edge in the left eye. Something in front of the screen
lies further left in the right eye, so it is the right eye's left edge that cuts it, and the cut part still has its
partner in the left eye; the other way round there would be none.

Two readings are combined. The outermost strip of each half band of rows is searched for in the other eye by
correlation on pixels of full width: exact, and it sees things only a few pixels wide. The dense map bears it out, and
speaks where the strip alone is ambiguous. Only strips at the side are needed of either eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.against_map import only_unexplained
from postfix.measure.edge_thin import sliced, unexplained
from postfix.measure.hidden import hidden_columns
from postfix.measure.proxy import Grey
from postfix.measure.side import (
    HALF_BANDS,
    MIN_ROWS,
    MIN_THIN_PX,
    Halves,
    Line,
    Side,
    columns_needed,
    from_map,
    strip_px,
)
from postfix.measure.strips import (
    SAME_PEAK_PX,
    Weights,
    alike,
    from_columns,
    in_bands,
    likeness,
    partner,
    peaks,
    without_means,
)
from postfix.measure.table import EDGE_BANDS, NAN

_ROWS = 11
"""Rows to which those of a half band are averaged at most: what a picture 540 pixels high has."""

_LIKENESS = 0.85
_WEAK_LIKENESS = 0.93
_LIKENESS_BESIDE_WINDOW = 0.95
_CLEAR_BY = 0.05
_RESEMBLANCE = 0.5
_RESEMBLANCE_BESIDE_WINDOW = 0.75
_DETAIL_LIKENESS = 0.7
_AGREE_PCT = 0.25
SAME_THING_PCT = 0.5
_MOST_SLOPE_PCT = 0.3
_FLAT_SPREAD = 0.004


def edge_bands(side: Side) -> Halves:
    """Most negative parallax in each row band of one side, percent of width; NaN where nothing was matched.

    A strip is believed where it was found clearly and the dense map says the same; or, without the map, where the
    strip above or below says the same and the match holds in the fine detail too. Where the other eye is hidden by a
    window, what touches the edge may have its partner behind the black; the dense map then follows something beside it
    and is believed only where the strip resembles it. Bands wholly inside a black bar are empty.
    """
    return edge_bands_of((side,))[0]


def edge_bands_of(sides: Sequence[Side]) -> list[Halves]:
    """:func:`edge_bands` of several sides of one frame; together they cost less than one by one."""
    dense = [from_map(side) for side in sides]
    columns = max(_own_columns(side, own) for side, own in zip(sides, dense))
    strips = [_strips(side, columns) for side in sides]
    known = [one for one in strips if one is not None]
    if len(known) == len(sides) > 1 and len({one.kind for one in known}) == 1:
        judged = list(_judged(_joined(known), np.concatenate(dense)).reshape(len(sides), HALF_BANDS))
    else:
        judged = [own if one is None else _judged(one, own) for one, own in zip(strips, dense)]
    return [_per_band(only_unexplained(*one)) for one in zip(sides, judged, dense)]


def _judged(strips: _Strips, dense: Halves) -> Halves:
    """What touches in each half band, of one side or of several one after the other."""
    found, like, holds_in_detail = _found(strips)
    detailed = np.where(holds_in_detail, found, NAN)
    with_neighbour = np.zeros(len(found), bool)
    for step in (1, -1):
        with_neighbour |= np.abs(detailed - _shifted(detailed, step)) <= _AGREE_PCT
    if strips.windowed:
        # The partner is often behind the black, and two neighbours may then agree on something else.
        with_neighbour &= np.isnan(dense) & (like >= _LIKENESS_BESIDE_WINDOW)
    borne_out = with_neighbour | (np.abs(found - dense) <= _AGREE_PCT)
    # What only the map bears out may be the end of a thing, which its neighbour shows better.
    weak = borne_out & ~with_neighbour & ~holds_in_detail & (like < _WEAK_LIKENESS)
    sure = np.where(borne_out & ~weak, found, NAN)
    held = np.where(_resembling(strips, dense, ~borne_out), dense, NAN)
    held = _settled(np.where(weak, found, held), sure, dense, np.where(weak, _AGREE_PCT, SAME_THING_PCT))
    halves = np.where(np.isnan(sure), held, sure)
    return np.asarray(np.fmin(halves, _thin(strips, halves, dense)), np.float64)


def _per_band(halves: Halves) -> Halves:
    pairs = halves.reshape(EDGE_BANDS, 2)
    return np.asarray(np.fmin(pairs[:, 0], pairs[:, 1]), np.float64)


def _settled(held: Halves, sure: Halves, dense: Halves, within_pct: Halves) -> Halves:
    """Doubtful half bands moved onto a sure neighbour that shows the same thing.

    The upper or lower end of a thing fills only a part of its half band, and there the map is at its worst. What
    slopes, as ground does, is expected to go on sloping.
    """
    settled = held.copy()
    for step in (1, -1):
        neighbour, beyond = (_shifted(dense, step * far) for far in (1, 2))
        slope = neighbour - beyond
        expected = _shifted(sure, step) + np.where(np.abs(slope) <= _MOST_SLOPE_PCT, slope, 0.0)
        same = np.abs(held - expected) <= within_pct
        settled = np.where(same, expected, settled)
    return settled


def _shifted(halves: Halves, by: int) -> Halves:
    """Each half band's neighbour so many above (negative: below) at its side; NaN beyond the ends."""
    sides = halves.reshape(-1, HALF_BANDS)
    moved = np.full(sides.shape, NAN)
    if by > 0:
        moved[:, by:] = sides[:, :-by]
    else:
        moved[:, :by] = sides[:, -by:]
    return moved.reshape(-1)


@dataclass(frozen=True)
class _Strips:
    """Both eyes at one side, mirrored where needed so that the frame edge is column 0.

    Attributes
    ----------
    own, other : (halves, rows, C) float32
    weights : (halves, rows, 1) float32
        0 for rows inside a black bar.
    begin, begin_other : (halves,) int
        First column of each eye that is not black anywhere in the half band.
    size : int
        Columns of a strip.
    width_px : int
    windowed : bool
        Whether black hides more of the other eye than of the own one.
    reach_pct : float
    """

    own: Grey
    other: Grey
    weights: Weights
    begin: npt.NDArray[np.int64]
    begin_other: npt.NDArray[np.int64]
    size: int
    width_px: int
    windowed: bool
    reach_pct: float

    @property
    def kind(self) -> tuple[object, ...]:
        """What must be equal for strips of two sides to be worked on together."""
        return self.own.shape, self.other.shape, self.size, self.width_px, self.windowed, self.reach_pct

    @property
    def origin(self) -> npt.NDArray[np.int64]:
        """The place at which parallax is zero."""
        return self.begin - self.begin_other

    def template(self, size: int) -> Grey:
        """The own eye's outermost columns."""
        return from_columns(self.own, self.begin, size)

    def searched(self, size: int) -> Grey:
        """All of the other eye in which a strip of ``size`` columns in front of the screen may lie."""
        reach = round(self.reach_pct / 100.0 * self.width_px) + size
        return from_columns(self.other, self.begin_other, min(reach, self.other.shape[2] - int(self.begin_other.max())))


def _joined(strips: Sequence[_Strips]) -> _Strips:
    """Strips of several sides as one, one side after the other."""
    arrays: dict[str, Any] = {
        name: np.concatenate([getattr(one, name) for one in strips])
        for name in ("own", "other", "weights", "begin", "begin_other")
    }
    return replace(strips[0], **arrays)


def _hidden(line: Line) -> npt.NDArray[np.int64]:
    """First column of each half band that is black nowhere in it."""
    columns = hidden_columns(line, 2 * HALF_BANDS, 1.0).reshape(HALF_BANDS, 2)
    return np.asarray(columns.max(axis=1), np.int64)


def _own_columns(side: Side, dense_pct: Halves) -> int:
    """Outermost columns needed of the own eye: strips, as far inwards as something lies behind the screen."""
    begin, begin_other = _hidden(side.own_hidden_px), _hidden(side.other_hidden_px)
    behind = int(np.nanmax(np.append(dense_pct, 0.0)) * side.width_px / 100.0) + 1
    strips = max(3 * strip_px(side.width_px), MIN_THIN_PX + 2 * SAME_PEAK_PX)
    return int(begin.max()) + strips + behind + int(np.max(begin_other - begin).clip(0))


def _strips(side: Side, own_columns: int) -> _Strips | None:
    """Both eyes' sides in half bands of rows; None where the picture is too small or too much of it black."""
    width, height = side.width_px, side.height_px
    size = strip_px(width)
    begin, begin_other = _hidden(side.own_hidden_px), _hidden(side.other_hidden_px)
    eyes = []
    for eye, columns in (
        (side.own, min(own_columns, side.own.shape[1])),
        (side.other, min(columns_needed(width, side.other_hidden_px, side.reach_pct), side.other.shape[1])),
    ):
        eyes.append(eye[:, eye.shape[1] - columns :] if side.is_right else eye[:, :columns])
    too_narrow = any(
        eye.shape[1] - at.max() < max(2 * size, MIN_THIN_PX) + 2 * SAME_PEAK_PX
        for eye, at in zip(eyes, (begin, begin_other))
    )
    if side.own.shape[0] < MIN_ROWS * HALF_BANDS or too_narrow:
        return None
    own, other = (in_bands(eye, HALF_BANDS, _ROWS) for eye in eyes)
    if side.is_right:
        own, other = (np.ascontiguousarray(eye[:, :, ::-1]) for eye in (own, other))
    rows = own.shape[1]
    middle = ((np.arange(rows)[None, :] + 0.5) / rows + np.arange(HALF_BANDS)[:, None]) / HALF_BANDS * height
    lit = (middle > side.bars_px[0]) & (middle < height - side.bars_px[1])
    windowed = any(there > here + 1.0 for here, there in zip(side.own_hidden_px, side.other_hidden_px))
    weights = lit.astype(np.float32)[:, :, None]
    return _Strips(own, other, weights, begin, begin_other, size, width, windowed, side.reach_pct)


def _found(strips: _Strips) -> tuple[Halves, Halves, npt.NDArray[np.bool_]]:
    """Where each half band's strip was clearly found in the other eye, percent of width, NaN elsewhere; how alike the
    two are; and whether the match holds once every row's and every column's mean is taken out.

    Boards, canes or horizons look alike in many places; their fine detail does not.
    """
    template, searched = strips.template(strips.size), strips.searched(strips.size)
    best = peaks(likeness(template, searched, strips.weights))
    usable = (strips.weights.sum(axis=(1, 2)) >= MIN_ROWS) & (_spread(template, strips.weights) >= _FLAT_SPREAD)
    clear = usable & np.isfinite(best.place) & (best.height >= _LIKENESS) & (best.clear_by >= _CLEAR_BY)
    at = np.nonzero(clear)[0]
    pair = template[at], partner(searched[at], best.place[at], strips.size)
    here, there = (without_means(strip, strips.weights[at]) for strip in pair)
    detailed = np.zeros(len(template), bool)
    detailed[at] = alike(here, there, strips.weights[at]) >= _DETAIL_LIKENESS
    return np.where(clear, (strips.origin - best.place) * 100.0 / strips.width_px, NAN), best.height, detailed


def _thin(strips: _Strips, halves: Halves, dense_pct: Halves) -> Halves:
    """What crosses the edge in front of what each half band shows as a whole, percent of width; NaN where nothing."""
    if strips.windowed:
        # Beside a window most strips have their partner behind the black, and chance would find them another.
        return np.full(len(halves), NAN)
    # A thin thing of strong contrast spoils the reading of its band; what is behind it the map and the neighbours know.
    behind = np.where(np.isfinite(halves), halves, dense_pct)
    behind = np.where(np.isfinite(behind), behind, _of_neighbours(halves))
    base = strips.origin - behind * strips.width_px / 100.0
    places = np.full(len(halves), NAN)
    at = np.nonzero(base >= 0.0)[0]
    if at.size:
        size = 2 * strips.size
        own, searched = strips.template(size)[at], strips.searched(size)[at]
        places[at] = unexplained(own, searched, base[at], strips.weights[at])
    # What lies behind the screen has no partner to be compared with.
    at = np.nonzero(~(base >= 0.0) | (np.isnan(halves) & np.isnan(places)))[0]
    if at.size:
        size = max(2 * strips.size, MIN_THIN_PX)
        own, searched = strips.template(size)[at], strips.searched(size)[at]
        places[at] = sliced(own, searched, strips.weights[at], strips.size)
    return np.asarray((strips.origin - places) * 100.0 / strips.width_px, np.float64)


def _of_neighbours(halves: Halves) -> Halves:
    """What the half band above shows, or else the one below."""
    above, below = _shifted(halves, 1), _shifted(halves, -1)
    return np.where(np.isfinite(above), above, below)


def _spread(template: Grey, weights: Weights) -> Halves:
    """Standard deviation of each strip over its rows that count, (n,)."""
    total = np.maximum(weights.sum(axis=(1, 2)) * template.shape[2], 1e-6)
    mean = (template * weights).sum(axis=(1, 2)) / total
    spread = ((template - mean[:, None, None]) ** 2 * weights).sum(axis=(1, 2)) / total
    return np.asarray(np.sqrt(spread), np.float64)


def _resembling(strips: _Strips, dense_pct: Halves, asked: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Where a strip looks at all like its partner by the dense map, (halves,); too plain to tell counts as alike.

    Beside a window the map guesses, so more must agree there, over more columns, and plainness tells nothing.
    """
    lit = strips.weights.sum(axis=(1, 2)) > 0.0
    at = np.nonzero(asked & np.isfinite(dense_pct) & lit)[0]
    resembling = np.zeros(len(dense_pct), bool)
    if not at.size:
        return resembling
    checked, enough = (2 * strips.size, _RESEMBLANCE_BESIDE_WINDOW) if strips.windowed else (strips.size, _RESEMBLANCE)
    place = np.rint(strips.origin[at] - dense_pct[at] * strips.width_px / 100.0).astype(np.int64)
    # What lies behind the screen has a partner only further inwards, as far as it lies behind.
    inwards = strips.begin[at] + np.maximum(0, -place)
    near = strips.begin_other[at] + np.maximum(0, np.maximum(0, place) - 1)
    weights = strips.weights[at]
    template = from_columns(strips.own[at], inwards, checked)
    like = likeness(template, from_columns(strips.other[at], near, checked + 2), weights).max(axis=1)
    plain = _spread(template, weights) < _FLAT_SPREAD
    inside = (inwards + checked <= strips.own.shape[2]) & (near + checked <= strips.other.shape[2])
    resembling[at] = inside & ((plain & (not strips.windowed)) | (like >= enough))
    return resembling


def nearest_band(bands: Halves) -> float:
    """The most negative of the bands; NaN where all are empty."""
    found = bands[np.isfinite(bands)]
    return float(found.min()) if found.size else NAN
