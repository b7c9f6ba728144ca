"""HIT that moves inside a shot: the fewest, slowest eased moves that keep every frame inside the limits.

A plan's HIT is held or eased by ``q(x) = 3x² − 2x³`` from one key to the next
(:func:`postfix.plan.geometry.hit_pct_at`), so a move between two keys is fastest in its middle, at 1.5 times its mean
speed. Every frame gives a corridor for the HIT: from what brings its near to the near limit to what brings its far to
the far limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.plan.geometry import Array
from postfix.plan.model import HitKey

EASE_PEAK = 1.5
"""Peak of the speed of an eased move over its mean, from the derivative of ``3x² − 2x³`` at its middle."""

_TIMES = 13
_LEVELS = 33
"""Moments and heights between which keys are looked for: a thirtieth of what must be travelled is finer than a whole
pixel for any travel under 3 % of 2048."""

_COST_A_MOVE_PCT = 100.0
_COST_A_SPEED_PCT = 0.1
"""Costs in percent of width moved over the whole shot: fewer moves go before smaller ones, and a slow one before a
quick one where that makes little difference."""


def ease_curve(count: int) -> Array:
    """``q`` at ``count`` + 1 evenly spaced points from 0 to 1."""
    x = np.linspace(0.0, 1.0, count + 1)
    return np.asarray(x * x * (3.0 - 2.0 * x))


@dataclass(frozen=True, eq=False)
class Corridor:
    """Least and most HIT of every frame, percent of width; infinite where a frame says nothing. Both (n,)."""

    least: Array
    most: Array

    def can_be_followed(self, speed_pct_per_frame: float) -> bool:
        """Whether anything that moves no faster could stay inside: no frame asks for more than what another, so many
        frames away, still allows."""
        ramp = np.arange(len(self.least)) * speed_pct_per_frame
        forward = np.maximum.accumulate(self.least + ramp) - ramp
        backward = np.maximum.accumulate((self.least - ramp)[::-1])[::-1] + ramp
        return bool(np.all(np.maximum(forward, backward) <= self.most + 1e-9))

    def opened(self, near_pct: float) -> Corridor:
        """The same where near may be outside by ``near_pct``, and by whatever far leaves it no room for."""
        return Corridor(np.minimum(self.least - near_pct, self.most), self.most)

    def narrowed(self, pct: float) -> Corridor:
        """The same with ``pct`` less room on both sides."""
        return Corridor(self.least + pct, self.most - pct)


def eased_keys(corridor: Corridor, first: int, speed_pct_per_frame: float) -> tuple[HitKey, ...] | None:
    r"""Keys of a HIT that stays inside a corridor in every frame; None where none was found.

    Parameters
    ----------
    corridor : Corridor
        Of n frames.
    first : int
        Frame of the clip at which the corridor begins.
    speed_pct_per_frame : float
        Fastest move allowed.

    Notes
    -----
    Keys are looked for among a few moments spread over the shot and a few heights spread over what must be travelled;
    of all chains of held and eased stretches between them the one with the least cost is found exactly: the mean
    move, plus so much for each move that fewer always go first, and a little for its speed.
    """
    count = len(corridor.least)
    known_least, known_most = corridor.least[np.isfinite(corridor.least)], corridor.most[np.isfinite(corridor.most)]
    if count < 2 or not known_least.size or not known_most.size or not corridor.can_be_followed(speed_pct_per_frame):
        return None
    low, high = min(float(known_most.min()), 0.0), max(float(known_least.max()), 0.0)
    levels = np.unique(np.concatenate([np.linspace(low, high, _LEVELS), [known_most.min(), known_least.max(), 0.0]]))
    times = np.unique(np.round(np.linspace(0, count - 1, min(_TIMES, count))).astype(int))
    best = np.where(_stands(corridor, levels, 0, 1), 0.0, np.inf)
    totals, came = [best], [np.zeros((levels.size, 2), dtype=int)]
    for index, end in enumerate(times[1:], start=1):
        least, origin = np.full(levels.size, np.inf), np.zeros((levels.size, 2), dtype=int)
        for back, start in enumerate(times[:index]):
            # From heights that nothing leads to nothing need be looked for.
            reached = np.flatnonzero(np.isfinite(totals[back]))
            if not reached.size:
                continue
            onwards = _segment_cost(corridor, levels[reached], levels, start, end, speed_pct_per_frame, count)
            cost = totals[back][reached, None] + onwards
            cheapest = cost.argmin(axis=0)
            source, value = reached[cheapest], cost[cheapest, np.arange(levels.size)]
            better = value < least - 1e-9
            least = np.where(better, value, least)
            origin[better] = np.stack([np.full(levels.size, back), source], axis=1)[better]
        totals.append(least)
        came.append(origin)
    at = int(np.argmin(np.round(totals[-1], 9)))
    if not np.isfinite(totals[-1][at]):
        return None
    moment, keys = len(times) - 1, []
    while True:
        keys.append((int(times[moment]), float(levels[at])))
        if moment == 0:
            break
        moment, at = came[moment][at]
    return _few(keys[::-1], first)


def _stands(corridor: Corridor, levels: Array, start: int, end: int) -> np.typing.NDArray[np.bool_]:
    """Whether each level is inside the corridor throughout frames ``start`` to ``end`` − 1."""
    part = slice(start, end)
    return np.asarray((levels >= corridor.least[part].max() - 1e-9) & (levels <= corridor.most[part].min() + 1e-9))


def _segment_cost(
    corridor: Corridor, levels: Array, onto: Array, start: int, end: int, speed: float, count: int
) -> Array:
    """Cost of going from each of (k,) levels to each of (m,) others between two frames, infinite where that is not
    allowed; (k, m)."""
    length = end - start
    share = ease_curve(length)[1:]
    least, most = corridor.least[start + 1 : end + 1], corridor.most[start + 1 : end + 1]
    from_start = levels[:, None] * (1.0 - share)
    # The height at the end that keeps a frame inside is bounded on both sides by that frame.
    lowest = ((least - from_start) / share).max(axis=1)
    highest = ((most - from_start) / share).min(axis=1)
    step = onto[None, :] - levels[:, None]
    peak = EASE_PEAK * np.abs(step) / length
    inside = (onto >= lowest[:, None] - 1e-9) & (onto <= highest[:, None] + 1e-9) & (peak <= speed + 1e-12)
    mean = (np.abs(levels)[:, None] + np.abs(onto)[None, :]) / 2.0 * length / count
    extra = np.where(step != 0.0, _COST_A_MOVE_PCT + _COST_A_SPEED_PCT * peak / speed, 0.0)
    return np.where(inside, mean + extra, np.inf)


def _few(keys: list[tuple[int, float]], first: int) -> tuple[HitKey, ...]:
    """Without keys inside a held stretch, and none before or after that only repeats its neighbour."""
    heights = [height for _, height in keys]
    kept = [
        (frame, height)
        for index, (frame, height) in enumerate(keys)
        if not (
            (index == 0 or heights[index - 1] == height) and (index == len(keys) - 1 or heights[index + 1] == height)
        )
    ]
    return tuple(HitKey(first + frame, round(height, 4)) for frame, height in kept or keys[:1])
