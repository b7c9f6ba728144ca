"""One HIT for every shot of an edit at once: the choice with the least sum of costs, found exactly.

Each shot brings the HITs that are open to it, what each costs on its own, and the depth that it then shows at its first
and at its last frames. Between two shots a depth jump larger than a tolerance costs in proportion to what it exceeds.
Such a chain has an exact solution: the least cost of everything up to a shot, for each of its choices, follows from
that of the shot before (dynamic programming). A choice is any state, so neither convexity nor a continuous HIT is
assumed, and whole-pixel steps are exact too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from postfix.plan.geometry import Array

Indices = npt.NDArray[np.int64]

_COST_DECIMALS = 9
"""Costs are compared as rounded, so that every machine breaks ties alike."""


@dataclass(frozen=True, eq=False)
class Choices:
    """What is open to one shot.

    Attributes
    ----------
    hit_pct : (k,) float64
        Rising; percent of width.
    cost : (k,) float64
        Of each on its own, 0 or more.
    entry_pct, exit_pct : (k,) float64
        Parallax that the eyes meet at the shot's first frames and leave at its last ones, after the move; rising with
        ``hit_pct``. NaN throughout where it is not known: then no jump is counted there.
    """

    hit_pct: Array
    cost: Array
    entry_pct: Array
    exit_pct: Array


def jump_cost(exit_pct: Array, entry_pct: Array, jump_pct: float, weight: float) -> Array:
    """Cost of the step in depth from ``exit_pct`` to ``entry_pct``; 0 within ``jump_pct`` and where either is NaN."""
    beyond = np.maximum(np.abs(exit_pct - entry_pct) - jump_pct, 0.0) * weight
    return np.nan_to_num(beyond, nan=0.0)


def best_choices(shots: Sequence[Choices], jump_pct: float, weight: float) -> list[int]:
    """For each shot the index of its choice, so that the sum of all costs is least.

    Parameters
    ----------
    shots : sequence of Choices
        In the order of the edit; each with at least one choice.
    jump_pct : float
        Depth jump at a cut that costs nothing, percent of width.
    weight : float
        Cost of each percent beyond it.

    Notes
    -----
    Of choices that cost the same the one with the smallest move is taken, then the one that pushes away.
    """
    if not shots:
        return []
    totals = [shots[0].cost]
    for before, shot in pairwise(shots):
        totals.append(shot.cost + _arriving(totals[-1], before.exit_pct, shot.entry_pct, jump_pct, weight))
    chosen = [_least(totals[-1], shots[-1].hit_pct)]
    for index in range(len(shots) - 1, 0, -1):
        entry = shots[index].entry_pct[chosen[-1]]
        cost = totals[index - 1] + jump_cost(shots[index - 1].exit_pct, entry, jump_pct, weight)
        chosen.append(_least(cost, shots[index - 1].hit_pct))
    return chosen[::-1]


def cheapest(shot: Choices) -> float:
    """HIT that costs least on its own, percent of width."""
    return float(shot.hit_pct[_least(shot.cost, shot.hit_pct)])


def _least(cost: Array, hit_pct: Array) -> int:
    rounded = np.round(cost, _COST_DECIMALS)
    alike = np.flatnonzero(rounded == rounded.min())
    return int(min(alike, key=lambda index: (abs(hit_pct[index]), -hit_pct[index])))


def _arriving(total: Array, exit_pct: Array, entry_pct: Array, jump_pct: float, weight: float) -> Array:
    """For each choice of a shot, the least of the total before it plus the cost of the jump; (k,).

    The choices before fall into three runs, because depth rises with the HIT: those too far in front of the entry,
    those within the tolerance, those too far behind. The outer two are straight lines in depth, so running minima
    serve them; the middle one is the least over a window that slides, for which minima over powers of two are kept.
    """
    if np.isnan(exit_pct).any() or np.isnan(entry_pct).any():
        return np.full(entry_pct.shape, total.min())
    first = np.searchsorted(exit_pct, entry_pct - jump_pct, side="left").astype(np.int64)
    end = np.searchsorted(exit_pct, entry_pct + jump_pct, side="right").astype(np.int64)
    infinite = np.full(1, np.inf)
    in_front = np.concatenate([infinite, np.minimum.accumulate(total - weight * exit_pct)])
    behind = np.concatenate([np.minimum.accumulate((total + weight * exit_pct)[::-1])[::-1], infinite])
    least = np.minimum(
        in_front[first] + weight * (entry_pct - jump_pct),
        behind[end] - weight * (entry_pct + jump_pct),
    )
    return np.minimum(least, _window_minima(total, first, end))


def _window_minima(values: Array, first: Indices, end: Indices) -> Array:
    """Least of ``values[first:end]`` for each pair; infinite where that is empty."""
    levels = [values]
    length = end - first
    while 2 ** len(levels) <= length.max(initial=0):
        half = 2 ** (len(levels) - 1)
        levels.append(np.minimum(levels[-1][:-half], levels[-1][half:]))
    result = np.full(first.shape, np.inf)
    for level, minima in enumerate(levels):
        size = 2**level
        here = (length >= size) & (length < 2 * size)
        result[here] = np.minimum(minima[first[here]], minima[end[here] - size])
    return result
