"""What lies near a side edge without touching it, and what lies at the top and bottom edges; from the dense map."""

from __future__ import annotations

import numpy as np

from postfix.measure.edges import SAME_THING_PCT
from postfix.measure.hidden import hidden_columns
from postfix.measure.matching import Parallax
from postfix.measure.side import Halves, Line, Side
from postfix.measure.table import EDGE_BANDS, NAN

NEAR_SHARE = 0.03
"""Content within this share of the width of an edge is near it. Project default, no source."""

BESIDE_AREA_SHARE = 0.001
OUTER_ROWS_SHARE = 0.01
OUTER_HELD_SHARE = 0.01

_STEP_PCT = 0.3
"""A larger change of parallax from one column to the next is where one thing ends and another begins."""


def beside_pct(side: Side, bands_pct: Halves) -> float:
    """Most negative parallax of content near a side edge that does not touch it, percent of width; NaN where none.

    Near is within :data:`NEAR_SHARE` of the width; what counts is held by at least :data:`BESIDE_AREA_SHARE` of the
    picture. Content touches where the dense map leads to it from the edge without a step, and wherever it has the
    parallax of what touches in the same or a neighbouring band.

    Parameters
    ----------
    side : Side
    bands_pct : (EDGE_BANDS,) float64
        Of :func:`edge_bands`.
    """
    parallax = side.parallax[:, ::-1] if side.is_right else side.parallax
    height, width = parallax.shape
    hidden = hidden_columns(side.own_hidden_px, height, side.width_px / width)
    near = max(2, round(NEAR_SHARE * width))
    columns = np.minimum(hidden[:, None] + np.arange(near)[None, :], width - 1)
    values = np.take_along_axis(parallax, columns, axis=1) * np.float32(100.0 / width)
    known = np.isfinite(values)
    filled = np.where(known, values, np.inf)
    # Along each row, a gap or a step ends what touches; gaps at the very edge are what has no partner.
    begun = np.maximum.accumulate(known, axis=1)
    steps = np.zeros(values.shape, bool)
    steps[:, 1:] = begun[:, :-1] & ~(np.abs(values[:, 1:] - values[:, :-1]) <= _STEP_PCT)
    touching = np.cumsum(steps, axis=1) == 0
    rows = np.minimum(np.arange(height) * EDGE_BANDS // height, EDGE_BANDS - 1)
    padded = np.concatenate([[NAN], bands_pct, [NAN]])
    for offset in (0, 1, 2):
        touching |= np.abs(values - padded[rows + offset][:, None]) <= SAME_THING_PCT
    middle = (np.arange(height) + 0.5) * side.height_px / height
    lit = (middle > side.bars_px[0]) & (middle < side.height_px - side.bars_px[1])
    left_over = filled[known & ~touching & lit[:, None]]
    held = max(1, round(BESIDE_AREA_SHARE * height * width))
    return float(np.partition(left_over, held - 1)[held - 1]) if left_over.size >= held else NAN


def top_and_bottom_pct(parallax: Parallax, height_px: int, bars_px: Line) -> tuple[float, float]:
    """Most negative parallax at the top and bottom of the active picture, percent of width; for information.

    It is that of the outermost :data:`OUTER_ROWS_SHARE` of the height, held by at least :data:`OUTER_HELD_SHARE` of
    those rows; NaN where less was matched.

    Parameters
    ----------
    parallax : (h, w) float32
        Dense map, in proxy pixels; NaN where nothing was matched.
    height_px : int
        Of the source picture.
    bars_px : (top, bottom)
        Black rows.
    """
    height, width = parallax.shape
    first = int(np.ceil(bars_px[0] * height / height_px))
    after = height - int(np.ceil(bars_px[1] * height / height_px))
    rows = max(1, round(OUTER_ROWS_SHARE * (after - first)))
    found = []
    for outer in (parallax[first : first + rows], parallax[max(first, after - rows) : max(first, after)]):
        values = outer[np.isfinite(outer)]
        held = max(1, round(OUTER_HELD_SHARE * outer.size))
        nearest = float(np.partition(values, held - 1)[held - 1]) if values.size >= held else NAN
        found.append(nearest * 100.0 / width)
    return found[0], found[1]
