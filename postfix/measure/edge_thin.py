"""Thin things that cross a side edge: a branch, a wire, a rein, only a few rows high.

They fill too little of a band of rows to decide its correlation. So what the band as a whole does not explain is looked
at alone: pixels at which the own eye differs from its partner at the band's parallax. Where the band has no partner,
as what lies behind the screen has none at the edge, slices of a few rows are searched for by themselves.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey
from postfix.measure.strips import (
    SAME_PEAK_PX,
    Floats,
    Peaks,
    Weights,
    alike,
    from_columns,
    likeness,
    partner,
    peaks,
    without_means,
)

_UNLIKE = 0.03
_UNLIKE_OF_TYPICAL = 4.0
"""A pixel is unexplained where it differs from its partner by more than this share of white, and by more than so many
times the half band's median difference."""

_LEAST_SHARE, _MOST_SHARE = 0.03, 0.5
"""Unexplained share of the strip: less is noise, more means that the band's own reading is at fault."""

_TOUCHING_OF_SHARE = 0.5
"""Of that share, what the outer half of the strip must hold too: else the thing lies beside the edge."""

_REST_LIKENESS = 0.8
_PLAIN = 0.012

_MASKED_LIKENESS = 0.85
_MASKED_CLEAR_BY = 0.08
_LESS_UNLIKE = 0.35
_LESS_WHERE_BOTH_SAY = 0.5
_WITNESS_LIKENESS = 0.6
_WITNESS_SPARE = 0.03

_SLICE_ROWS = 3
_SLICE_STEP = 2
_SLICE_ROUGH_LIKENESS = 0.85
_SLICE_LIKENESS = 0.92
_SLICE_CLEAR_BY = 0.3
_SLICE_DETAIL = 0.88
_SLICE_TOUCHING = 0.7
_SLICE_SPREAD = 0.015
_NEAR_PX = 4


def unexplained(own: Grey, searched: Grey, base: Floats, weights: Weights) -> Floats:
    """Sub-pixel place of what differs from its partner at ``base``, (n,); NaN where nothing is clear.

    Parameters
    ----------
    own : (n, rows, s) float32
        The own eye's outermost columns.
    searched : (n, rows, m) float32
    base : (n,) float64
        Place of the partner of most of each strip.
    weights : (n, rows, 1) float32
    """
    size = own.shape[2]
    there = partner(searched, base, size)
    total = weights.sum(axis=1) * size
    off = ((own - there) * weights).sum(axis=(1, 2)) / np.maximum(total[:, 0], 1.0)
    unlike = np.abs(own - there - off[:, None, None]) * weights
    typical = np.median(unlike[:, :, ::3].reshape(len(own), -1), axis=1)
    mask = unlike > np.maximum(_UNLIKE, _UNLIKE_OF_TYPICAL * typical)[:, None, None]
    share = mask.mean(axis=(1, 2))
    touching = mask[:, :, : size // 2].mean(axis=(1, 2)) >= _TOUCHING_OF_SHARE * share
    place = np.full(len(own), np.nan)
    at = np.nonzero((share >= _LEAST_SHARE) & (share <= _MOST_SHARE) & touching)[0]
    # Only where the rest is what it is taken for does the difference mean something.
    rest = (weights[at] * ~mask[at]).astype(np.float32)
    plain = (unlike[at] * rest).sum(axis=(1, 2)) <= _PLAIN * rest.sum(axis=(1, 2))
    at = at[plain | (alike(own[at], there[at], rest) >= _REST_LIKENESS)]
    if not at.size:
        return place
    own, searched, base, mask, before = own[at], searched[at], base[at], mask[at], unlike[at]
    readings = _readings(own, searched, mask)
    found = np.full(at.size, np.nan)
    for like, witness in (readings, readings[::-1]):
        best = peaks(like)
        seen = np.nan_to_num(best.place)
        then = np.abs(own - partner(searched, seen, size))
        left_over = (then * mask).sum(axis=(1, 2)) / np.maximum((before * mask).sum(axis=(1, 2)), 1e-6)
        said = witness[np.arange(at.size), np.rint(seen).astype(int)]
        less = left_over <= np.where(said >= _MASKED_LIKENESS, _LESS_WHERE_BOTH_SAY, _LESS_UNLIKE)
        # The other reading may be vague, but it must not say something else.
        borne_out = (said >= _WITNESS_LIKENESS) & (said >= witness.max(axis=1) - _WITNESS_SPARE)
        clear = _clear(best, _MASKED_LIKENESS, _MASKED_CLEAR_BY) & (seen > base + SAME_PEAK_PX)
        found = np.where(np.isnan(found) & clear & less & borne_out, best.place, found)
    place[at] = found
    return place


def _readings(own: Grey, searched: Grey, mask: npt.NDArray[np.bool_]) -> tuple[Grey, Grey]:
    """Likeness of what is masked, told by its texture across, and by its outline against what is behind."""
    size = own.shape[2]
    # Along a level thing everything looks alike but for its texture.
    across = likeness(_across(own, size), _across(searched, size), mask.astype(np.float32))
    wide = mask.copy()
    wide[:, 1:] |= mask[:, :-1]
    wide[:, :-1] |= mask[:, 1:]
    return across, likeness(own, searched, wide.astype(np.float32))


def _across(strip: Grey, size: int) -> Grey:
    """A strip without what is broader than itself across: along a level thing only its texture tells where it is."""
    count, rows, columns = strip.shape
    flat = np.ascontiguousarray(strip).reshape(count * rows, columns)
    return np.asarray(strip - cv2.blur(flat, (size // 2 | 1, 1)).reshape(strip.shape), np.float32)


def sliced(own: Grey, searched: Grey, weights: Weights, outer: int) -> Floats:
    """Sub-pixel place farthest inwards at which a slice of a few rows is found, (n,); NaN where none is clear.

    Parameters
    ----------
    own : (n, rows, s) float32
    searched : (n, rows, m) float32
    weights : (n, rows, 1) float32
    outer : int
        Columns that count as touching the edge: what is found must be seen in them too.
    """
    count, rows, _ = own.shape
    firsts = range(0, rows - _SLICE_ROWS + 1, _SLICE_STEP)
    if not firsts:
        return np.full(count, np.nan)

    def cut(blocks: Grey) -> Grey:
        parts = [blocks[:, first : first + _SLICE_ROWS] for first in firsts]
        return np.stack(parts, axis=1).reshape(count * len(parts), _SLICE_ROWS, blocks.shape[2])

    # At half the columns first: nearly every slice drops out there.
    halved = cut(_halved(own))
    lit = cut(weights).min(axis=(1, 2)) > 0.0
    at = np.nonzero(lit & (halved.std(axis=(1, 2)) >= _SLICE_SPREAD))[0]
    place = np.full(count * len(firsts), np.nan)
    if at.size:
        every = np.ones((1, _SLICE_ROWS, 1), np.float32)
        rough = peaks(likeness(halved[at], cut(_halved(searched))[at], every))
        clear = _clear(rough, _SLICE_ROUGH_LIKENESS, _SLICE_CLEAR_BY)
        at = at[clear]
        place[at] = _refined(cut(own)[at], cut(searched)[at], 2.0 * rough.place[clear], outer)

    return np.asarray(np.fmax.reduce(place.reshape(count, len(firsts)), axis=1), np.float64)


def _halved(strip: Grey) -> Grey:
    even = strip.shape[2] // 2 * 2
    return np.asarray(0.5 * (strip[:, :, 0:even:2] + strip[:, :, 1:even:2]), np.float32)


def _refined(own: Grey, searched: Grey, rough: Floats, outer: int) -> Floats:
    """Places found on half the columns read again on all of them, (n,); NaN where the detail does not bear them out."""
    if not len(own):
        return rough
    size, every = own.shape[2], np.ones((1, _SLICE_ROWS, 1), np.float32)
    reach = min(2 * _NEAR_PX + 1 + size, searched.shape[2])
    first = np.clip(np.rint(rough).astype(np.int64) - _NEAR_PX, 0, searched.shape[2] - reach)
    near = from_columns(searched, first, reach)
    best = peaks(likeness(own, near, every))
    place = np.nan_to_num(best.place)
    there = partner(near, place, size)
    detail = alike(without_means(own, every), without_means(there, every), every)
    touching = alike(own[:, :, :outer], there[:, :, :outer], every)
    good = (best.height >= _SLICE_LIKENESS) & (detail >= _SLICE_DETAIL) & (touching >= _SLICE_TOUCHING)
    return np.where(good & np.isfinite(best.place), first + place, np.nan)


def _clear(best: Peaks, enough: float, by: float) -> npt.NDArray[np.bool_]:
    return np.isfinite(best.place) & (best.height >= enough) & (best.clear_by >= by)
