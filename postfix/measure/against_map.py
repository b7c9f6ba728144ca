"""Readings at an edge that the dense map contradicts, held against what the map says of their partner.

A strip is found somewhere in the other eye by chance now and then. But the place where it was found then has a partner
of its own, where the map says it is, and looks like that. A thing that truly stands in front has none there.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from postfix.measure.hidden import hidden_columns
from postfix.measure.proxy import Grey
from postfix.measure.side import HALF_BANDS, Halves, Side, strip_px

_CONTRADICTS_PCT = 0.5
_NEAR_PX = 2
_OF_EXPLAINED = 0.35
_LEAST_UNLIKE = 0.012
_LEAST_ROWS = 3


def only_unexplained(side: Side, halves: Halves, dense_pct: Halves) -> Halves:
    """Half bands' readings, the map's own value in place of those whose partner the map explains as well or better.

    Parameters
    ----------
    side : Side
    halves : (halves,) float64
        Readings, percent of width; NaN where there is none.
    dense_pct : (halves,) float64
        What the map says at the edge.
    """
    doubtful = np.nonzero(halves < dense_pct - _CONTRADICTS_PCT)[0]
    if not doubtful.size:
        return halves
    own, other = (eye[:, ::-1] if side.is_right else eye for eye in (side.own, side.other))
    height = own.shape[0]
    begin = hidden_columns(side.own_hidden_px, HALF_BANDS, 1.0)
    kept = halves.copy()
    for half in doubtful:
        rows = slice(half * height // HALF_BANDS, (half + 1) * height // HALF_BANDS)
        per_pct = side.width_px / 100.0
        at = int(begin[half])
        place = at - round(float(halves[half]) * per_pct)
        if not _stands_out(own[rows], other[rows], at, place, place + round(float(dense_pct[half]) * per_pct), side):
            kept[half] = dense_pct[half]
    return kept


def _stands_out(own: Grey, other: Grey, at: int, place: int, behind: int, side: Side) -> bool:
    """Whether some rows of the other eye at ``place`` are like the own edge, and unlike the own eye at ``behind``."""
    size = strip_px(side.width_px)
    found, claimed = other[:, place : place + size], own[:, at : at + size]
    first, last = behind - _NEAR_PX, behind + _NEAR_PX
    if found.shape[1] < size or first < 0 or last + size > own.shape[1]:
        return True
    explained = np.min([_unlike(own[:, x : x + size], found) for x in range(first, last + 1)], axis=0)
    held = (_unlike(claimed, found) <= _OF_EXPLAINED * explained) & (explained >= _LEAST_UNLIKE**2)
    return int(np.count_nonzero(held)) >= min(_LEAST_ROWS, len(found))


def _unlike(one: Grey, other: Grey) -> npt.NDArray[np.float32]:
    """Mean square difference of each row, but for its mean, (rows,)."""
    difference = one - other
    return np.asarray(difference.var(axis=1), np.float32)
