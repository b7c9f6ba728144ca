"""How much of a frame lies nearer than each of some depths, and how large the largest thing there is.

What is in front of the screen depends on where the screen is put. So it is told for a ladder of depths; whoever moves
the picture looks a step up or down.
"""

from __future__ import annotations

import math
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.table import NEARER_STEPS_PCT

_STEPS_PCT = np.array(NEARER_STEPS_PCT, np.float32)
_PERCENTILES = (0.01, 0.5, 0.99)

_WIDTH = 96
"""Columns of the map in which things are told apart: 1 % of width."""

_SHARE_STEP = 3
"""Every third row and column of the map is counted for a share."""

_JOIN = np.ones((3, 3), np.uint8)
"""What lies a column apart is one thing: strips that one eye alone sees run along its sides."""

_TRIM = 0.01
"""Share of a thing left out at each side of it: single wrong matches that hang on to it."""

Figures = tuple[float, ...]
Floats = npt.NDArray[np.float32]


def nearer_than(
    parallax: Parallax, near_pct: float, median_pct: float, far_pct: float
) -> tuple[Figures, Figures, Figures]:
    """Share of the picture that both eyes see, width and height of the largest thing, nearer than each step.

    Parameters
    ----------
    parallax : (h, w) float32
        Dense map of the left eye, in its own pixels; NaN where unknown; at least one is known.
    near_pct, median_pct, far_pct : float
        1st, 50th and 99th percentile as full-size pixels say, percent of width; the map, which lies a few hundredths of
        a percent off, is held to them. NaN where one is not known.

    Returns
    -------
    share_pct, width_pct, height_pct : tuple of float
        One a step of :data:`postfix.measure.table.NEARER_STEPS_PCT`, rising. The share is of what is known; sizes are
        in percent of the picture's width and of its height. A thing is whatever hangs together, to about 1 % of width.
    """
    height, width = parallax.shape
    # Thousands of pixels are enough for a share.
    sample = parallax[::_SHARE_STEP, ::_SHARE_STEP]
    known = sample[np.isfinite(sample)] * np.float32(100.0 / width)
    known.sort()
    steps = _in_the_map(known, (near_pct, median_pct, far_pct))
    shares = np.searchsorted(known, steps, side="right") * 100.0 / max(1, known.size)
    rows = max(1, round(height * _WIDTH / width))
    small = cv2.resize(parallax, (_WIDTH, rows), interpolation=cv2.INTER_NEAREST) * np.float32(100.0 / width)
    sizes = {0.0: (0.0, 0.0)}
    for step, share in zip(steps, shares.tolist()):
        if share not in sizes:  # the same share is the same part of the picture
            # Comparing with NaN is never true: what is unknown is no part of a thing.
            sizes[share] = _size_of((small <= step).view(np.uint8))
    widths, heights = zip(*(sizes[share] for share in shares.tolist()))
    # Larger by a step, never smaller: two things of like size may take turns in being the largest.
    return tuple(shares.tolist()), _rising(widths), _rising(heights)


def _in_the_map(known: Floats, refined_pct: tuple[float, float, float]) -> Floats:
    """Where each step lies in a map, by what it has at the percentiles whose figures are known better.

    ``known`` are values of the map, rising. Between two percentiles a step keeps its place between them; beyond them it
    moves as the nearest does.
    """
    places = [round(share * (known.size - 1)) for share in _PERCENTILES]
    pairs = (
        [(pct, float(known[place])) for pct, place in zip(refined_pct, places) if math.isfinite(pct)]
        if known.size
        else []
    )
    if not pairs or any(after[0] <= before[0] for before, after in pairwise(pairs)):
        pairs = pairs[:1]
    if not pairs:
        return _STEPS_PCT
    refined, mapped = (np.array(one) for one in zip(*pairs))
    moved = np.interp(_STEPS_PCT, refined, mapped - refined)
    return np.asarray(_STEPS_PCT + moved, np.float32)


def _rising(values: tuple[float, ...]) -> Figures:
    return tuple(np.maximum.accumulate(values).tolist())


def _size_of(there: npt.NDArray[np.uint8]) -> tuple[float, float]:
    """Width and height of the largest connected thing, percent of the map's."""
    joined = cv2.morphologyEx(there, cv2.MORPH_CLOSE, _JOIN)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8, ltype=cv2.CV_16U)
    if count < 2:
        return 0.0, 0.0
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    x, y, width, height = stats[largest, : cv2.CC_STAT_AREA].tolist()
    thing = (labels[y : y + height, x : x + width] == largest).view(np.uint8)
    rows, columns = there.shape
    return 100.0 * _extent(thing, 0) / columns, 100.0 * _extent(thing, 1) / rows


def _extent(thing: npt.NDArray[np.uint8], axis: int) -> int:
    """Over how many columns, or rows, a thing reaches, all but its trimmed ends."""
    summed = np.cumsum(cv2.reduce(thing, axis, cv2.REDUCE_SUM, dtype=cv2.CV_32S))
    spare = _TRIM * float(summed[-1])
    low, high = np.searchsorted(summed, (spare, summed[-1] - spare)).tolist()
    return int(high - low + 1)
